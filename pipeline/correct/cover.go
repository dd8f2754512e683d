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

// cover proposes a record's cover as it was read.
func (p *plan) cover(to *survey.Correction, said coverAnswer, o Options) {
	c := &p.profile.Cover
	wanted := said.outside || o.When == WhenSurveyed
	if c.Readings == 0 || !wanted || said.quiet || o.Accepted && !said.accepted {
		return
	}
	to.CoverRead, to.CoverM, to.CoverU = true, c.DifferenceM, c.U
	if !math.IsNaN(p.rec.CoverM) { // else the difference is to nothing
		to.CoverM += p.rec.CoverM
	}
}
