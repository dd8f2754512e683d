package estimate

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// Front assembles and condenses Parts whose unknowns go in a known order, such as
// the nodes along a line: the frontal method (Irons 1970, A frontal solution program
// for finite element analysis, Int. J. Numer. Methods Eng. 2). An unknown takes a
// row of a small dense window when its first equation comes, and leaves it when it
// is eliminated, which is when its last one has come. So nothing is looked up or
// analysed, and only what is linked is touched. A Front may be used again for the
// next Part, by one goroutine.
type Front struct {
	part   *Part
	next   int     // step of the order that is eliminated next
	slot   []int32 // of each unknown: its row of the window, -1 if it has none
	holder []int32 // of each row: its unknown, -1 if it is free
	width  int     // rows there is room for, a multiple of 64
	used   int     // rows that are, or have been, taken
	a      []float64
	rhs    []float64
	given  []float64 // diagonal entries without what elimination took from them
	linked []uint64  // of each row: bits of the others that it has an entry with
	row    []int32   // of the part's factor so far
	val    []float64
}

// Start begins with the equations of a part of n unknowns, of which the first so
// many of the order are its own. The order is kept.
func (f *Front) Start(p *Part, order []int32, inner int) {
	n := len(order)
	p.f.n, p.f.inner, p.f.mixed = n, inner, true
	p.f.order = append(p.f.order[:0], order...)
	p.f.place = resized(p.f.place, n)
	p.f.ptr = resized(p.f.ptr, n+1)
	p.f.pivot = resized(p.f.pivot, n)
	p.rhs = resized(p.rhs, n)
	f.part, f.next, f.row, f.val = p, 0, f.row[:0], f.val[:0]
	f.slot = resized(f.slot, n)
	for k, i := range order {
		p.f.place[i], f.slot[i] = int32(k), -1
	}
}

// Add adds v to the elements (i, j) and (j, i), once where i == j. Neither may be
// eliminated yet. A zero links the two.
func (f *Front) Add(i, j int, v float64) {
	a, b := f.take(i), f.take(j)
	if a == b {
		f.a[a*f.width+a] += v
		f.given[a] += v
		return
	}
	f.link(a, b)
	f.a[max(a, b)*f.width+min(a, b)] += v
}

// AddNormal adds the observation weight * (a' x - value)^2 with the coefficients a
// of the unknowns at, at most 16 and none twice.
func (f *Front) AddNormal(at []int, a []float64, weight, value float64) {
	var place [16]int
	for q, i := range at {
		place[q] = f.take(i)
	}
	for q := range at {
		r, w := place[q], weight*a[q]
		f.rhs[r] += float64(w * value)
		v := float64(w * a[q])
		f.a[r*f.width+r] += v
		f.given[r] += v
		for k := range q {
			s := place[k]
			f.link(r, s)
			f.a[max(r, s)*f.width+min(r, s)] += float64(w * a[k])
		}
	}
}

func (f *Front) link(a, b int) {
	words := f.width / 64
	f.linked[a*words+b/64] |= 1 << (b % 64)
	f.linked[b*words+a/64] |= 1 << (a % 64)
}

// take is the row of an unknown.
func (f *Front) take(i int) int {
	if s := f.slot[i]; s >= 0 {
		return int(s)
	}
	s := slices.Index(f.holder[:f.used], -1)
	if s < 0 {
		if f.used == f.width {
			f.widen()
		}
		s = f.used
		f.used++
	}
	f.slot[i], f.holder[s] = int32(s), int32(i)
	return s
}

// widen makes room for twice as many rows.
func (f *Front) widen() {
	width := max(64, 2*f.width)
	a, linked := make([]float64, width*width), make([]uint64, width*width/64)
	for s := range f.used {
		copy(a[s*width:], f.a[s*f.width:(s+1)*f.width])
		copy(linked[s*width/64:], f.linked[s*f.width/64:(s+1)*f.width/64])
	}
	f.a, f.linked, f.width = a, linked, width
	f.rhs = append(f.rhs, make([]float64, width-len(f.rhs))...)
	f.given = append(f.given, make([]float64, width-len(f.given))...)
	f.holder = append(f.holder, make([]int32, width-len(f.holder))...)
}

// Eliminate eliminates the next unknown of the order, all of whose equations have
// been added. It fails with a *NotPositiveError where they do not determine it;
// the Front has to be Abandoned then.
func (f *Front) Eliminate() error {
	p := &f.part.f
	s := f.take(int(p.order[f.next]))
	d := f.a[s*f.width+s]
	if !(d > defaultTolerance*f.given[s]) || math.IsInf(d, 0) {
		return &NotPositiveError{Unknown: int(p.order[f.next]), Pivot: d, Diagonal: f.given[s]}
	}
	p.pivot[f.next], f.part.rhs[f.next] = d, f.rhs[s]
	var room [64]int32
	rows := f.neighbours(s, room[:0])
	from := len(f.val)
	for _, r := range rows {
		at := max(int(r), s)*f.width + min(int(r), s)
		f.row = append(f.row, p.place[f.holder[r]])
		f.val = append(f.val, f.a[at])
		f.a[at] = 0
	}
	vals, words := f.val[from:], f.width/64
	gone := f.linked[s*words : (s+1)*words]
	for q, r := range rows {
		l := vals[q] / d
		to := f.a[int(r)*f.width : int(r)*f.width+int(r)+1]
		for k, c := range rows[:q+1] {
			to[c] -= float64(l * vals[k])
		}
		f.rhs[r] -= float64(l * f.rhs[s])
		link := f.linked[int(r)*words : (int(r)+1)*words]
		for k, bits := range gone {
			link[k] |= bits
		}
		link[s/64] &^= 1 << (s % 64)
		link[r/64] &^= 1 << (r % 64)
	}
	for q := range vals {
		vals[q] /= d
	}
	f.free(s)
	f.next++
	p.ptr[f.next] = len(f.val)
	return nil
}

// neighbours are the rows that one is linked with, ascending.
func (f *Front) neighbours(s int, rows []int32) []int32 {
	words := f.width / 64
	for k, w := range f.linked[s*words : (s+1)*words] {
		for ; w != 0; w &= w - 1 {
			rows = append(rows, int32(64*k+bits.TrailingZeros64(w)))
		}
	}
	return rows
}

// free gives a row back, all zero but its entries with others.
func (f *Front) free(s int) {
	words := f.width / 64
	f.slot[f.holder[s]], f.holder[s] = -1, -1
	f.a[s*f.width+s], f.rhs[s], f.given[s] = 0, 0, 0
	clear(f.linked[s*words : (s+1)*words])
}

// Finish leaves in the part what its own unknowns say of those it shares.
func (f *Front) Finish() {
	p := &f.part.f
	if f.next != p.inner {
		panic(fmt.Sprintf("estimate: %d of %d unknowns are eliminated", f.next, p.inner))
	}
	for k := p.inner; k < p.n; k++ {
		a := f.take(int(p.order[k]))
		p.pivot[k], f.part.rhs[k] = f.a[a*f.width+a], f.rhs[a]
		for j := k + 1; j < p.n; j++ {
			b := f.take(int(p.order[j]))
			f.row = append(f.row, int32(j))
			f.val = append(f.val, f.a[max(a, b)*f.width+min(a, b)])
		}
		p.ptr[k+1] = len(f.val)
	}
	p.row = append(resized(p.row, len(f.row))[:0], f.row...)
	p.val = append(resized(p.val, len(f.val))[:0], f.val...)
	f.Abandon()
}

// Abandon clears the window.
func (f *Front) Abandon() {
	for s := range f.used {
		clear(f.a[s*f.width : s*f.width+f.used])
		if f.holder[s] >= 0 {
			f.free(s)
		}
	}
	f.part, f.used = nil, 0
}

// resized is a slice of n elements, in the same memory if there is room.
func resized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
