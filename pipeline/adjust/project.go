package adjust

import (
	"math"

	"github.com/paulmach/orb"
)

// cornerCos is the cosine of the turn beyond which a vertex is a corner: a
// reading that projects on it says nothing across either side.
var cornerCos = math.Cos(15 * math.Pi / 180)

// project renews every foot point on its displaced line.
func (p *problem) project() {
	for i := range p.ev.obs {
		ob := &p.ev.obs[i]
		off := ob.out && p.iterations > settleAfter
		p.projectOne(ob)
		ob.out = ob.out || off
	}
}

func (p *problem) projectOne(ob *observation) {
	rn := &p.n.records[ob.record]
	fe := p.x[p.u.sessions+2*ob.session] + p.x[p.u.sources+2*ob.source]
	fn := p.x[p.u.sessions+2*ob.session+1] + p.x[p.u.sources+2*ob.source+1]
	fx, fy := rn.axes.grid(fe, fn)
	at := orb.Point{ob.point[0] - fx, ob.point[1] - fy}

	best, bestAlpha, bestDist := -1, 0.0, math.Inf(1)
	a := p.displaced(rn, 0)
	for k := 0; k+1 < len(rn.nodes); k++ {
		b := p.displaced(rn, k+1)
		if rn.nodes[k].part == rn.nodes[k+1].part {
			dx, dy := b[0]-a[0], b[1]-a[1]
			t := 0.0
			if l := dx*dx + dy*dy; l > 0 {
				t = min(max(((at[0]-a[0])*dx+(at[1]-a[1])*dy)/l, 0), 1)
			}
			if d := math.Hypot(at[0]-a[0]-t*dx, at[1]-a[1]-t*dy); d < bestDist {
				best, bestAlpha, bestDist = k, t, d
			}
		}
		a = b
	}
	ob.out = best < 0
	if ob.out {
		return
	}
	na, nb := &rn.nodes[best], &rn.nodes[best+1]
	station := na.stationM + bestAlpha*(nb.stationM-na.stationM)
	segment := segmentBetween(na, nb)
	ob.node, ob.alpha, ob.segment = best, bestAlpha, segment
	ob.east, ob.north = rn.axes.right(&rn.line, na.part, segment)
	foot := rn.line.AtPart(na.part, segment, station)
	e, n := rn.axes.ground(ob.point[0]-foot[0], ob.point[1]-foot[1])
	ob.value = e*ob.east + n*ob.north
	ob.out = (bestAlpha == 0 && p.corner(rn, best, at)) || (bestAlpha == 1 && p.corner(rn, best+1, at))
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
		return math.Abs((at[0]-here[0])*d[0]+(at[1]-here[1])*d[1]) > 0.01
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
