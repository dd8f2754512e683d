package adjust

import (
	"maps"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// effects lists sheets, sessions and sources of positions with their estimate.
// The sheets come first, then the sessions.
func (p *problem) effects(inv *estimate.Inverse) []survey.Effect {
	var sheets, sessions, sources []survey.Effect
	for i, name := range p.n.sheets {
		sheets = append(sheets, survey.Effect{Kind: survey.EffectSheet, Name: name, V: p.sheetVector(&p.sheet[i], inv)})
	}
	for i, se := range p.ev.sessions {
		v := p.session[i].mixed(p.difference(&p.session[i], inv))
		sessions = append(sessions, survey.Effect{Kind: survey.EffectSession, Name: se.name, Crew: se.crew, V: v, Others: p.freed[i].beyond})
	}
	for i, name := range p.ev.sources {
		sources = append(sources, survey.Effect{Kind: survey.EffectSource, Name: name, V: p.jointVector(p.u.sources+2*i, inv)})
	}
	for r := range p.n.records {
		if k := p.n.records[r].sheet; k >= 0 {
			sheets[k].Records++
		}
	}
	reads := make([]map[int32]bool, len(sheets)) // sessions on each sheet
	for _, c := range p.readCells {
		touched := map[int32]bool{} // sessions
		for i := range c.obs {
			ob := &c.obs[i]
			if ob.out {
				continue
			}
			if k := p.n.records[c.record].sheet; k >= 0 {
				sheets[k].Readings++
				if reads[k] == nil {
					reads[k] = map[int32]bool{}
				}
				reads[k][ob.session] = true
			}
			sessions[ob.session].Readings++
			sources[p.ev.sessions[ob.session].source].Readings++
			if !touched[ob.session] {
				touched[ob.session] = true
				sessions[ob.session].Records++
			}
		}
	}
	for _, c := range p.ev.checks {
		sessions[c.session].Checks++
		sources[p.ev.sessions[c.session].source].Checks++
	}
	for _, l := range p.ev.left {
		sheets[l.sheet].Left++
	}
	markSignificant(sheets, p.o.NameM, p.o.FalseDiscovery)
	for k := range sheets {
		if sheets[k].Significant {
			sheets[k].RestsOn = p.restsOn(k, sheets[k].V, slices.Sorted(maps.Keys(reads[k])), inv)
		}
	}
	markSignificant(sessions, 3*p.given.SessionM, p.o.FalseDiscovery)
	markSignificant(sources, max(sourceSeenM, 3*p.given.PositionsM), p.o.FalseDiscovery)
	return slices.Concat(sheets, sessions, sources)
}

// sheetsOfRecords is the effect of every record's sheet: the sheets come first.
func (p *problem) sheetsOfRecords() []int {
	out := make([]int, len(p.n.records))
	for r := range out {
		out[r] = p.n.records[r].sheet
	}
	return out
}

// restsOn lists those of a sheet's sessions, as effects, without whose own word
// its shift would not be worth naming.
func (p *problem) restsOn(sheet int, v survey.Vector, sessions []int32, inv *estimate.Inverse) (out []int) {
	at, m := covariances(inv), int(p.joint.place[p.u.sheets+2*sheet])
	for _, s := range sessions {
		i := int(p.joint.place[p.u.sessions+2*int(s)])
		without := p.freed[s].sheet(v, [2]float64{at(m, i), at(m, i+1)}, [2]float64{at(m+1, i), at(m+1, i+1)})
		if exceedance(without, p.o.NameM) > p.o.FalseDiscovery {
			out = append(out, len(p.n.sheets)+int(s))
		}
	}
	return out
}

// jointVector is the estimate and covariance of a pair of shared unknowns.
func (p *problem) jointVector(first int, inv *estimate.Inverse) survey.Vector {
	k := int(p.joint.place[first])
	return vectorAt(p.x[first], p.x[first+1], k, inv)
}

// vectorAt is a vector of two unknowns with the covariance of the k-th and the
// next of an inverse.
func vectorAt(east, north float64, k int, inv *estimate.Inverse) survey.Vector {
	en, _ := inv.At(k, k+1)
	return survey.Vector{East: east, North: north, EE: inv.Variance(k), EN: en, NN: inv.Variance(k + 1)}
}

// covariances are the elements of an inverse, zero where it has none.
func covariances(inv *estimate.Inverse) func(i, j int) float64 {
	return func(i, j int) float64 { v, _ := inv.At(i, j); return v }
}

// sheetVector is a sheet's shift: the whole map's and its own beyond that, which
// is uncertain as a Student-t is.
func (p *problem) sheetVector(q *prior, inv *estimate.Inverse) survey.Vector {
	v, own := p.jointVector(q.first, inv), p.difference(q, inv)
	mixed := own
	if !q.fixed {
		mixed = q.mixed(own)
	}
	v.EE, v.EN, v.NN = v.EE+mixed.EE-own.EE, v.EN+mixed.EN-own.EN, v.NN+mixed.NN-own.NN
	return v
}

// difference is a pair of shared unknowns less its prior's parent.
func (p *problem) difference(q *prior, inv *estimate.Inverse) survey.Vector {
	first, parent := q.first, q.parent
	a, b := p.jointVector(first, inv), p.jointVector(parent, inv)
	i, j := int(p.joint.place[first]), int(p.joint.place[parent])
	at := covariances(inv)
	return survey.Vector{
		East: a.East - b.East, North: a.North - b.North,
		EE: max(a.EE+b.EE-2*at(i, j), 0),
		EN: a.EN + b.EN - at(i, j+1) - at(i+1, j),
		NN: max(a.NN+b.NN-2*at(i+1, j+1), 0),
	}
}

// markSignificant marks the effects that are larger than sizeM in the direction
// in which that is surest, at a false discovery rate (Benjamini and Hochberg
// 1995, section 3.1) over all effects of a kind. An effect without readings
// cannot be significant.
func markSignificant(effects []survey.Effect, sizeM, rate float64) {
	var tested []int
	var p []float64
	for i := range effects {
		if effects[i].Readings+effects[i].Checks+effects[i].Left > 0 {
			tested = append(tested, i)
			e := exceedance(effects[i].V, sizeM)
			if effects[i].Kind == survey.EffectSession { // nor does it accuse itself
				e = max(e, exceedance(effects[i].Others, sizeM))
			}
			p = append(p, e)
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
	for _, d := range directions {
		value, variance := v.Along(d[0], d[1])
		if variance > 0 {
			best = max(best, (value-sizeM)/math.Sqrt(variance))
		}
	}
	return estimate.NormalCDF(-best)
}

// directions are all of them, in steps of one degree.
var directions = func() (all [360][2]float64) {
	for deg := range all {
		sin, cos := math.Sincos(float64(deg) * math.Pi / 180)
		all[deg] = [2]float64{cos, sin}
	}
	return all
}()
