package correct

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// coverAnswer is the finding on a record's cover, and what people said of it.
type coverAnswer struct{ outside, accepted, quiet bool }

func coverAnswers(fs []survey.Finding, records int) []coverAnswer {
	out := make([]coverAnswer, records)
	for i := range fs {
		if f := &fs[i]; f.Kind == survey.KindDepth && f.Record >= 0 {
			out[f.Record] = coverAnswer{
				outside:  f.Verdict == survey.VerdictOutside && f.Attribution == survey.AttributionRecord,
				accepted: f.Life == survey.LifeAccepted, quiet: f.Life.Quiet(),
			}
		}
	}
	return out
}

// cover is a record's cover as it was read, with one standard deviation, where
// that replaces the map's; NaN where it does not.
func (p *plan) cover(j *survey.Judgement, said coverAnswer, o Options) (coverM, u float64) {
	c := &p.profile.Cover
	wanted := said.outside || o.When == WhenSurveyed
	if c.Readings == 0 || !wanted || said.quiet || o.Accepted && !said.accepted {
		return math.NaN(), math.NaN()
	}
	if math.IsNaN(p.rec.CoverM) {
		return c.DifferenceM, c.U
	}
	return p.rec.CoverM + c.DifferenceM, c.U
}
