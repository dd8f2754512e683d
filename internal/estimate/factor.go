package estimate

import (
	"errors"
	"fmt"
	"math"
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
	// Natural eliminates the unknowns in the order of their numbers, those of Last
	// being the last and none being Loose, where the caller knows that order to be a
	// good one.
	Natural bool
	// Tolerance is the share of a diagonal entry that its pivot must exceed. A
	// pivot is that entry times (1 - R^2) of the unknown on those before it, so
	// a singular system leaves rounding only. 0 means 1e-14.
	Tolerance float64
}

const defaultTolerance = 1e-14

// Factor is the factorisation P A P' = L D L' of a positive definite matrix.
// Its methods other than Refactor may be called from several goroutines.
type Factor struct {
	n         int
	inner     int     // steps that are eliminated: all but those of a Part's shared unknowns
	order     []int32 // step -> unknown
	place     []int32 // unknown -> step
	parent    []int32 // elimination tree
	ptr       []int   // columns of L below the diagonal, rows ascending
	row       []int32
	val       []float64
	pivot     []float64
	lower     *Matrix  // the matrix in its elimination order, by row
	loose     [2]int32 // steps: from, to
	pattern   uint64
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

// ErrPattern is what Refactor returns for entries in other places.
var ErrPattern = errors.New("estimate: the entries are not where they were when the matrix was analysed")

// Factor orders, analyses and factors the matrix. It fails with a
// *NotPositiveError where the matrix is not positive definite.
func (m *Matrix) Factor(o Options) (*Factor, error) { return m.factor(o, m.n) }

// factor eliminates the first so many unknowns of the order.
func (m *Matrix) factor(o Options, inner int) (*Factor, error) {
	f := m.analyse(o, inner)
	return f, f.Eliminate()
}

// analyse finds where the entries of the factor are.
func (m *Matrix) analyse(o Options, inner int) *Factor {
	f := &Factor{n: m.n, inner: inner, pattern: m.pattern(), tolerance: o.Tolerance}
	if f.tolerance == 0 {
		f.tolerance = defaultTolerance
	}
	if o.Natural {
		f.order = identity(m.n)
		f.parent = eliminationTree(m, f.order)
	} else {
		f.order, f.parent = fillReducing(m, o.Last, o.Loose)
		f.loose[1] = int32(m.n - len(distinct(o.Last)))
		f.loose[0] = f.loose[1] - int32(len(distinct(o.Loose)))
	}
	f.place = inverse(f.order)
	f.pivot = make([]float64, m.n)
	f.lower = lowerRows(m, f.place, true)
	f.layOut()
	return f
}

// Refactor factors new values of a matrix with the same pattern. After an error
// other than ErrPattern the factor is of no use until a Refactor succeeds.
func (f *Factor) Refactor(b *Builder) error {
	m, err := b.Matrix()
	if err != nil {
		return err
	}
	return f.RefactorMatrix(m)
}

// RefactorMatrix is Refactor for entries already summed.
func (f *Factor) RefactorMatrix(m *Matrix) error {
	if m.n != f.n || m.pattern() != f.pattern {
		return ErrPattern
	}
	f.lower = lowerRows(m, f.place, true)
	return f.Eliminate()
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
// the rows above it (the up-looking way, Davis 2006, section 4.7). Products are
// rounded before they are summed, on every processor. Rows from inner on are
// left as what the elimination made of the matrix there.
func (f *Factor) Eliminate() error {
	lower := f.lower
	w := workspaces.Get().(*workspace)
	defer workspaces.Put(w)
	w.reset(f.n)
	y, stack, seen, end := w.y, w.stack, w.seen, w.end
	copy(end, f.ptr)
	for k := range int32(f.n) {
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
			to := end[i]
			end[i]++
			if int(i) >= f.inner {
				f.val[to] = yi
				continue
			}
			rows, vals := f.row[f.ptr[i]:to], f.val[f.ptr[i]:to]
			for q, r := range rows {
				y[r] -= float64(vals[q] * yi)
			}
			l := yi / f.pivot[i]
			d -= float64(l * yi)
			f.val[to] = l
		}
		if f.isLoose(k) { // what is dropped has left traces
			for _, i := range entries[:len(entries)-1] {
				for _, r := range f.row[f.ptr[i]:end[i]] {
					y[r] = 0
				}
			}
		}
		if int(k) < f.inner && (!(d > f.tolerance*diagonal) || math.IsInf(d, 0)) {
			return &NotPositiveError{Unknown: int(f.order[k]), Pivot: d, Diagonal: diagonal}
		}
		f.pivot[k] = d
	}
	return nil
}

func (f *Factor) isLoose(k int32) bool { return f.loose[0] <= k && k < f.loose[1] }

// workspace is what an elimination needs meanwhile: many small ones go on.
type workspace struct {
	y           []float64
	stack, seen []int32
	end         []int // of what each column holds so far
}

var workspaces = sync.Pool{New: func() any { return &workspace{} }}

func (w *workspace) reset(n int) {
	if cap(w.y) < n {
		w.y, w.stack, w.seen, w.end = make([]float64, n), make([]int32, n), make([]int32, n), make([]int, n)
	}
	w.y, w.stack, w.seen, w.end = w.y[:n], w.stack[:n], w.seen[:n], w.end[:n]
	clear(w.y)
	for i := range w.seen {
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
