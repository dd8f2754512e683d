package correct

import (
	"math"

	"github.com/asfound/asfound/internal/junction"
	"github.com/asfound/asfound/pipeline/survey"
)

// agree finds the places that records of one utility share and makes all of
// them move there as one: by the mean of those that have evidence there, weighted
// by the inverse of their covariance, so that where two lines meet each has its
// say across itself. Records without evidence follow.
func agree(plans []plan, order []int, o Options) {
	for _, place := range junctions(plans, order, o.SnapM) {
		var sum weighted
		for _, mb := range place {
			p := &plans[mb.Line]
			if own := p.own(mb.Part, mb.StationM, o.FadeOutM); own != (move{}) {
				sum.add(own, p.node(mb.Part, mb.StationM).D)
			}
		}
		agreed := sum.mean() // a place without evidence stays, and pulls from elsewhere end there
		for _, mb := range place {
			p := &plans[mb.Line]
			by := agreed.plus(p.own(mb.Part, mb.StationM, o.FadeOutM), -1)
			p.pulls = append(p.pulls, pull{mb.Part, mb.StationM, by})
		}
	}
}

// weighted sums moves by the inverse of their covariance.
type weighted struct{ ee, en, nn, e, n float64 }

// leastM2 keeps a covariance from being singular, m^2.
const leastM2 = 1e-6

func (w *weighted) add(m move, cov survey.Vector) {
	ee, nn := cov.EE+leastM2, cov.NN+leastM2
	det := ee*nn - cov.EN*cov.EN
	pee, pen, pnn := nn/det, -cov.EN/det, ee/det
	w.ee += pee
	w.en += pen
	w.nn += pnn
	w.e += pee*m.east + pen*m.north
	w.n += pen*m.east + pnn*m.north
}

// mean is the weighted mean; nothing where nothing was added.
func (w *weighted) mean() move {
	det := w.ee*w.nn - w.en*w.en
	if det <= 0 {
		return move{}
	}
	return move{(w.nn*w.e - w.en*w.n) / det, (w.ee*w.n - w.en*w.e) / det}
}

// node is the model's node nearest to a station of a part.
func (p *plan) node(part int, stationM float64) survey.Node {
	best, at := math.Inf(1), survey.Node{}
	for i := range p.profile.Nodes {
		n := &p.profile.Nodes[i]
		if d := math.Abs(n.StationM - stationM); n.Part == part && d < best {
			best, at = d, *n
		}
	}
	return at
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
