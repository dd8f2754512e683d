package estimate

import "math"

// Solve returns x with A x = rhs.
func (f *Factor) Solve(rhs []float64) []float64 {
	x := make([]float64, f.n)
	f.SolveInto(x, rhs, make([]float64, f.n))
	return x
}

// SolveInto sets x with A x = rhs, with n numbers of work space; x may be rhs.
func (f *Factor) SolveInto(x, rhs, work []float64) {
	for k, i := range f.order {
		work[k] = rhs[i]
	}
	f.forward(work)
	for k, d := range f.pivot {
		work[k] /= d
	}
	f.backward(work)
	for k, i := range f.order {
		x[i] = work[k]
	}
}

// Sample turns n independent standard normal numbers z into a draw from the
// normal distribution with mean 0 and covariance A^-1: out = P' L'^-1 D^-1/2 z.
// z is in the order of elimination and is used up as work space.
func (f *Factor) Sample(z, out []float64) {
	for k, d := range f.pivot {
		z[k] /= math.Sqrt(d)
	}
	f.backward(z)
	for k, i := range f.order {
		out[i] = z[k]
	}
}

func (f *Factor) column(k int) ([]int32, []float64) {
	a, b := f.ptr[k], f.ptr[k+1]
	return f.row[a:b], f.val[a:b]
}
