package adjust

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// A Student-t is a normal distribution whose precision is not known: sigma^-2
// times a weight w, w of a gamma distribution with shape and rate nu/2. The
// iterations end at one weight; how sure an estimate is depends on all of those
// that its data leave possible. Where they tell little of a shift, that of one
// weight would promise too much.
//
// The integral over the weights goes in equal steps of their logarithm. With nu = 3
// it leaves out 1.4e-6 of the prior's weights below (1.5e-4^1.5 / gamma(2.5)), and
// exp(-150) above; the number of steps is practice.
const (
	mixtureSteps = 64
	mixtureLeast = 1e-4
	mixtureMost  = 1e2
	normalNu     = 1e3 // from here on a Student-t is taken as normal: 97.5 % at 1.962, not 1.960
)

// mixed replaces the covariance of a shift that has the prior q, as it was found
// with q's weight, by its mean square error over all weights: the integral over
// the scale mixture (Andrews and Mallows 1974), the data entering as a normal
// likelihood.
func (q *prior) mixed(v survey.Vector) survey.Vector {
	s2 := q.sigma * q.sigma
	det := v.EE*v.NN - v.EN*v.EN
	if !(det > 0) || q.nu > normalNu {
		return v
	}
	// Precision of the data and what it pulls to: without the prior's part.
	iee, ien, inn := v.NN/det, -v.EN/det, v.EE/det
	ge, gn := iee*v.East+ien*v.North, ien*v.East+inn*v.North
	lee, lnn := max(iee-q.weight/s2, 0), max(inn-q.weight/s2, 0)

	var logs [mixtureSteps]float64
	var at [mixtureSteps]survey.Vector
	most := math.Inf(-1)
	for k := range mixtureSteps {
		w := mixtureLeast * math.Pow(mixtureMost/mixtureLeast, (float64(k)+0.5)/mixtureSteps)
		pee, pen, pnn := lee+w/s2, ien, lnn+w/s2
		d := pee*pnn - pen*pen
		if !(d > 0) {
			logs[k] = math.Inf(-1)
			continue
		}
		c := survey.Vector{EE: pnn / d, EN: -pen / d, NN: pee / d}
		c.East, c.North = c.EE*ge+c.EN*gn, c.EN*ge+c.NN*gn
		at[k] = c
		// gamma prior in log w, normalisation of the shift's prior, evidence
		logs[k] = q.nu/2*(math.Log(w)-w) + math.Log(w) - math.Log(d)/2 + (ge*c.East+gn*c.North)/2
		most = max(most, logs[k])
	}
	sum, ee, en, nn := 0.0, 0.0, 0.0, 0.0
	for k := range mixtureSteps {
		p := math.Exp(logs[k] - most)
		de, dn := at[k].East-v.East, at[k].North-v.North
		sum += p
		ee += float64(p * (at[k].EE + de*de))
		en += float64(p * (at[k].EN + de*dn))
		nn += float64(p * (at[k].NN + dn*dn))
	}
	v.EE, v.EN, v.NN = ee/sum, en/sum, nn/sum
	return v
}
