package estimate

import (
	"math"
	"slices"
)

// Inverse holds the elements of A^-1 in the pattern of L + L': the diagonal,
// every pair with an entry in A (a zero one too), and the fill.
type Inverse struct {
	f    *Factor
	val  []float64 // as Factor.val
	diag []float64
}

// SelectedInverse computes the inverse on the pattern of the factor, without
// the rest of it (Takahashi, Fagan & Chin 1973; Erisman & Tinney 1975), from
// Z = D^-1 L^-1 + (I - L') Z, column by column from the last:
//
//	Z[i,j] = -sum_k L[k,j] Z[i,k],  Z[j,j] = 1/D[j] - sum_k L[k,j] Z[k,j],  i, k > j in column j of L.
func (f *Factor) SelectedInverse() *Inverse {
	inv := &Inverse{f: f, val: make([]float64, len(f.val)), diag: make([]float64, f.n)}
	inv.fill()
	return inv
}

// Invert is SelectedInverse in the factor's own memory: it is of no use afterwards.
func (f *Factor) Invert() *Inverse {
	f.lower = nil
	return f.InvertInPlace()
}

// InvertInPlace is the same, but the factor may be eliminated again; the inverse
// is of no use then.
func (f *Factor) InvertInPlace() *Inverse {
	inv := f.used()
	inv.fill()
	return inv
}

// used is an inverse in the memory of the factor: a column of L is needed only
// until that of the inverse is known.
func (f *Factor) used() *Inverse { return &Inverse{f: f, val: f.val, diag: f.pivot} }

// fill computes the eliminated columns from those after them.
func (inv *Inverse) fill() {
	inv.columns(inv.f.trunk(), int32(inv.f.inner))
	inv.f.eachBranch(func(_ int, from, to int32) { inv.columns(from, to) })
}

// columns computes some columns.
func (inv *Inverse) columns(from, to int32) {
	f := inv.f
	w := workspaces.Get().(*workspace)
	defer workspaces.Put(w)
	w.reset(f.n, 0, int32(f.n))
	l := w.y     // column j of L, spread out
	sum := w.sum // sum_k L[k,j] Z[i,k] for i in the column
	for j := int(to) - 1; j >= int(from); j-- {
		rows, vals := f.column(j)
		for q, r := range rows {
			l[r], sum[r] = vals[q], 0
		}
		for q, k := range rows {
			// Z is symmetric: the part of column k below k serves row k as well.
			lk, own := vals[q], float64(vals[q]*inv.diag[k])
			below := f.row[f.ptr[k]:f.ptr[k+1]]
			z := inv.val[f.ptr[k]:f.ptr[k+1]]
			if n := len(below); f.inARow(below) {
				s, c := sum[below[0]:int(below[0])+n], l[below[0]:int(below[0])+n]
				for p, v := range z[:n] {
					s[p] += float64(lk * v)
					own += float64(c[p] * v)
				}
			} else {
				for p, i := range below {
					sum[i] += float64(lk * z[p])
					own += float64(l[i] * z[p])
				}
			}
			sum[k] += own
		}
		d := 1 / f.pivot[j]
		z := inv.val[f.ptr[j]:f.ptr[j+1]]
		for q, r := range rows {
			d += float64(vals[q] * sum[r])
			z[q] = -sum[r]
			l[r] = 0
		}
		inv.diag[j] = d // was the pivot, if the memory is the factor's
	}
}

// At is the element (i, j) of the inverse; false where it was not computed,
// because the pair is not in the pattern of the factor.
func (inv *Inverse) At(i, j int) (float64, bool) {
	f := inv.f
	a, b := f.place[i], f.place[j]
	if a == b {
		return inv.diag[a], true
	}
	if a > b {
		a, b = b, a
	}
	rows, _ := f.column(int(a))
	q := -1
	if f.mixed {
		q = slices.Index(rows, b)
	} else if at, ok := slices.BinarySearch(rows, b); ok {
		q = at
	}
	if q < 0 {
		return 0, false
	}
	return inv.val[f.ptr[a]+q], true
}

// Variance is the diagonal element i of the inverse.
func (inv *Inverse) Variance(i int) float64 { return inv.diag[inv.f.place[i]] }

// Form is a' A^-1 a for a vector with the coefficients a of the unknowns at:
// the variance of that combination. Every pair of them must be in the pattern,
// as those of one observation are; it is NaN otherwise.
func (inv *Inverse) Form(at []int, a []float64) float64 {
	sum := 0.0
	for p, i := range at {
		for q, j := range at[:p+1] {
			z, ok := inv.At(i, j)
			if !ok {
				return math.NaN()
			}
			if p != q {
				z *= 2
			}
			sum += float64(a[p] * a[q] * z)
		}
	}
	return sum
}

// Trace is the trace of A^-1 M, for M with entries in the pattern only (NaN
// otherwise).
func (inv *Inverse) Trace(m *Matrix) float64 {
	sum := 0.0
	for j := range m.n {
		for p := m.ptr[j]; p < m.ptr[j+1]; p++ {
			z, ok := inv.At(int(m.row[p]), j)
			if !ok {
				return math.NaN()
			}
			if int(m.row[p]) != j {
				z *= 2
			}
			sum += float64(m.val[p] * z)
		}
	}
	return sum
}
