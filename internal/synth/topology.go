package synth

import (
	"math"

	"github.com/paulmach/orb"
)

// topology says how the true lines hang together.
type topology struct {
	lines    []TrueLine
	stations [][]float64
	ends     [][2]int // per line: node of its first and of its last point
	at       [][]end  // per node: the line ends there
	attached [][2]attachment
	run      []int // per line: the long line that it is a piece of
	segments *segmentGrid
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
	t.segments = newSegmentGrid(lines)
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
	for i := range t.lines {
		for w := range 2 {
			t.attached[i][w].line = -1
			if len(t.at[t.ends[i][w]]) > 1 {
				continue
			}
			p := t.lines[i].endPoint(w)
			for _, g := range t.segments.near(p) {
				l := int(g.line)
				if l == i || t.lines[l].Utility != t.lines[i].Utility || segmentDistance(t.lines[l].Points, int(g.segment), p) > 0.01 {
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

// segmentRef is one segment of one line.
type segmentRef struct{ line, segment int32 }

// segmentGrid finds the segments within reachM of a point: square cells that
// hold every segment which comes that near, one list after the other.
type segmentGrid struct {
	corner  orb.Point
	cellM   float64
	columns int
	rows    int
	start   []int32
	refs    []segmentRef
}

func newSegmentGrid(lines []TrueLine) *segmentGrid {
	bound := orb.Bound{Min: orb.Point{math.Inf(1), math.Inf(1)}, Max: orb.Point{math.Inf(-1), math.Inf(-1)}}
	segments := 0
	for i := range lines {
		bound = bound.Union(lines[i].Points.Bound())
		segments += len(lines[i].Points) - 1
	}
	g := &segmentGrid{cellM: 16}
	if len(lines) == 0 {
		g.columns, g.rows, g.start = 1, 1, make([]int32, 2)
		return g
	}
	bound = bound.Pad(reachM)
	wide, high := bound.Max[0]-bound.Min[0], bound.Max[1]-bound.Min[1]
	for (wide/g.cellM+1)*(high/g.cellM+1) > float64(8*segments+1024) {
		g.cellM *= 1.5
	}
	g.corner, g.columns, g.rows = bound.Min, int(wide/g.cellM)+1, int(high/g.cellM)+1
	g.start = make([]int32, g.columns*g.rows+1)
	g.each(lines, func(cell int, _ segmentRef) { g.start[cell+1]++ })
	for c := range g.columns * g.rows {
		g.start[c+1] += g.start[c]
	}
	g.refs = make([]segmentRef, g.start[len(g.start)-1])
	fill := append([]int32(nil), g.start...)
	g.each(lines, func(cell int, r segmentRef) {
		g.refs[fill[cell]] = r
		fill[cell]++
	})
	return g
}

// each calls put once for every cell that a segment comes near.
func (g *segmentGrid) each(lines []TrueLine, put func(cell int, r segmentRef)) {
	for i := range lines {
		pts := lines[i].Points
		for s := 0; s+1 < len(pts); s++ {
			a, b := pts[s], pts[s+1]
			x0, y0 := g.cell(orb.Point{min(a[0], b[0]) - reachM, min(a[1], b[1]) - reachM})
			x1, y1 := g.cell(orb.Point{max(a[0], b[0]) + reachM, max(a[1], b[1]) + reachM})
			for y := y0; y <= y1; y++ {
				for x := x0; x <= x1; x++ {
					middle := orb.Point{g.corner[0] + (float64(x)+0.5)*g.cellM, g.corner[1] + (float64(y)+0.5)*g.cellM}
					if segmentDistance(pts, s, middle) <= reachM+0.7072*g.cellM {
						put(y*g.columns+x, segmentRef{int32(i), int32(s)})
					}
				}
			}
		}
	}
}

func (g *segmentGrid) cell(p orb.Point) (x, y int) {
	x = min(max(int((p[0]-g.corner[0])/g.cellM), 0), g.columns-1)
	y = min(max(int((p[1]-g.corner[1])/g.cellM), 0), g.rows-1)
	return x, y
}

// near are the segments that may lie within reachM of p.
func (g *segmentGrid) near(p orb.Point) []segmentRef {
	x, y := g.cell(p)
	c := y*g.columns + x
	return g.refs[g.start[c]:g.start[c+1]]
}

// segmentDistance is the distance of p from one segment.
func segmentDistance(ls orb.LineString, segment int, p orb.Point) float64 {
	a, b := ls[segment], ls[segment+1]
	d, w := minus(b, a), minus(p, a)
	l2 := d.dot(d)
	if l2 == 0 {
		return distance(a, p)
	}
	return distance(p, mix(a, b, min(max(w.dot(d)/l2, 0), 1)))
}
