package judge

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// unmapped says that an exposed line lies where the readings of its record do
// not: the map may lack it, and the marks be of the record. A fitting is known by
// its id, and a line that was exposed for the ticket that was marked is taken for
// the marked one.
func (o *Options) unmapped(s *survey.Survey, read []sample, c *survey.MarkCheck) string {
	rec, e := &s.Records[c.Record], &s.Exposures[c.Exposure]
	if e.Fitting != "" || e.Ticket != "" && e.Ticket == s.Marks[c.Marks[0]].Ticket {
		return ""
	}
	line := lineref.New(rec.Parts, rec.Scale)
	foot, ok := line.Nearest(e.Point)
	if !ok {
		return ""
	}
	var offsets, sigmas []float64
	for _, r := range read {
		if math.Abs(r.stationM-foot.StationM) <= o.MaxGapM {
			offsets, sigmas = append(offsets, r.offsetM), append(sigmas, r.sigmaM)
		}
	}
	if len(offsets) == 0 {
		return ""
	}
	u := math.Hypot(math.Hypot(estimate.Median(sigmas), o.Positions.MarkM), math.Hypot(o.Positions.SessionM, o.sigma(e.SigmaM)))
	if apart := math.Abs(foot.OffsetM - estimate.Median(offsets)); apart > 3*u {
		return fmt.Sprintf("may be of different lines: the exposed one lies %.2f m from the readings on record %s, and the map may lack it", apart, rec.ID)
	}
	return ""
}

// sample is a used reading on its record, without what the model finds its
// session and source of positions to be off.
type sample struct{ stationM, offsetM, sigmaM float64 }

// samples are the used readings of the records with an exposure, by record.
func (o *Options) samples(s *survey.Survey, matches [][]survey.Match, exposed []survey.Match, m *survey.Model) map[int][]sample {
	asked := map[int]bool{}
	for i := range exposed {
		asked[exposed[i].Record] = true
	}
	out := map[int][]sample{}
	for t := range matches {
		tr := &s.Traces[t]
		effects := effectsOf(m, tr.Session, tr.Positions)
		for i := range matches[t] {
			k := &matches[t][i]
			if k.Status != survey.StatusUsed || !asked[k.Record] {
				continue
			}
			east, north := s.Records[k.Record].Right(k.Part, k.Segment)
			offset := k.OffsetM
			for _, f := range effects {
				off, _ := f.V.Along(east, north)
				offset -= off
			}
			out[k.Record] = append(out[k.Record], sample{k.StationM, offset, o.sigma(tr.Readings[i].SigmaM)})
		}
	}
	return out
}

// positionErrors is what the sessions and sources of a mark and of an exposure put
// into the offset between them: what control checks tell of it, to take off, and
// the variance of the rest. What one session or source gives to both cancels.
func (o *Options) positionErrors(s *survey.Survey, m *survey.Model, mark, exposure int, right orb.Point, convergence float64) (shiftM, variance float64) {
	k, e := &s.Marks[mark], &s.Exposures[exposure]
	east, north := survey.True(right, convergence)
	sameSource := k.Positions == e.Positions
	sameSession := sameSource && k.Session == e.Session
	add := func(name, positions string, sign float64) {
		prior := map[survey.EffectKind]float64{survey.EffectSession: o.Positions.SessionM, survey.EffectSource: o.Positions.SourceM}
		if sameSession {
			delete(prior, survey.EffectSession)
		}
		if sameSource {
			delete(prior, survey.EffectSource)
		}
		for _, f := range effectsOf(m, name, positions) {
			sigma, counts := prior[f.Kind]
			if !counts {
				continue
			}
			delete(prior, f.Kind)
			along, known := f.V.Along(east, north)
			if f.Checks > 0 {
				shiftM += sign * along
				variance += known
			} else {
				// Only the map and other crews speak for it: whether the marks or their
				// survey were off cannot be told.
				variance += max(sigma*sigma, known) + along*along
			}
		}
		// What the model knows nothing of.
		session, source := prior[survey.EffectSession], prior[survey.EffectSource]
		variance += session*session + source*source
	}
	add(k.Session, k.Positions, 1)
	add(e.Session, e.Positions, -1)
	return shiftM, variance
}

// effectsOf are what the model says of a session and of its source of positions.
func effectsOf(m *survey.Model, session, positions string) (out []*survey.Effect) {
	for i := range m.Effects {
		f := &m.Effects[i]
		if f.Kind == survey.EffectSession && (f.Name == session || f.Name == session+" / "+positions) || f.Kind == survey.EffectSource && f.Name == positions {
			out = append(out, f)
		}
	}
	return out
}
