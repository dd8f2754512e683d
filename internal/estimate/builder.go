package estimate

import (
	"fmt"
	"iter"
	"math"
	"slices"
)

// Builder collects the entries of a symmetric n x n matrix in any order.
//
// Entries of one pair are summed exactly and rounded once: what is kept of them
// in between is an expansion, a few floats whose exact sum is theirs (Shewchuk
// 1997, "Adaptive precision floating-point arithmetic", Discrete Comput. Geom.
// 18). So no order of calls changes a bit, and memory goes by pairs, not calls.
type Builder struct {
	n       int
	entries []entry
}

type entry struct {
	row, col int32 // row <= col
	v        float64
}

// NewBuilder starts an empty matrix of n unknowns.
func NewBuilder(n int) *Builder { return &Builder{n: n} }

// N is the number of unknowns.
func (b *Builder) N() int { return b.n }

// Add adds v to the elements (i, j) and (j, i), once where i == j. A zero
// counts as an entry: it puts the pair into the pattern, and so into the
// selected inverse.
func (b *Builder) Add(i, j int, v float64) {
	if i > j {
		i, j = j, i
	}
	if i < 0 || j >= b.n {
		panic(fmt.Sprintf("estimate: entry (%d, %d) in a matrix of %d unknowns", i, j, b.n))
	}
	if len(b.entries) == cap(b.entries) {
		b.makeRoom()
	}
	b.entries = append(b.entries, entry{int32(i), int32(j), v})
}

// makeRoom sums up what is there, and grows where that freed less than a third.
// Fewer entries than unknowns are not worth the pass over all columns.
func (b *Builder) makeRoom() {
	if len(b.entries) > b.n {
		b.compact()
	}
	if room := cap(b.entries); len(b.entries) > room/3*2 {
		b.entries = slices.Grow(b.entries, max(64, len(b.entries)/2))
	}
}

// AddNormal adds the normal equations of one observation: weight * a a' for the
// coefficients a of the unknowns at.
func (b *Builder) AddNormal(at []int, a []float64, weight float64) {
	for p := range at {
		for q := 0; q <= p; q++ {
			v := weight * a[p] * a[q]
			if p != q && at[p] == at[q] {
				v *= 2
			}
			b.Add(at[p], at[q], v)
		}
	}
}

// Matrix sums the entries. It fails where a sum is not a finite number.
func (b *Builder) Matrix() (*Matrix, error) {
	b.compact()
	pairs := 0
	for range b.runs() {
		pairs++
	}
	m := &Matrix{n: b.n, ptr: make([]int, b.n+1), row: make([]int32, 0, pairs), val: make([]float64, 0, pairs)}
	for run := range b.runs() {
		sum := roundedSum(run)
		if math.IsNaN(sum) || math.IsInf(sum, 0) {
			return nil, fmt.Errorf("estimate: the entry of unknowns %d and %d is %v", run[0].row, run[0].col, sum)
		}
		m.row = append(m.row, run[0].row)
		m.val = append(m.val, sum)
		m.ptr[run[0].col+1]++
	}
	for j := range b.n {
		m.ptr[j+1] += m.ptr[j]
	}
	return m, nil
}

// Factor orders, analyses and factors the matrix.
func (b *Builder) Factor(o Options) (*Factor, error) {
	m, err := b.Matrix()
	if err != nil {
		return nil, err
	}
	return m.Factor(o)
}

// compact sorts the entries by column and row, and replaces those of one pair
// by their expansion.
func (b *Builder) compact() {
	b.sortEntries()
	to := 0
	var parts []float64
	for run := range b.runs() {
		if len(run) == 1 {
			b.entries[to] = run[0]
			to++
			continue
		}
		pair := run[0]
		parts = parts[:0]
		for _, e := range run {
			parts = grow(parts, e.v)
		}
		if len(parts) == 0 {
			parts = append(parts, 0)
		}
		for _, v := range parts { // at most as many as the run was long
			b.entries[to] = entry{pair.row, pair.col, v}
			to++
		}
	}
	b.entries = b.entries[:to]
}

// sortEntries sorts by column and row, in place: by column with one swap an
// entry, since columns are many and short.
func (b *Builder) sortEntries() {
	start := make([]int32, b.n+1) // 2^31 entries would take 32 GB
	for _, e := range b.entries {
		start[e.col+1]++
	}
	for c := range b.n {
		start[c+1] += start[c]
	}
	next := slices.Clone(start[:b.n])
	for c := range b.n {
		for next[c] < start[c+1] {
			e := b.entries[next[c]]
			for int(e.col) != c {
				to := &next[e.col]
				b.entries[*to], e = e, b.entries[*to]
				*to++
			}
			b.entries[next[c]] = e
			next[c]++
		}
		slices.SortFunc(b.entries[start[c]:start[c+1]], func(x, y entry) int { return int(x.row) - int(y.row) })
	}
}

// runs yields the entries of each pair, once they are sorted. The entries
// before a run may be overwritten meanwhile.
func (b *Builder) runs() iter.Seq[[]entry] {
	return func(yield func([]entry) bool) {
		for k, all := 0, b.entries; k < len(all); {
			end := k + 1
			for end < len(all) && all[end].row == all[k].row && all[end].col == all[k].col {
				end++
			}
			if !yield(all[k:end]) {
				return
			}
			k = end
		}
	}
}

// grow adds v to an expansion: floats of growing size that do not overlap, none
// of them zero. Every step is exact.
func grow(parts []float64, v float64) []float64 {
	kept := parts[:0]
	for _, p := range parts {
		big, small := v, p
		if math.Abs(big) < math.Abs(small) {
			big, small = small, big
		}
		v = big + small
		if rest := small - (v - big); rest != 0 {
			kept = append(kept, rest)
		}
	}
	if v != 0 {
		kept = append(kept, v)
	}
	return kept
}

// roundedSum is the exact sum of a pair's entries, rounded once, to even.
func roundedSum(run []entry) float64 {
	if len(run) == 1 {
		return run[0].v
	}
	var room [8]float64
	parts := room[:0]
	for _, e := range run {
		parts = grow(parts, e.v)
	}
	sum, rest := 0.0, 0.0
	k := len(parts) - 1
	for ; k >= 0 && rest == 0; k-- {
		t := sum + parts[k]
		sum, rest = t, parts[k]-(t-sum)
	}
	// Half way between two floats, what is left below decides.
	if k >= 0 && (rest > 0) == (parts[k] > 0) {
		if t := sum + 2*rest; t-sum == 2*rest {
			return t
		}
	}
	return sum
}

// Matrix is a symmetric sparse matrix: the columns of its upper triangle, rows
// ascending.
type Matrix struct {
	n   int
	ptr []int
	row []int32
	val []float64
}

// Mul sets y = A x.
func (m *Matrix) Mul(y, x []float64) {
	clear(y)
	m.mulAdd(y, x, 0, m.n)
}

// mulAdd adds to y what some columns, and the rows of the same numbers, contribute.
func (m *Matrix) mulAdd(y, x []float64, from, to int) {
	for j := from; j < to; j++ {
		xj, sum := x[j], 0.0
		for p := m.ptr[j]; p < m.ptr[j+1]; p++ {
			i, v := int(m.row[p]), m.val[p]
			if i == j {
				sum += float64(v * xj)
				continue
			}
			y[i] += float64(v * xj)
			sum += float64(v * x[i])
		}
		y[j] += sum
	}
}
