package correct

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// move is a vector, true east and north in ground metres.
type move struct{ east, north float64 }

func (m move) plus(o move, w float64) move { return move{m.east + w*o.east, m.north + w*o.north} }
func (m move) times(w float64) move        { return move{w * m.east, w * m.north} }
func (m move) length() float64             { return math.Hypot(m.east, m.north) }

// plan is what one record shall do.
type plan struct {
	line    lineref.Line
	rec     *survey.Record
	profile *survey.Profile
	fadeM   float64

	seen    []survey.Span // where it was surveyed
	moves   []survey.Span // where that moves it on its own account
	shift   move          // of what was not surveyed: its sheet's
	pinned  bool          // whatever asks for a move, it stays
	decided string        // who says so, in words; "" what it would break
	answers string        // the finding that its correction answers; "" none

	holds    []hold
	pulls    []pull     // by station
	fittings []attached // drawn on it
}

// hold keeps a stretch from going all the way.
type hold struct {
	span   survey.Span
	factor float64 // what is left of the move: 0 nothing
	fadeM  float64 // from here on beyond the span it holds nothing
	// decided is who says so, in words; "" what would break.
	decided string
}

// pull is what a shared place has its record do there.
type pull struct {
	part     int
	stationM float64
	place    int
	agreed   move      // the record's whole move there
	grid     orb.Point // the same on the grid, equal to the last bit for all that share the place
	by       move      // beyond what the record would do by itself
}

// evidence is where the record was surveyed, from reading to reading: the
// surveyed stretches without what they reach into longer gaps.
func (p *plan) evidence() []survey.Span {
	out := slices.Clone(p.seen)
	for i := range out {
		first, last := math.Inf(1), math.Inf(-1)
		for k := range p.profile.Nodes {
			if n := &p.profile.Nodes[k]; n.Part == out[i].Part && n.Readings > 0 && beyond(out[i], n.StationM) == 0 {
				first, last = min(first, n.StationM), n.StationM
			}
		}
		out[i].FromM, out[i].ToM = first, last
	}
	return out
}

// weight is how much of the adjusted move a place makes: 1 on the evidence that
// moves the record, exactly 0 from the fade-out length beyond it.
func (p *plan) weight(part int, stationM float64) float64 {
	w := 0.0
	for _, e := range p.moves {
		if e.Part == part {
			w = max(w, taper(beyond(e, stationM), p.fadeM))
		}
	}
	return w
}

// beyond is how far a station lies outside a span.
func beyond(e survey.Span, stationM float64) float64 {
	return max(e.FromM-stationM, stationM-e.ToM, 0)
}

// own is the move of a place by the record's own evidence, with nothing holding
// it back.
func (p *plan) own(part int, stationM float64) move {
	w := p.weight(part, stationM)
	if w == 0 {
		return p.shift
	}
	return p.shift.times(1-w).plus(p.adjusted(part, stationM), w)
}

// held is what is left of a move at a station: 1 all of it.
func (p *plan) held(part int, stationM float64) float64 {
	if p.pinned {
		return 0
	}
	left := 1.0
	for _, h := range p.holds {
		if h.span.Part == part {
			left = min(left, 1-(1-h.factor)*taper(beyond(h.span, stationM), h.fadeM))
		}
	}
	return left
}

// adjusted is the model's displacement at a station.
func (p *plan) adjusted(part int, stationM float64) move {
	d := p.profile.At(part, stationM)
	return move{d.East, d.North}
}

// total is the move of a place: the own one and what shared places ask, which
// fades out along the record and never reaches past the next shared place.
func (p *plan) total(part int, stationM float64) move {
	i := p.firstPull(part, stationM)
	if i < len(p.pulls) && p.pulls[i].part == part && p.pulls[i].stationM-stationM < sameM {
		return p.pulls[i].agreed
	}
	m := p.own(part, stationM)
	var before, after *pull
	if i > 0 && p.pulls[i-1].part == part {
		before = &p.pulls[i-1]
	}
	if i < len(p.pulls) && p.pulls[i].part == part {
		after = &p.pulls[i]
	}
	reach := p.fadeM
	if before != nil && after != nil {
		reach = min(reach, after.stationM-before.stationM)
	}
	if before != nil {
		m = m.plus(before.by, taper(stationM-before.stationM, reach))
	}
	if after != nil {
		m = m.plus(after.by, taper(after.stationM-stationM, reach))
	}
	return m.times(p.held(part, stationM))
}

// sameM is how near two stations are one.
const sameM = 1e-3

// firstPull is the first pull at or after a station, or nearer than sameM to it.
func (p *plan) firstPull(part int, stationM float64) int {
	i, _ := slices.BinarySearchFunc(p.pulls, stationM-sameM, func(q pull, m float64) int {
		return cmp.Or(cmp.Compare(q.part, part), cmp.Compare(q.stationM, m))
	})
	return i
}

// taper falls from 1 at no distance to exactly 0 at fadeM, with no kink at
// either end.
func taper(distM, fadeM float64) float64 {
	if distM <= 0 {
		return 1
	}
	if distM >= fadeM {
		return 0
	}
	t := distM / fadeM
	return (1 - t) * (1 - t) * (1 + 2*t)
}

// onGrid is a true east and north ground vector on the plane's grid, at the
// record's convergence and scale.
func (p *plan) onGrid(m move) orb.Point {
	sin, cos := math.Sincos(p.rec.Convergence)
	k := p.line.Scale
	return orb.Point{k * (m.east*cos - m.north*sin), k * (m.north*cos + m.east*sin)}
}

// firstNode is the model's first node at or after a station.
func (p *plan) firstNode(part int, stationM float64) int {
	i, _ := slices.BinarySearchFunc(p.profile.Nodes, stationM, func(n survey.Node, m float64) int {
		return cmp.Or(cmp.Compare(n.Part, part), cmp.Compare(n.StationM, m))
	})
	return i
}

// variance is the adjusted offset's at a station: straight between nodes, as that
// of a line that wanders.
func (p *plan) variance(part int, stationM float64) float64 {
	nodes, i := p.profile.Nodes, p.firstNode(part, stationM)
	before, after := i > 0 && nodes[i-1].Part == part, i < len(nodes) && nodes[i].Part == part
	switch {
	case before && after:
		a, b := &nodes[i-1], &nodes[i]
		t := (stationM - a.StationM) / (b.StationM - a.StationM)
		return (1-t)*a.OffsetU*a.OffsetU + t*b.OffsetU*b.OffsetU
	case before:
		return nodes[i-1].OffsetU * nodes[i-1].OffsetU
	case after:
		return nodes[i].OffsetU * nodes[i].OffsetU
	}
	return math.NaN()
}

// node is the model's node nearest to a station of a part.
func (p *plan) node(part int, stationM float64) survey.Node {
	nodes, i := p.profile.Nodes, p.firstNode(part, stationM)
	best, at := math.Inf(1), survey.Node{}
	for k := max(i-1, 0); k <= i && k < len(nodes); k++ {
		if d := math.Abs(nodes[k].StationM - stationM); nodes[k].Part == part && d < best {
			best, at = d, nodes[k]
		}
	}
	return at
}

// uncertainty is the standard deviation across the line of a place that makes a
// move other than the adjusted one: what the model leaves, and what is left of
// the adjusted move.
func (p *plan) uncertainty(part, segment int, stationM float64, made move) float64 {
	rest := p.adjusted(part, stationM).plus(made, -1)
	east, north := p.rec.Right(part, segment)
	return math.Sqrt(p.variance(part, stationM) + math.Pow(rest.east*east+rest.north*north, 2))
}

// used counts the readings used within a distance of a station.
func (p *plan) used(part int, stationM, withinM float64) int {
	nodes, sum := p.profile.Nodes, 0
	for i := p.firstNode(part, stationM-withinM); i < len(nodes) && nodes[i].Part == part && nodes[i].StationM <= stationM+withinM; i++ {
		sum += nodes[i].Readings
	}
	return sum
}

func within(spans []survey.Span, part int, stationM float64) bool {
	return slices.ContainsFunc(spans, func(e survey.Span) bool { return e.Part == part && beyond(e, stationM) == 0 })
}
