package estimate

import "math"

// Part is a part of a larger system, such as one region of a network: its own
// unknowns are eliminated, and what they say of the unknowns that it shares with
// other parts is left (static condensation; Helmert's blocking, Wolf 1978). The
// whole system goes
//
//	every part: a Front's Start, Add, AddNormal, Eliminate, Finish; then
//	            Schur and Reduced into one system
//	once:       Factor, Solve, SelectedInverse, Sample of the shared unknowns
//	every part: Solve, SelectedInverse and Sample of its own, given the shared
//
// so that only one part at a time needs its memory. The zero value is an empty
// one; a Part that is condensed again keeps its memory.
type Part struct {
	f   Factor
	rhs []float64 // in the order of elimination: what is left for each unknown by those before it
}

// Schur hands over every element of the matrix that is left for the shared
// unknowns, i and j being unknowns of the part: A_ss - A_si A_ii^-1 A_is.
func (p *Part) Schur(add func(i, j int, v float64)) {
	f := &p.f
	for k := f.inner; k < f.n; k++ {
		add(int(f.order[k]), int(f.order[k]), f.pivot[k])
		rows, vals := f.column(k)
		for q, r := range rows {
			add(int(f.order[k]), int(f.order[r]), vals[q])
		}
	}
}

// Reduced hands over the right-hand side that is left for the shared unknowns:
// b_s - A_si A_ii^-1 b_i.
func (p *Part) Reduced(add func(i int, v float64)) {
	for k := p.f.inner; k < p.f.n; k++ {
		add(int(p.f.order[k]), p.rhs[k])
	}
}

// Solve completes x, which holds the shared unknowns, by the part's own. work is
// space for as many numbers.
func (p *Part) Solve(x, work []float64) {
	for k, d := range p.f.pivot[:p.f.inner] {
		work[k] = p.rhs[k] / d
	}
	p.complete(work, x)
}

// Contrast is what a linear form of the part's unknowns varies by where the shared
// ones are known. form is its coefficients, and becomes what is left for the shared
// ones: those of the part's own are of no use then. The form's whole variance is
// the sum of that and the variance of what is left. work is space for as many
// numbers, and holds the form as Inner takes it.
func (p *Part) Contrast(form, work []float64) (variance float64) {
	f := &p.f
	for k, i := range f.order {
		work[k] = form[i]
	}
	f.forward(work[:f.n])
	for k := f.inner; k < f.n; k++ {
		form[f.order[k]] = work[k]
	}
	return p.Inner(work, work)
}

// Inner is the covariance of two forms of which Contrast left a and b, where the
// shared unknowns are known.
func (p *Part) Inner(a, b []float64) (sum float64) {
	for k, d := range p.f.pivot[:p.f.inner] {
		sum += float64(a[k] * b[k] / d)
	}
	return sum
}

// Follow completes x, which holds values of the shared unknowns, by what the part's
// own are where nothing else is known of them: with covariances of the shared
// unknowns with one of them, it gives those of the part's own.
func (p *Part) Follow(x, work []float64) {
	clear(work[:p.f.inner])
	p.complete(work, x)
}

// Sample completes out, which holds a draw of the shared unknowns, by one of
// the part's own given those. z is n independent standard normal numbers, used
// up as work space.
func (p *Part) Sample(z, out []float64) {
	for k, d := range p.f.pivot[:p.f.inner] {
		z[k] /= math.Sqrt(d)
	}
	p.complete(z, out)
}

// complete solves backwards from the shared unknowns in x.
func (p *Part) complete(work, x []float64) {
	f := &p.f
	for k := f.inner; k < f.n; k++ {
		work[k] = x[f.order[k]]
	}
	f.backward(work)
	for k, i := range f.order[:f.inner] {
		x[i] = work[k]
	}
}

// SelectedInverse is the part's block of the inverse of the whole matrix, from
// the covariances of the shared unknowns, which shared returns for every pair
// that Schur handed over. It takes the part's memory: until the part is condensed
// anew it is of no further use.
func (p *Part) SelectedInverse(shared func(i, j int) float64) *Inverse {
	f, inv := &p.f, p.f.used()
	for k := f.inner; k < f.n; k++ {
		inv.diag[k] = shared(int(f.order[k]), int(f.order[k]))
		rows, _ := f.column(k)
		for q, r := range rows {
			inv.val[f.ptr[k]+q] = shared(int(f.order[k]), int(f.order[r]))
		}
	}
	inv.fill()
	return inv
}
