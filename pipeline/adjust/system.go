package adjust

import "github.com/asfound/asfound/internal/estimate"

// row is one linear form of the unknowns.
type row struct {
	idx  [16]int
	coef [16]float64
	n    int
}

func (r *row) add(idx int, coef float64) {
	r.idx[r.n], r.coef[r.n] = idx, coef
	r.n++
}

// times is the form's value.
func (r *row) times(x []float64) float64 {
	sum := 0.0
	for k := range r.n {
		sum += float64(r.coef[k] * x[r.idx[k]])
	}
	return sum
}

// entries is a symmetric matrix under construction.
type entries interface {
	Add(i, j int, v float64)
}

// places is a matrix of which only the places of its entries are wanted.
type places func(i, j int)

func (p places) Add(i, j int, _ float64) { p(i, j) }

// system is the normal equations under construction.
type system struct {
	m   *estimate.Factor
	rhs []float64
}

// observe adds w (row . x - value)^2. No unknown stands twice in a row.
func (s *system) observe(r *row, value, w float64) {
	at, coef := r.idx[:r.n], r.coef[:r.n]
	for i, k := range at {
		s.rhs[k] += float64(float64(w*coef[i]) * value)
	}
	s.m.AddNormal(at, coef, w)
}

// link names the places of a row's entries.
func (r *row) link(place places) {
	for i := range r.n {
		for k := range i + 1 {
			place(r.idx[i], r.idx[k])
		}
	}
}
