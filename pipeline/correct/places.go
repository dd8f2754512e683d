package correct

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/junction"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb/planar"
)

// place is where records of one utility meet: they move there as one.
type place struct {
	members []member
	asked   move // what the evidence of its members says, with nothing holding it back
	agreed  move
}

// member is a record at a place; at is into its pulls.
type member struct{ record, at int }

// share finds the places that records share.
func (w *network) share() {
	lines := make([]junction.Line, len(w.plans))
	for i, r := range w.order {
		lines[i] = junction.Line{Line: w.plans[r].line, Group: w.plans[r].rec.Utility}
	}
	for k, ms := range joined(junction.Find(lines, w.o.SnapM), w.o.SnapM) {
		for _, m := range withFeet(lines, ms) {
			p := &w.plans[w.order[m.Line]]
			p.pulls = append(p.pulls, pull{part: m.Part, stationM: m.StationM, place: k})
		}
		w.places = append(w.places, place{})
	}
	for _, r := range w.order {
		p := &w.plans[r]
		slices.SortFunc(p.pulls, func(a, b pull) int {
			return cmp.Or(cmp.Compare(a.part, b.part), cmp.Compare(a.stationM, b.stationM))
		})
		for i := range p.pulls {
			at := &w.places[p.pulls[i].place]
			at.members = append(at.members, member{r, i})
		}
	}
	for k := range w.places {
		w.agree(k)
	}
}

// withFeet adds to a place, for every end that was taken for a vertex or another
// end near it, where on the lines there it really is: the piece between moves as
// one.
func withFeet(lines []junction.Line, ms []junction.Member) []junction.Member {
	out := ms
	for _, e := range ms {
		part := lines[e.Line].Parts[e.Part]
		if e.Vertex != 0 && e.Vertex != len(part)-1 {
			continue
		}
		end := part[e.Vertex]
		for _, m := range ms {
			on := &lines[m.Line]
			if m.Line == e.Line || planar.Distance(on.AtPart(m.Part, on.Segment(m.Part, m.StationM), m.StationM), end) < sameM {
				continue
			}
			foot, _ := on.Nearest(end)
			m.Vertex, m.StationM = -1, foot.StationM
			if foot.Part == m.Part && !has(out, m) {
				out = append(out, m)
			}
		}
	}
	return out
}

// joined makes one place of those that share a piece of a line no longer than
// snapM: with every place of its own, the piece would be torn.
func joined(found [][]junction.Member, snapM float64) [][]junction.Member {
	type on struct {
		line, part int
		stationM   float64
		place      int
	}
	var all []on
	for k, ms := range found {
		for _, m := range ms {
			all = append(all, on{m.Line, m.Part, m.StationM, k})
		}
	}
	slices.SortFunc(all, func(a, b on) int {
		return cmp.Or(cmp.Compare(a.line, b.line), cmp.Compare(a.part, b.part), cmp.Compare(a.stationM, b.stationM), cmp.Compare(a.place, b.place))
	})
	root := make([]int, len(found))
	for k := range root {
		root[k] = k
	}
	find := func(k int) int {
		for root[k] != k {
			root[k] = root[root[k]]
			k = root[k]
		}
		return k
	}
	for i := 1; i < len(all); i++ {
		a, b := &all[i-1], &all[i]
		if a.line == b.line && a.part == b.part && b.stationM-a.stationM <= snapM {
			x, y := find(a.place), find(b.place)
			root[max(x, y)] = min(x, y)
		}
	}
	var out [][]junction.Member
	at := map[int]int{}
	for k, ms := range found {
		first := find(k)
		if first == k {
			at[k] = len(out)
			out = append(out, nil)
		}
		to := &out[at[first]]
		for _, m := range ms {
			if !has(*to, m) {
				*to = append(*to, m)
			}
		}
	}
	return out
}

// has says whether a place has a member already.
func has(ms []junction.Member, m junction.Member) bool {
	return slices.ContainsFunc(ms, func(o junction.Member) bool {
		return o.Line == m.Line && o.Part == m.Part && math.Abs(o.StationM-m.StationM) < sameM
	})
}

// agree has the records of a place move there as one: by the mean of what those
// with evidence say, weighted by the inverse of their covariance, so that where
// two lines meet each has its say across itself; as far as the nearest of them
// goes, and the one that is held back most. Records without evidence follow; a
// sheet's shift has a say only where nobody surveyed anything.
func (w *network) agree(k int) {
	at := &w.places[k]
	var said, shifts weighted
	far, left, anchored := 0.0, 1.0, false
	for _, mb := range at.members {
		p := &w.plans[mb.record]
		q := &p.pulls[mb.at]
		left = min(left, p.held(q.part, q.stationM))
		switch weight := p.weight(q.part, q.stationM); {
		case weight > 0:
			far = max(far, weight)
			said.add(p.adjusted(q.part, q.stationM), p.node(q.part, q.stationM).D)
		case len(p.seen) > 0:
			anchored = true
		default:
			shifts.add(p.shift, survey.Vector{EE: 1, NN: 1})
		}
	}
	at.asked = said.mean().times(far)
	if far == 0 && !anchored {
		at.asked = shifts.mean()
	}
	at.agreed = at.asked.times(left)
	grid := w.plans[at.members[0].record].onGrid(at.agreed)
	for _, mb := range at.members {
		p := &w.plans[mb.record]
		q := &p.pulls[mb.at]
		q.agreed, q.grid = at.agreed, grid
		q.by = at.agreed.plus(p.own(q.part, q.stationM), -1)
		if held := p.held(q.part, q.stationM); held > 0 {
			q.by = at.agreed.times(1/held).plus(p.own(q.part, q.stationM), -1)
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
