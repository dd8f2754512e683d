package correct

import (
	"math"

	"github.com/asfound/asfound/internal/junction"
)

// agree finds the places that records of one utility share and makes all of
// them move there as one: by the mean of those that have evidence there,
// weighted by how sure each is. Records without evidence follow.
func agree(plans []plan, order []int, o Options) {
	for _, place := range junctions(plans, order, o.SnapM) {
		var sum move
		weight := 0.0
		for _, mb := range place {
			p := &plans[mb.Line]
			if own := p.own(mb.Part, mb.StationM, o.FadeOutM); own != (move{}) {
				w := 1 / math.Max(p.variance(mb.Part, mb.StationM), 1e-6)
				sum = sum.plus(own, w)
				weight += w
			}
		}
		agreed := move{} // a place without evidence stays, and pulls from elsewhere end there
		if weight > 0 {
			agreed = agreed.plus(sum, 1/weight)
		}
		for _, mb := range place {
			p := &plans[mb.Line]
			by := agreed.plus(p.own(mb.Part, mb.StationM, o.FadeOutM), -1)
			p.pulls = append(p.pulls, pull{mb.Part, mb.StationM, by})
		}
	}
}

// variance is the model's variance across the record at the node nearest to a
// station.
func (p *plan) variance(part int, stationM float64) float64 {
	best, v := math.Inf(1), 0.0
	for i := range p.profile.Nodes {
		n := &p.profile.Nodes[i]
		if d := math.Abs(n.StationM - stationM); n.Part == part && d < best {
			best, v = d, n.OffsetU*n.OffsetU
		}
	}
	return v
}

// junctions are the places that records share, in the given order of the records.
func junctions(plans []plan, order []int, snapM float64) [][]junction.Member {
	lines := make([]junction.Line, len(plans))
	for i, r := range order {
		lines[i] = junction.Line{Line: plans[r].line, Group: plans[r].rec.Utility}
	}
	found := junction.Find(lines, snapM)
	for _, members := range found {
		for i := range members {
			members[i].Line = order[members[i].Line]
		}
	}
	return found
}
