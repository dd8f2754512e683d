// Package junction finds the places at which drawn lines meet: where one of them
// ends on another, at its end, at a vertex or between two.
//
// Lines that only cross do not meet: nothing says that a line is connected to
// another which it passes over.
package junction

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/paulmach/orb"
)

// Line is a line that may meet others of its group.
type Line struct {
	lineref.Line
	Group string // lines of different groups never meet: a gas main ends on no water main
}

// Member is one line's place at a junction.
type Member struct {
	Line, Part, Segment int
	Vertex              int // -1: between two vertices
	StationM            float64
}

// Find lists the junctions of lines: at each at least two members, one of them an
// end. snapM is how far apart two drawn places still are one. A closed line
// meets itself. Junctions and members come in the order of the lines, so the
// caller's order of the lines decides it.
func Find(lines []Line, snapM float64) [][]Member {
	type owner struct{ line, part, segment int }
	var segs []spatial.Segment
	var owners []owner
	for l := range lines {
		for p, part := range lines[l].Parts {
			for i := 0; i+1 < len(part); i++ {
				segs = append(segs, spatial.Segment{A: part[i], B: part[i+1]})
				owners = append(owners, owner{l, p, i})
			}
		}
	}
	index := spatial.New(segs, 5)
	type end struct{ line, part, vertex int }
	done := map[end]bool{}
	var out [][]Member
	var near []int32
	for l := range lines {
		for p, part := range lines[l].Parts {
			for _, v := range [2]int{0, len(part) - 1} {
				if len(part) < 2 || done[end{l, p, v}] {
					continue
				}
				near = index.Within(part[v], snapM, near)
				var at []Member
				for _, id := range near {
					w := owners[id]
					if lines[w.line].Group == lines[l].Group {
						at = add(at, lines[w.line].member(w.line, w.part, w.segment, part[v], snapM))
					}
				}
				if len(at) < 2 {
					continue
				}
				for _, m := range at {
					if m.Vertex >= 0 {
						done[end{m.Line, m.Part, m.Vertex}] = true
					}
				}
				slices.SortFunc(at, func(a, b Member) int {
					return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Part, b.Part), cmp.Compare(a.StationM, b.StationM))
				})
				out = append(out, at)
			}
		}
	}
	return out
}

// member is the place of a point on a segment near it: on a vertex, if one is
// within the snap distance.
func (l *Line) member(line, part, segment int, at orb.Point, snapM float64) Member {
	m := Member{Line: line, Part: part, Segment: segment, Vertex: -1}
	st := l.Stations(part)
	m.StationM = l.OnSegment(part, segment, at).StationM
	for _, v := range [2]int{segment, segment + 1} {
		if math.Abs(m.StationM-st[v]) <= snapM {
			m.Vertex, m.StationM = v, st[v]
			break
		}
	}
	return m
}

// add leaves out a place that two segments share.
func add(at []Member, m Member) []Member {
	if slices.ContainsFunc(at, func(o Member) bool {
		return o.Line == m.Line && o.Part == m.Part && math.Abs(o.StationM-m.StationM) < 1e-6
	}) {
		return at
	}
	return append(at, m)
}
