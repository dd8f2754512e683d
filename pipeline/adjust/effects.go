package adjust

import (
	"math"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// effects lists sheets, sessions and sources of positions with their estimate.
// The sheets come first, then the sessions.
func (p *problem) effects(s *survey.Survey, inv *estimate.Inverse) []survey.Effect {
	var out []survey.Effect
	add := func(kind survey.EffectKind, names []string, first int) {
		for i, name := range names {
			out = append(out, survey.Effect{Kind: kind, Name: name, V: p.vector(first+2*i, inv)})
		}
	}
	add(survey.EffectSheet, p.n.sheets, p.u.sheets)
	add(survey.EffectSession, p.ev.sessions, p.u.sessions)
	add(survey.EffectSource, p.ev.sources, p.u.sources)
	sheets, sessions := out[:len(p.n.sheets)], out[len(p.n.sheets):][:len(p.ev.sessions)]
	sources := out[len(p.n.sheets)+len(p.ev.sessions):]

	for r := range p.n.records {
		if k := p.n.records[r].sheet; k >= 0 {
			sheets[k].Records++
		}
	}
	touched := map[[2]int]bool{} // session, record
	for i := range p.ev.obs {
		ob := &p.ev.obs[i]
		if ob.out {
			continue
		}
		if k := p.n.records[ob.record].sheet; k >= 0 {
			sheets[k].Readings++
		}
		sessions[ob.session].Readings++
		sources[ob.source].Readings++
		if !touched[[2]int{ob.session, ob.record}] {
			touched[[2]int{ob.session, ob.record}] = true
			sessions[ob.session].Records++
		}
	}
	for _, c := range p.ev.checks {
		sessions[c.session].Checks++
		sources[c.source].Checks++
	}
	for i := range sessions {
		sessions[i].Crew = p.ev.crews[i]
	}
	markSignificant(sheets, p.o.NameM, p.o.FalseDiscovery)
	markSignificant(sessions, 3*p.o.SessionM, p.o.FalseDiscovery)
	markSignificant(sources, max(0.1, 3*p.o.PositionsM), p.o.FalseDiscovery)
	return out
}

// markSignificant marks the effects that are larger than sizeM in the direction
// in which that is surest, at a false discovery rate (Benjamini and Hochberg
// 1995, section 3.1) over all effects of a kind. An effect without readings
// cannot be significant.
func markSignificant(effects []survey.Effect, sizeM, rate float64) {
	var tested []int
	var p []float64
	for i := range effects {
		if effects[i].Readings+effects[i].Checks > 0 {
			tested = append(tested, i)
			p = append(p, exceedance(effects[i].V, sizeM))
		}
	}
	for k, adjusted := range estimate.AdjustedP(p) {
		effects[tested[k]].Significant = adjusted <= rate
	}
}

// exceedance is the probability, in the direction in which it is smallest, that
// an effect of at most sizeM gave this estimate: one-sided normal, the
// direction searched in steps of one degree.
func exceedance(v survey.Vector, sizeM float64) float64 {
	best := math.Inf(-1)
	for deg := range 360 {
		sin, cos := math.Sincos(float64(deg) * math.Pi / 180)
		value, variance := v.Along(cos, sin)
		if variance > 0 {
			best = max(best, (value-sizeM)/math.Sqrt(variance))
		}
	}
	return estimate.NormalCDF(-best)
}
