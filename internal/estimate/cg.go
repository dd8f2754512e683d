package estimate

import (
	"fmt"
	"math"
)

// ConjugateGradient solves A x = rhs where a factor would not fit in memory, from
// the x that it is given, until the residual is below tolerance times the norm
// of rhs (preconditioned conjugate gradients: Golub & Van Loan, Matrix
// Computations, section 11.5). precondition sets dst to an approximate solution
// for the right-hand side r: Jacobi, or the SolveInto of a factor of a matrix
// close to this one, such as Cut. It returns the rounds it took.
func (m *Matrix) ConjugateGradient(x, rhs []float64, precondition func(dst, r []float64), tolerance float64, limit int) (rounds int, err error) {
	return conjugateGradient(m.Mul, x, rhs, precondition, tolerance, limit)
}

// conjugateGradient is ConjugateGradient of a matrix of which only the product with
// a vector is known.
func conjugateGradient(mul func(y, x []float64), x, rhs []float64, precondition func(dst, r []float64), tolerance float64, limit int) (rounds int, err error) {
	r, z, ap := make([]float64, len(x)), make([]float64, len(x)), make([]float64, len(x))
	mul(ap, x)
	for i := range r {
		r[i] = rhs[i] - ap[i]
	}
	goal := tolerance * math.Sqrt(dot(rhs, rhs))
	precondition(z, r)
	p := append([]float64(nil), z...)
	rz := dot(r, z)
	for rounds = 0; !(math.Sqrt(dot(r, r)) <= goal); rounds++ {
		mul(ap, p)
		curvature := dot(p, ap)
		if !(curvature > 0) {
			return rounds, fmt.Errorf("estimate: the matrix or its preconditioner is not positive definite (curvature %g in round %d)", curvature, rounds)
		}
		if rounds == limit {
			return rounds, fmt.Errorf("estimate: conjugate gradients are at %.3g of the right-hand side after %d rounds", math.Sqrt(dot(r, r)/dot(rhs, rhs)), limit)
		}
		alpha := rz / curvature
		for i := range x {
			x[i] += float64(alpha * p[i])
			r[i] -= float64(alpha * ap[i])
		}
		precondition(z, r)
		next := dot(r, z)
		beta := next / rz
		rz = next
		for i := range p {
			p[i] = z[i] + float64(beta*p[i])
		}
	}
	return rounds, nil
}

// Jacobi is the preconditioner that divides by the diagonal.
func (m *Matrix) Jacobi() func(dst, r []float64) {
	diagonal := make([]float64, m.n)
	for j := range m.n {
		for p := m.ptr[j]; p < m.ptr[j+1]; p++ {
			if int(m.row[p]) == j {
				diagonal[j] = m.val[p]
			}
		}
	}
	return func(dst, r []float64) {
		for i, d := range diagonal {
			dst[i] = r[i] / d
		}
	}
}

// Cut is the matrix without the entries between the unknowns of border and the
// rest: still positive definite, and its factor has no fill from the border. As
// a preconditioner it leaves about two rounds an unknown of the border.
func (m *Matrix) Cut(border []int) *Matrix {
	in := make([]bool, m.n)
	for _, i := range border {
		in[i] = true
	}
	c := &Matrix{n: m.n, ptr: make([]int, m.n+1)}
	for j := range m.n {
		for p := m.ptr[j]; p < m.ptr[j+1]; p++ {
			if in[m.row[p]] == in[j] {
				c.row = append(c.row, m.row[p])
				c.val = append(c.val, m.val[p])
			}
		}
		c.ptr[j+1] = len(c.row)
	}
	return c
}
