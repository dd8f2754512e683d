// Package correct proposes corrected lines: the adjusted move wherever there is
// evidence, faded out to exactly nothing beyond it, with neighbours following at
// shared ends.
package correct

import (
	"math"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// Lines proposes one correction per record of s, in its order. Vertices that do
// not move keep their coordinates bit for bit.
func Lines(s *survey.Survey, js []survey.Judgement, fs []survey.Finding, m *survey.Model, o Options) []survey.Correction {
	plans := make([]plan, len(s.Records))
	answers := answered(fs, o.Accepted)
	for r := range s.Records {
		rec := &s.Records[r]
		plans[r] = plan{line: lineref.New(rec.Parts, rec.Scale), rec: rec, profile: &m.Profiles[r]}
		if wanted(&js[r], o.When) && !held(answers, r, o.Accepted) {
			plans[r].evidence = m.Profiles[r].Surveyed(o.MaxGapM)
		}
	}
	agree(plans, s.ByKey(), o)
	out := make([]survey.Correction, len(s.Records))
	for r := range plans {
		out[r] = plans[r].correction(r, o)
		out[r].Finding = answers[r]
		out[r].Neighbor = out[r].Moved && len(plans[r].evidence) == 0
	}
	return out
}

// wanted says whether a record moves on its own account.
func wanted(j *survey.Judgement, when When) bool {
	if when == WhenSurveyed {
		return j.Position != survey.VerdictUnsurveyed
	}
	return j.Position == survey.VerdictOutside && j.Attribution == survey.AttributionRecord
}

// answered finds the outside finding of each record that its correction answers:
// the first that nobody rejected or deferred or, where people have to accept, that
// somebody accepted; "" where people want none of them answered.
func answered(fs []survey.Finding, accepted bool) map[int]string {
	out := map[int]string{}
	for i := range fs {
		f := &fs[i]
		if f.Kind != survey.KindPosition || f.Verdict != survey.VerdictOutside || out[f.Record] != "" {
			continue
		}
		out[f.Record] = ""
		if !f.Life.Quiet() && (!accepted || f.Life == survey.LifeAccepted) {
			out[f.Record] = f.ID
		}
	}
	return out
}

// held says that people keep a record where it is.
func held(answers map[int]string, record int, accepted bool) bool {
	finding, found := answers[record]
	return found && finding == "" || accepted && !found
}

// move is a vector, true east and north in ground metres.
type move struct{ east, north float64 }

func (m move) plus(o move, w float64) move { return move{m.east + w*o.east, m.north + w*o.north} }
func (m move) length() float64             { return math.Hypot(m.east, m.north) }

// plan is what one record shall do.
type plan struct {
	line     lineref.Line
	rec      *survey.Record
	profile  *survey.Profile
	evidence []survey.Span
	pulls    []pull
}

// pull is what a shared place asks of a record beyond its own move there.
type pull struct {
	part     int
	stationM float64
	by       move
}

// own is the move of a place by the record's own evidence: the adjusted one,
// times a taper that is 1 on the evidence and exactly 0 from fadeM beyond it.
func (p *plan) own(part int, stationM, fadeM float64) move {
	w := 0.0
	for _, e := range p.evidence {
		if e.Part == part {
			w = math.Max(w, taper(math.Max(math.Max(e.FromM-stationM, stationM-e.ToM), 0), fadeM))
		}
	}
	if w == 0 {
		return move{}
	}
	return move{}.plus(p.adjusted(part, stationM), w)
}

// adjusted is the model's displacement at a station.
func (p *plan) adjusted(part int, stationM float64) move {
	d := p.profile.At(part, stationM)
	return move{d.East, d.North}
}

// total is the own move plus what shared places ask, each faded out along the
// record.
func (p *plan) total(part int, stationM, fadeM float64) move {
	m := p.own(part, stationM, fadeM)
	for _, q := range p.pulls {
		if q.part == part {
			m = m.plus(q.by, taper(math.Abs(stationM-q.stationM), p.reach(q, stationM, fadeM)))
		}
	}
	return m
}

// reach is how far a pull is felt towards a station: at most the fade-out
// length, and never past the next shared place on that side, which has a move
// of its own.
func (p *plan) reach(q pull, stationM, fadeM float64) float64 {
	reach := fadeM
	for _, other := range p.pulls {
		d := other.stationM - q.stationM
		if other.part == q.part && d != 0 && (d > 0) == (stationM > q.stationM) {
			reach = math.Min(reach, math.Abs(d))
		}
	}
	return reach
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

// displace moves a plane point by a true east and north ground vector at the
// record's convergence and scale.
func displace(at orb.Point, m move, rec *survey.Record) orb.Point {
	sin, cos := math.Sincos(rec.Convergence)
	k := rec.Scale
	if k == 0 {
		k = 1
	}
	return orb.Point{at[0] + k*(m.east*cos-m.north*sin), at[1] + k*(m.north*cos+m.east*sin)}
}
