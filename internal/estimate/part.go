package estimate

import "math"

// Part is a part of a larger system, such as one region of a network: its own
// unknowns are eliminated, and what they say of the unknowns that it shares with
// other parts is left (static condensation; Helmert's blocking, Wolf 1978). The
// whole system goes
//
//	every part: Condense, Schur and Reduce into one Builder and right-hand side
//	once:       Factor, Solve, SelectedInverse, Sample of the shared unknowns
//	every part: Solve, SelectedInverse and Sample of its own, given the shared
//
// so that only one part at a time needs its memory.
type Part struct {
	f *Factor
}

// Condense eliminates all unknowns but o.Last, which it shares with other parts
// and need not determine. It fails with a *NotPositiveError where an unknown of
// its own is not determined even if the shared ones are known.
func (m *Matrix) Condense(o Options) (*Part, error) {
	p := m.AnalysePart(o)
	return p, p.Eliminate()
}

// AnalysePart is Condense without the numbers, for the part's Clear, Add and
// Eliminate.
func (m *Matrix) AnalysePart(o Options) *Part {
	shared := make([]bool, m.n)
	inner := m.n
	for _, i := range o.Last {
		if !shared[i] {
			shared[i] = true
			inner--
		}
	}
	return &Part{m.analyse(o, inner)}
}

// Clear sets all entries to zero, as that of a Factor does.
func (p *Part) Clear() { p.f.Clear() }

// Add adds to an entry, as that of a Factor does.
func (p *Part) Add(i, j int, v float64) bool { return p.f.Add(i, j, v) }

// AddNormal adds an observation's entries, as that of a Factor does.
func (p *Part) AddNormal(at []int, a []float64, weight float64) bool {
	return p.f.AddNormal(at, a, weight)
}

// Eliminate condenses the entries that were added.
func (p *Part) Eliminate() error { return p.f.Eliminate() }

// Schur hands over every element of the matrix that is left for the shared
// unknowns, i and j being unknowns of the part: A_ss - A_si A_ii^-1 A_is.
func (p *Part) Schur(add func(i, j int, v float64)) {
	f := p.f
	for k := f.inner; k < f.n; k++ {
		add(int(f.order[k]), int(f.order[k]), f.pivot[k])
		rows, vals := f.column(k)
		for q, r := range rows {
			add(int(f.order[k]), int(f.order[r]), vals[q])
		}
	}
}

// Reduce hands over the right-hand side that is left for the shared unknowns:
// b_s - A_si A_ii^-1 b_i.
func (p *Part) Reduce(rhs []float64, add func(i int, v float64)) {
	f, work := p.f, make([]float64, p.f.n)
	for k, i := range f.order {
		work[k] = rhs[i]
	}
	f.forward(work)
	for k := f.inner; k < f.n; k++ {
		add(int(f.order[k]), work[k])
	}
}

// Solve completes x, which holds the shared unknowns, by the part's own.
func (p *Part) Solve(x, rhs []float64) {
	f, work := p.f, make([]float64, p.f.n)
	for k, i := range f.order[:f.inner] {
		work[k] = rhs[i]
	}
	f.forward(work)
	for k := range f.inner {
		work[k] /= f.pivot[k]
	}
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
	f := p.f
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
// that Schur handed over.
func (p *Part) SelectedInverse(shared func(i, j int) float64) *Inverse {
	f, inv := p.f, newInverse(p.f)
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
