package estimate

import (
	"fmt"
	"math"
	"slices"
	"sync"
)

// Options of a factorisation; the zero value is fine.
type Options struct {
	// Last are unknowns to eliminate last, such as effects common to large parts
	// of a network (the border of an arrow matrix).
	Last []int
	// Loose are unknowns that keep only the entries which they have in the matrix:
	// what the elimination would add between them and the rest is dropped. They go
	// after the rest and before Last, and none of them is in it. The factor is then that of a matrix near to
	// this one, for Refine and for covariances that leave out what runs through
	// several of them.
	Loose []int
	// Tolerance is the share of a diagonal entry that its pivot must exceed. A
	// pivot is that entry times (1 - R^2) of the unknown on those before it, so
	// a singular system leaves rounding only. 0 means 1e-14.
	Tolerance float64
}

const defaultTolerance = 1e-14

// Factor is the factorisation P A P' = L D L' of a positive definite matrix.
// Its methods may be called from several goroutines, but for Eliminate, Invert and
// those that change entries.
type Factor struct {
	n         int
	inner     int     // steps that are eliminated: all but those of a Part's shared unknowns
	order     []int32 // step -> unknown
	place     []int32 // unknown -> step
	parent    []int32 // elimination tree
	branches  []int32 // where each of its branches ends, the first beginning at 0; the trunk is the rest
	ptr       []int   // columns of L below the diagonal, rows ascending unless mixed
	mixed     bool    // a Part's
	row       []int32
	val       []float64
	pivot     []float64
	lower     *Matrix  // the matrix in its elimination order, by row
	loose     [2]int32 // steps: from, to
	tolerance float64
}

// NotPositiveError says that a matrix is not positive definite: nothing, or too
// little, determines the unknown.
type NotPositiveError struct {
	Unknown  int
	Pivot    float64 // what is left of the diagonal entry once the unknowns before it are known
	Diagonal float64
}

func (e *NotPositiveError) Error() string {
	return fmt.Sprintf("estimate: unknown %d is not determined: pivot %.3g of a diagonal entry %.3g", e.Unknown, e.Pivot, e.Diagonal)
}

// Factor orders, analyses and factors the matrix. It fails with a
// *NotPositiveError where the matrix is not positive definite.
func (m *Matrix) Factor(o Options) (*Factor, error) {
	f := m.Analyse(o)
	return f, f.Eliminate()
}

// Analyse orders the unknowns and finds where the entries of the factor are,
// whatever their values. The factor holds the matrix's values until Clear.
func (m *Matrix) Analyse(o Options) *Factor {
	f := &Factor{n: m.n, inner: m.n, tolerance: o.Tolerance}
	if f.tolerance == 0 {
		f.tolerance = defaultTolerance
	}
	f.order, f.parent, f.branches = fillReducing(m, o.Last, o.Loose)
	f.loose[1] = int32(m.n - len(distinct(o.Last)))
	f.loose[0] = f.loose[1] - int32(len(distinct(o.Loose)))
	f.place = inverse(f.order)
	f.pivot = make([]float64, m.n)
	f.lower = lowerRows(m, f.place, true)
	f.layOut()
	return f
}

// N is the number of unknowns.
func (f *Factor) N() int { return f.n }

// NNZ is the number of entries of L below its diagonal: the fill and what was there.
func (f *Factor) NNZ() int { return len(f.row) }

// LogDet is the natural logarithm of the matrix's determinant.
func (f *Factor) LogDet() float64 {
	sum := 0.0
	for _, d := range f.pivot {
		sum += math.Log(d)
	}
	return sum
}

// reach collects the columns with an entry in row k of L, descendants first, on
// the end of stack: the paths up the elimination tree from the row's entries in
// A (Davis 2006, section 4.2). It returns where they begin.
func (f *Factor) reach(k int32, entries, stack, seen []int32) (top int) {
	top = f.n
	seen[k] = k
	if f.isLoose(k) {
		for q := len(entries) - 2; q >= 0; q-- { // all but the diagonal
			top--
			stack[top] = entries[q]
		}
		return top
	}
	for _, i := range entries {
		depth := 0
		for ; seen[i] != k; i = f.parent[i] {
			stack[depth] = i
			depth++
			seen[i] = k
		}
		for depth > 0 {
			depth--
			top--
			stack[top] = stack[depth]
		}
	}
	return top
}

// layOut finds where the entries of L are.
func (f *Factor) layOut() {
	lower := f.lower
	stack, seen := make([]int32, f.n), unseen(f.n)
	each := func(visit func(k, i int32)) {
		for k := range int32(f.n) {
			for top := f.reach(k, lower.row[lower.ptr[k]:lower.ptr[k+1]], stack, seen); top < f.n; top++ {
				visit(k, stack[top])
			}
		}
	}
	f.ptr = make([]int, f.n+1)
	each(func(_, i int32) { f.ptr[i+1]++ })
	for i := range f.n {
		f.ptr[i+1] += f.ptr[i]
		seen[i] = -1
	}
	f.row = make([]int32, f.ptr[f.n])
	f.val = make([]float64, f.ptr[f.n])
	next := make([]int, f.n)
	copy(next, f.ptr)
	each(func(k, i int32) {
		f.row[next[i]] = k
		next[i]++
	})
}

// Eliminate computes L and D row by row: row k solves a triangular system with
// the rows above it (the up-looking way, Davis 2006, section 4.7), which are those
// of its branch. Products are rounded before they are summed, on every processor.
func (f *Factor) Eliminate() error {
	end := slices.Clone(f.ptr[:f.n]) // of what each column holds so far
	errs := make([]error, len(f.branches))
	f.eachBranch(func(b int, from, to int32) { errs[b] = f.eliminate(from, to, end) })
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return f.eliminate(f.trunk(), int32(f.n), end)
}

// eliminate computes some rows.
func (f *Factor) eliminate(from, to int32, end []int) error {
	lower := f.lower
	w := workspaces.Get().(*workspace)
	defer workspaces.Put(w)
	reaches := from
	if from == f.trunk() { // which is on all the branches
		reaches = 0
	}
	w.reset(f.n, reaches, to)
	y, stack, seen := w.y, w.stack, w.seen
	for k := from; k < to; k++ {
		entries := lower.row[lower.ptr[k]:lower.ptr[k+1]]
		for q, v := range lower.val[lower.ptr[k]:lower.ptr[k+1]] {
			y[entries[q]] = v
		}
		diagonal := y[k]
		d := diagonal
		y[k] = 0
		for top := f.reach(k, entries, stack, seen); top < f.n; top++ {
			i := stack[top]
			yi := y[i]
			y[i] = 0
			at := end[i]
			end[i]++
			rows, vals := f.row[f.ptr[i]:at], f.val[f.ptr[i]:at]
			f.subtract(y, 0, rows, vals, yi)
			l := yi / f.pivot[i]
			d -= float64(l * yi)
			f.val[at] = l
		}
		if f.isLoose(k) { // what is dropped has left traces
			for _, i := range entries[:len(entries)-1] {
				for _, r := range f.row[f.ptr[i]:end[i]] {
					y[r] = 0
				}
			}
		}
		if !(d > f.tolerance*diagonal) || math.IsInf(d, 0) {
			return &NotPositiveError{Unknown: int(f.order[k]), Pivot: d, Diagonal: diagonal}
		}
		f.pivot[k] = d
	}
	return nil
}

// inARow says whether rows follow each other, enough of them to go without their
// numbers: the elimination fills its last columns up.
func (f *Factor) inARow(rows []int32) bool {
	n := len(rows)
	return !f.mixed && n > 4 && int(rows[n-1]-rows[0]) == n-1
}

// subtract takes a column, times x, off y, which begins at row first.
func (f *Factor) subtract(y []float64, first int32, rows []int32, vals []float64, x float64) {
	if n := len(rows); f.inARow(rows) {
		at := int(rows[0] - first)
		to := y[at : at+n]
		for q, v := range vals[:len(to)] {
			to[q] -= float64(v * x)
		}
		return
	}
	for q, r := range rows {
		y[r-first] -= float64(vals[q] * x)
	}
}

func (f *Factor) isLoose(k int32) bool { return f.loose[0] <= k && k < f.loose[1] }

// workspace is what an elimination or an inversion needs meanwhile: many small ones
// go on.
type workspace struct {
	y, sum      []float64
	stack, seen []int32
}

var workspaces = sync.Pool{New: func() any { return &workspace{} }}

// reset makes room for n unknowns. Those from, to of y are zero then, and not seen.
func (w *workspace) reset(n int, from, to int32) {
	if cap(w.y) < n {
		w.y, w.sum, w.stack, w.seen = make([]float64, n), make([]float64, n), make([]int32, n), make([]int32, n)
	}
	w.y, w.sum, w.stack, w.seen = w.y[:n], w.sum[:n], w.stack[:n], w.seen[:n]
	clear(w.y[from:to])
	for i := from; i < to; i++ {
		w.seen[i] = -1
	}
}

func unseen(n int) []int32 {
	s := make([]int32, n)
	for i := range s {
		s[i] = -1
	}
	return s
}
