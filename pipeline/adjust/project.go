package adjust

import (
	"math"
	"sort"

	"github.com/asfound/asfound/internal/parallel"
	"github.com/paulmach/orb"
)

// cornerCos is the cosine of the turn beyond which a vertex is a corner: a
// reading that projects on it says nothing across either side. 15 degrees are
// practice: what a smooth curve's vertices turn by is less.
var cornerCos = math.Cos(15 * math.Pi / 180)

// project renews every foot point on its displaced line.
func (p *problem) project() {
	parallel.Each(len(p.readCells), 0, func() func(int) {
		var l displacedLine
		return func(i int) {
			c := p.readCells[i]
			if c.settled {
				return
			}
			l.lay(p, c)
			for k := range c.obs {
				ob := &c.obs[k]
				off := ob.out && p.iterations > settleAfter
				p.projectOne(c, &l, ob)
				ob.out = ob.out || off
			}
		}
	})
}

// displacedLine is a record's nodes moved by their present estimate, on the
// plane, and how far along they lie.
type displacedLine struct {
	at     []orb.Point
	alongM []float64
}

func (l *displacedLine) lay(p *problem, c *cell) {
	rn := &p.n.records[c.record]
	l.at, l.alongM = l.at[:0], l.alongM[:0]
	along := 0.0
	for k := range rn.nodes {
		q := p.displaced(rn, k)
		if k > 0 {
			along += distance(l.at[k-1], q)
		}
		l.at, l.alongM = append(l.at, q), append(l.alongM, along)
	}
}

// nearest is the edge with the foot point of a position, and where on it. It
// starts from the edge of the last time: what is certainly farther is passed
// over. stay keeps it on that edge.
func (l *displacedLine) nearest(nodes []node, from int, stay bool, at orb.Point) (edge int, alpha float64) {
	best := math.Inf(1)
	edge = -1
	try := func(k int) {
		if nodes[k].part != nodes[k+1].part {
			return
		}
		a, b := l.at[k], l.at[k+1]
		dx, dy := b[0]-a[0], b[1]-a[1]
		t := 0.0
		if l := dx*dx + dy*dy; l > 0 {
			t = min(max(((at[0]-a[0])*dx+(at[1]-a[1])*dy)/l, 0), 1)
		}
		if d := distance(at, orb.Point{a[0] + t*dx, a[1] + t*dy}); d < best {
			edge, alpha, best = k, t, d
		}
	}
	if from+1 < len(nodes) {
		try(from)
	}
	for k := 0; k+1 < len(nodes) && !(stay && edge >= 0); {
		// Nothing that is nearer along the line than the difference can be nearer.
		if free := distance(at, l.at[k]) - best; free > 0 {
			if skip := sort.SearchFloat64s(l.alongM[k+1:], l.alongM[k]+free); skip > 0 {
				k += skip
				continue
			}
		}
		try(k)
		k++
	}
	return edge, alpha
}

func distance(a, b orb.Point) float64 {
	dx, dy := a[0]-b[0], a[1]-b[1]
	return math.Sqrt(dx*dx + dy*dy)
}

func (p *problem) projectOne(c *cell, l *displacedLine, ob *observation) {
	if ob.fixed {
		return
	}
	rn := &p.n.records[c.record]
	f := p.u.sessions + 2*int(ob.session)
	fx, fy := rn.axes.grid(p.x[f], p.x[f+1])
	at := orb.Point{ob.point[0] - fx, ob.point[1] - fy}
	best, alpha := l.nearest(rn.nodes, int(ob.node), p.iterations > 2*settleAfter, at)
	ob.out = best < 0
	if ob.out {
		return
	}
	na, nb := &rn.nodes[best], &rn.nodes[best+1]
	station := na.stationM + alpha*(nb.stationM-na.stationM)
	ob.node, ob.alpha = int32(best), alpha
	ob.measure(rn, na.part, segmentBetween(na, nb), station)
	ob.out = ob.east == 0 && ob.north == 0 || (alpha == 0 && p.corner(rn, best, at)) || (alpha == 1 && p.corner(rn, best+1, at))
}

// segmentBetween is the segment of the part on which two neighbouring nodes lie.
func segmentBetween(a, b *node) int {
	if a.vertex >= 0 {
		return a.vertex
	}
	if b.vertex >= 0 {
		return b.vertex - 1
	}
	return a.segment
}

// beyondM is how far past an end a reading may lie and still stand square to it;
// practice.
const beyondM = 0.01

// corner says whether a node is the part's end with the reading beyond it, or a
// sharp bend.
func (p *problem) corner(rn *recordNet, k int, at orb.Point) bool {
	nd := &rn.nodes[k]
	if nd.vertex < 0 {
		return false
	}
	if nd.vertex == 0 || nd.vertex == len(rn.line.Parts[nd.part])-1 {
		here := p.displaced(rn, k)
		d := rn.line.Direction(nd.part, min(nd.vertex, len(rn.line.Parts[nd.part])-2))
		return math.Abs((at[0]-here[0])*d[0]+(at[1]-here[1])*d[1]) > beyondM
	}
	a, b := rn.line.Direction(nd.part, nd.vertex-1), rn.line.Direction(nd.part, nd.vertex)
	return a[0]*b[0]+a[1]*b[1] < cornerCos
}

// displaced is a node moved by its present estimate, on the plane.
func (p *problem) displaced(rn *recordNet, k int) orb.Point {
	nd := &rn.nodes[k]
	at := rn.line.AtPart(nd.part, nd.segment, nd.stationM)
	x, y := rn.axes.grid(p.x[2*nd.point], p.x[2*nd.point+1])
	return orb.Point{at[0] + x, at[1] + y}
}
