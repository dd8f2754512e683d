package judge

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// attribute says to what the data attributes a record's difference. The verdict
// is on the record with the errors of positions, session and trace taken out, so
// one that is decided outside is the record's. A raw difference beyond the
// tolerance on a record that is within is the field's or, where the source of
// positions carries it, the frame's. What is not decided is inseparable.
//
// Each of these acquits or accuses the sessions that read the record, and none of
// them testifies for itself: the verdict has to hold with nothing presumed of
// any one of them. Where it does not, record and session are inseparable.
func attribute(j *survey.Judgement, p *survey.Profile, without func(record int) []survey.Without, o *Options) {
	sh := &p.Shares
	if sh.Readings == 0 {
		return
	}
	switch {
	case j.Position == survey.VerdictOutside:
		j.Attribution = survey.AttributionRecord
	case !(math.Abs(sh.RawM) > j.Tolerance.HorizontalM):
		return
	case j.Position == survey.VerdictUndecided:
		j.Attribution = survey.AttributionInseparable
	case math.Abs(sh.SourceM) > math.Abs(sh.SessionM+sh.BiasM+sh.NoiseM):
		j.Attribution = survey.AttributionFrame
	default:
		j.Attribution = survey.AttributionField
	}
	j.AttributionProbability = j.Probability
	if j.Position != survey.VerdictOutside {
		j.AttributionProbability = 1 - j.Probability
	}
	if without == nil {
		return
	}
	for _, w := range without(j.Record) {
		probability := holds(j, p, &w)
		j.AttributionProbability = min(j.AttributionProbability, probability)
		if probability < o.level() {
			j.RestsOn = append(j.RestsOn, w.Session)
		}
	}
	if len(j.RestsOn) > 0 {
		j.Attribution = survey.AttributionInseparable
	}
}

// holds is the probability of a record's verdict with nothing presumed of one
// session: at the worst place of the stretches that are outside, or of all where
// it is within.
func holds(j *survey.Judgement, p *survey.Profile, w *survey.Without) float64 {
	worst := 0.0
	for i := range j.Stretches {
		st := &j.Stretches[i]
		if j.Position == survey.VerdictOutside && st.Verdict != survey.VerdictOutside {
			continue
		}
		for k := range p.Nodes {
			n := &p.Nodes[k]
			if n.Part == st.Part && n.StationM >= st.FromM-1e-9 && n.StationM <= st.ToM+1e-9 {
				worst = max(worst, beyond(w.OffsetM[k], math.Hypot(n.OffsetU, w.AddedU[k]), j.Tolerance.HorizontalM))
			}
		}
	}
	if j.Position == survey.VerdictOutside {
		return worst
	}
	return 1 - worst
}
