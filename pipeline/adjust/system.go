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

// entries is a symmetric matrix under construction; false: it has no room at
// that place.
type entries interface {
	Add(i, j int, v float64) bool
	AddNormal(at []int, a []float64, weight float64) bool
}

// places is a matrix of which only the places of its entries are wanted.
type places struct{ add func(i, j int) }

func (p places) Add(i, j int, _ float64) bool {
	p.add(i, j)
	return true
}

func (p places) AddNormal(at []int, _ []float64, _ float64) bool {
	for k, i := range at {
		for _, j := range at[:k+1] {
			p.add(i, j)
		}
	}
	return true
}

// placesOf a builder's matrix.
func placesOf(b *estimate.Builder) places {
	return places{func(i, j int) { b.Add(i, j, 0) }}
}

// system is the normal equations under construction.
type system struct {
	m       entries
	rhs     []float64
	missing bool // an entry had no room
}

func (s *system) add(i, j int, v float64) {
	if !s.m.Add(i, j, v) {
		s.missing = true
	}
}

// observe adds w (row . x - value)^2. No unknown stands twice in a row.
func (s *system) observe(r *row, value, w float64) {
	at, coef := r.idx[:r.n], r.coef[:r.n]
	for i, k := range at {
		s.rhs[k] += float64(float64(w*coef[i]) * value)
	}
	if !s.m.AddNormal(at, coef, w) {
		s.missing = true
	}
}
