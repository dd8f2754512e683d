package estimate

import (
	"fmt"
	"slices"
)

// A matrix that is assembled again and again with its entries in the same places
// goes without a search for the order or a sort.

// Clear sets all entries to zero.
func (f *Factor) Clear() { clear(f.lower.val) }

// Add adds v to the elements (i, j) and (j, i), once where i == j, as a Builder
// does, but in the order of the calls. It panics where no entry was when the
// matrix was analysed.
func (f *Factor) Add(i, j int, v float64) { f.lower.val[f.Slot(i, j)] += v }

// AddNormal adds weight * a a' for the coefficients a of the unknowns at, at most
// 16 of them and none twice.
func (f *Factor) AddNormal(at []int, a []float64, weight float64) {
	var place [16]int32
	var coef [16]float64
	n := 0
	for q, i := range at { // sorted by place
		p, k := f.place[i], n
		for ; k > 0 && place[k-1] > p; k-- {
			place[k], coef[k] = place[k-1], coef[k-1]
		}
		place[k], coef[k] = p, a[q]
		n++
	}
	for q := range n {
		b, w := place[q], weight*coef[q]
		to := f.lower.ptr[b+1]
		at := f.lower.ptr[b]
		for k := range q {
			want := place[k]
			if to-at > 16 {
				skip, _ := slices.BinarySearch(f.lower.row[at:to], want)
				at += skip
			}
			for at < to && f.lower.row[at] < want {
				at++
			}
			if at == to || f.lower.row[at] != want {
				f.noPlace(want, b)
			}
			f.lower.val[at] += float64(w * coef[k])
		}
		if f.lower.row[to-1] != b {
			f.noPlace(b, b)
		}
		f.lower.val[to-1] += float64(w * coef[q])
	}
}

func (f *Factor) noPlace(a, b int32) {
	panic(fmt.Sprintf("estimate: no entry of unknowns %d and %d was analysed", f.order[a], f.order[b]))
}

// Slot is the number of the place of the elements (i, j) and (j, i), for AddAt:
// where the same entries are added to again and again.
func (f *Factor) Slot(i, j int) int {
	a, b := f.place[i], f.place[j]
	if a > b {
		a, b = b, a
	}
	from, to := f.lower.ptr[b], f.lower.ptr[b+1]
	q, ok := slices.BinarySearch(f.lower.row[from:to], a)
	if !ok {
		f.noPlace(a, b)
	}
	return from + q
}

// AddAt adds v in a place.
func (f *Factor) AddAt(slot int, v float64) { f.lower.val[slot] += v }

// Values are the entries as they have been added up so far, for SetValues.
func (f *Factor) Values() []float64 { return slices.Clone(f.lower.val) }

// SetValues sets the entries to what Values returned.
func (f *Factor) SetValues(v []float64) { copy(f.lower.val, v) }

// Refine solves A x = rhs for the entries as they are now where the factor is only
// near to theirs (Options.Loose, or entries that have changed since Eliminate), by
// conjugate gradients from the x that it is given. It returns the rounds it took;
// after an error x is of no use.
func (f *Factor) Refine(x, rhs []float64, tolerance float64, limit int) (rounds int, err error) {
	b, y := make([]float64, f.n), make([]float64, f.n)
	for k, i := range f.order {
		b[k], y[k] = rhs[i], x[i]
	}
	rounds, err = conjugateGradient(f.mul, y, b, func(dst, r []float64) {
		copy(dst, r)
		f.forward(dst)
		for k, d := range f.pivot {
			dst[k] /= d
		}
		f.backward(dst)
	}, tolerance, limit)
	for k, i := range f.order {
		x[i] = y[k]
	}
	return rounds, err
}
