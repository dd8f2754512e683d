package adjust

import (
	"math"

	"github.com/asfound/asfound/internal/estimate"
)

// prior is what is known beforehand of a pair of unknowns, beyond that of its
// parent (a record's of its sheet's, a sheet's of the whole map's; -1: zero): a
// Student-t of a scale and degrees of freedom, as a normal distribution with a
// weight.
type prior struct {
	first, parent     int
	sigma, nu, weight float64
}

func (q *prior) reweight(x []float64) {
	e, n := x[q.first], x[q.first+1]
	if q.parent >= 0 {
		e, n = e-x[q.parent], n-x[q.parent+1]
	}
	q.weight = estimate.StudentTVector((e*e+n*n)/(q.sigma*q.sigma), 2, q.nu)
}

// add adds the prior to the normal equations. The zeros keep pairs in the
// pattern of the inverse.
func (q *prior) add(s *system) {
	w := q.weight / (q.sigma * q.sigma)
	for axis := range 2 {
		var r row
		r.add(q.first+axis, 1)
		if q.parent >= 0 {
			r.add(q.parent+axis, -1)
		}
		s.observe(&r, 0, w)
	}
	s.b.Add(q.first, q.first+1, 0)
}

// startM is how far off anything may be at the start.
const startM = 0.5

func wide(sigma float64) float64 { return math.Min(1, sigma*sigma/(startM*startM)) }
