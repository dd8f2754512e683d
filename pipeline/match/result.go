package match

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// matches turns the solved chain into one Match per reading of the trace.
func (c *chain) matches(s *survey.Survey, tr *survey.Trace, tru []trust) []survey.Match {
	out := make([]survey.Match, len(tr.Readings))
	for i := range out {
		out[i] = survey.Match{Record: -1, Inflate: tru[i].inflate, StationM: math.NaN(), OffsetM: math.NaN()}
		if !placed(&tr.Readings[i]) {
			out[i].Status, out[i].Reason = survey.StatusUntrusted, "no position"
		}
		if d := tr.Readings[i].Duplicate; d != nil {
			out[i].Status = survey.StatusDuplicate
			out[i].Reason = fmt.Sprintf("says the same as row %d of %s", d.Row, d.File)
		}
	}
	c.disturb(tr)
	for i := range c.obs {
		r := c.obs[i].reading
		c.place(i, tr.Readings[r].Point, &out[r])
		t := c.distorted(i, &tr.Readings[r], tru[r])
		out[r].Inflate, out[r].RatioU = t.inflate, t.ratio
		c.decide(i, s, tr, t, &out[r])
	}
	return out
}

// distorted adds to a reading's trust what its neighbours on the map say.
func (c *chain) distorted(i int, r *survey.Reading, t trust) trust {
	op := c.neighbours(i)
	budget2 := noise(r, 1, &c.o)
	t.inflate = min(math.Sqrt(t.inflate*t.inflate+op.errorM*op.errorM/budget2), maxInflate)
	t.ratio = op.ratio
	t.untrusted = t.untrusted || op.untrusted
	t.reason = join(t.reason, op.reason)
	return t
}

// place fills in where the best path puts reading i.
func (c *chain) place(i int, point orb.Point, m *survey.Match) {
	at := int(c.path[i])
	cands := c.candidates(i)
	if at == len(cands) {
		m.Probability = c.posterior(i, nil)
		return
	}
	a := &cands[at]
	// As the map has the record and the crew the reading; on a sheet that lies tens
	// of metres off, at the place that it belongs to and square to it.
	rec := &c.net.records[a.rec]
	raw := c.net.settle(a.seg, point)
	m.Record = rec.input
	seg := &c.net.segs[raw.seg]
	m.Part, m.Segment = int(seg.part), int(seg.seg)
	m.StationM, m.OffsetM, m.AtEnd = raw.station, raw.offset, !raw.square
	if rec.start != (shift{}) {
		m.OffsetM = raw.across + raw.nEast*rec.start.east + raw.nNorth*rec.start.north
	}
	m.Probability = min(c.posterior(i, a), 1)
	m.Against = c.against(i, a)
}

// against says whether the walk goes against the record's direction at reading
// i: by its steps along the same record where there are any, else by the walk's
// direction.
func (c *chain) against(i int, a *candidate) bool {
	moved := 0.0
	if b := c.chosen(i - 1); b != nil && b.rec == a.rec {
		moved += c.forwardM(b, a)
	}
	if b := c.chosen(i + 1); b != nil && b.rec == a.rec {
		moved += c.forwardM(a, b)
	}
	if moved != 0 {
		return moved < 0
	}
	h := c.obs[i].after
	if !h.known() {
		h = c.obs[i].before
	}
	return a.ux*h.x+a.uy*h.y < 0
}

// forwardM is how far b lies ahead of a on their record, the short way round a
// ring.
func (c *chain) forwardM(a, b *candidate) float64 {
	d := b.virtual - a.virtual
	if p := &c.net.parts[c.net.segs[a.seg].of]; p.closed && math.Abs(d) > (p.to-p.from)/2 {
		d -= math.Copysign(p.to-p.from, d)
	}
	return d
}

func (c *chain) chosen(i int) *candidate {
	if i < 0 || i >= len(c.obs) {
		return nil
	}
	cands := c.candidates(i)
	if at := int(c.path[i]); at < len(cands) {
		return &cands[at]
	}
	return nil
}

// decide gives reading i its status and the reason in words.
func (c *chain) decide(i int, s *survey.Survey, tr *survey.Trace, t trust, m *survey.Match) {
	m.Reason = t.reason
	r := &tr.Readings[c.obs[i].reading]
	switch {
	case t.untrusted:
		m.Status = survey.StatusUntrusted
	case m.Record < 0 && m.Probability < c.o.MinProbability:
		m.Status = survey.StatusAmbiguous
		m.Reason = fmt.Sprintf("may lie on a record or on none (none: probability %.2f)", m.Probability)
	case m.Record < 0:
		m.Status = survey.StatusUnmapped
		m.Reason = "fits no record"
		if len(c.candidates(i)) == 0 {
			m.Reason = fmt.Sprintf("no record within %g m", c.o.SearchRadiusM)
		}
	case m.Probability < c.o.MinProbability:
		m.Status = survey.StatusAmbiguous
		m.Reason = fmt.Sprintf("probability %.2f that it lies on record %s, under %.2f", m.Probability, s.Records[m.Record].ID, c.o.MinProbability)
	case foreign(tr.Utility, s.Records[m.Record].Utility):
		m.Status = survey.StatusForeign
		m.Reason = fmt.Sprintf("labelled %s but lies on a %s record", tr.Utility, s.Records[m.Record].Utility)
	case r.Mode == survey.ModeSonde:
		m.Status = survey.StatusSonde
	default:
		m.Status = survey.StatusUsed
		if rec := &c.net.records[c.chosen(i).rec]; rec.start != (shift{}) {
			m.Reason = join(m.Reason, fmt.Sprintf("sheet %s taken to lie off by %.0f m east, %.0f m north", s.Records[m.Record].Sheet, rec.start.east, rec.start.north))
		}
	}
}

func foreign(label, utility string) bool {
	return label != utility && label != "" && utility != ""
}
