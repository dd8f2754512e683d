package estimate

import "slices"

// A matrix that is assembled again and again with its entries in the same places
// goes without a search for the order or a sort. Where a new entry lies outside of
// the places, Add says so, and the matrix has to be analysed anew.

// Analyse orders and analyses the places of the entries, whatever their values.
// The factor holds the matrix's values until Clear.
func (m *Matrix) Analyse(o Options) *Factor { return m.analyse(o, m.n) }

// Clear sets all entries to zero.
func (f *Factor) Clear() { clear(f.lower.val) }

// Add adds v to the elements (i, j) and (j, i), once where i == j, as a Builder
// does, but in the order of the calls. It is false, and nothing is added, where
// no entry was when the matrix was analysed.
func (f *Factor) Add(i, j int, v float64) bool {
	slot, ok := f.Slot(i, j)
	if ok {
		f.lower.val[slot] += v
	}
	return ok
}

// AddNormal adds weight * a a' for the coefficients a of the unknowns at, at most
// 16 of them and none twice. It is false where one of the pairs has no place.
func (f *Factor) AddNormal(at []int, a []float64, weight float64) bool {
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
	ok := true
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
				ok = false
				continue
			}
			f.lower.val[at] += float64(w * coef[k])
		}
		if f.lower.row[to-1] != b {
			ok = false
			continue
		}
		f.lower.val[to-1] += float64(w * coef[q])
	}
	return ok
}

// Slot is the number of the place of the elements (i, j) and (j, i), for AddAt:
// where the same entries are added to again and again.
func (f *Factor) Slot(i, j int) (slot int, ok bool) {
	a, b := f.place[i], f.place[j]
	if a > b {
		a, b = b, a
	}
	from, to := f.lower.ptr[b], f.lower.ptr[b+1]
	q, ok := slices.BinarySearch(f.lower.row[from:to], a)
	return from + q, ok
}

// AddAt adds v in a place.
func (f *Factor) AddAt(slot int, v float64) { f.lower.val[slot] += v }

// Values are the entries as they have been added up so far, for SetValues.
func (f *Factor) Values() []float64 { return slices.Clone(f.lower.val) }

// SetValues sets the entries to what Values returned.
func (f *Factor) SetValues(v []float64) { copy(f.lower.val, v) }

// Refine solves A x = rhs for the matrix itself where the factor is only near to
// it (Options.Loose), by conjugate gradients from the factor's own solution. It
// returns the rounds it took.
func (f *Factor) Refine(rhs []float64, tolerance float64, limit int) (x []float64, rounds int, err error) {
	b, y := make([]float64, f.n), make([]float64, f.n)
	for k, i := range f.order {
		b[k] = rhs[i]
	}
	approximate := func(dst, r []float64) {
		copy(dst, r)
		f.forward(dst)
		for k, d := range f.pivot {
			dst[k] /= d
		}
		f.backward(dst)
	}
	approximate(y, b)
	rounds, err = f.lower.ConjugateGradient(y, b, approximate, tolerance, limit)
	x = make([]float64, f.n)
	for k, i := range f.order {
		x[i] = y[k]
	}
	return x, rounds, err
}
