package synth

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/spatial"
)

// topology says how the true lines hang together.
type topology struct {
	lines    []TrueLine
	stations [][]float64
	ends     [][2]int // per line: node of its first and of its last point
	at       [][]end  // per node: the line ends there
	attached [][2]attachment
	run      []int // per line: the long line that it is a piece of
	segments *segments
}

// end is one end of a line: 0 its first point, 1 its last.
type end struct{ line, which int }

// attachment says that an end lies on the inside of another line.
type attachment struct {
	line     int // -1: on none
	stationM float64
}

func newTopology(lines []TrueLine) *topology {
	t := &topology{lines: lines, stations: make([][]float64, len(lines)), ends: make([][2]int, len(lines))}
	nodes := map[[2]int64]int{}
	for i := range lines {
		t.stations[i] = stations(lines[i].Points)
		for w := range 2 {
			p := lines[i].endPoint(w)
			key := [2]int64{int64(math.Round(p[0] * 1000)), int64(math.Round(p[1] * 1000))}
			n, known := nodes[key]
			if !known {
				n = len(t.at)
				nodes[key] = n
				t.at = append(t.at, nil)
			}
			t.ends[i][w] = n
			t.at[n] = append(t.at[n], end{i, w})
		}
	}
	t.segments = newSegments(lines)
	t.attach()
	t.chain()
	return t
}

func (l *TrueLine) endPoint(which int) orb.Point {
	if which == 0 {
		return l.Points[0]
	}
	return l.Points[len(l.Points)-1]
}

// outward is the direction in which a line leaves its end, away from the line.
func (l *TrueLine) outward(which int) vector {
	n := len(l.Points)
	if which == 0 {
		return unit(minus(l.Points[0], l.Points[1]))
	}
	return unit(minus(l.Points[n-1], l.Points[n-2]))
}

// attach finds the line that each lone end lies on.
func (t *topology) attach() {
	t.attached = make([][2]attachment, len(t.lines))
	var ids []int32
	for i := range t.lines {
		for w := range 2 {
			t.attached[i][w].line = -1
			if len(t.at[t.ends[i][w]]) > 1 {
				continue
			}
			p := t.lines[i].endPoint(w)
			ids = t.segments.near(p, 0.01, ids)
			for _, id := range ids {
				l := int(t.segments.all[id].line)
				if l == i || t.lines[l].Utility != t.lines[i].Utility {
					continue
				}
				at, _ := foot(t.lines[l].Points, t.stations[l], p)
				t.attached[i][w] = attachment{l, at}
				break
			}
		}
	}
}

// chain numbers the runs: at every node the two straightest ends of one utility
// belong together.
func (t *topology) chain() {
	next := make([][2]int, len(t.lines)) // per line end: the line that goes on, or -1
	for i := range next {
		next[i] = [2]int{-1, -1}
	}
	for _, ends := range t.at {
		for k, a := range ends {
			if next[a.line][a.which] >= 0 {
				continue
			}
			best, straightest := -1, 0.7
			for j, b := range ends {
				if j == k || b.line == a.line || next[b.line][b.which] >= 0 || t.lines[a.line].Utility != t.lines[b.line].Utility {
					continue
				}
				if c := -t.lines[a.line].outward(a.which).dot(t.lines[b.line].outward(b.which)); c > straightest {
					best, straightest = j, c
				}
			}
			if best >= 0 {
				b := ends[best]
				next[a.line][a.which], next[b.line][b.which] = b.line, a.line
			}
		}
	}
	t.run = make([]int, len(t.lines))
	for i := range t.run {
		t.run[i] = -1
	}
	runs := 0
	for i := range t.lines {
		if t.run[i] >= 0 {
			continue
		}
		stack := []int{i}
		for len(stack) > 0 {
			l := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			if l < 0 || t.run[l] >= 0 {
				continue
			}
			t.run[l] = runs
			stack = append(stack, next[l][0], next[l][1])
		}
		runs++
	}
}

// reachM is how far around a point its neighbours are looked for.
const reachM = 4

// segment is one segment of one line.
type segment struct{ line, at int32 }

// segments finds the segments near a point.
type segments struct {
	index *spatial.Index
	all   []segment // by the index's id
}

func newSegments(lines []TrueLine) *segments {
	s := &segments{}
	var straight []spatial.Segment
	for i := range lines {
		for k := 0; k+1 < len(lines[i].Points); k++ {
			straight = append(straight, spatial.Segment{A: lines[i].Points[k], B: lines[i].Points[k+1]})
			s.all = append(s.all, segment{int32(i), int32(k)})
		}
	}
	s.index = spatial.New(straight, 2*reachM)
	return s
}

// near appends to ids[:0] the ids, places in all, of what lies within r of p.
func (s *segments) near(p orb.Point, r float64, ids []int32) []int32 {
	return s.index.Within(p, r, ids)
}
