package estimate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Builder collects the entries of a symmetric n x n matrix in any order.
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

// Reset forgets the entries and keeps the memory, for the next iteration.
func (b *Builder) Reset() { b.entries = b.entries[:0] }

// Grow makes room for that many more entries.
func (b *Builder) Grow(entries int) { b.entries = slices.Grow(b.entries, entries) }

// Add adds v to the elements (i, j) and (j, i), once where i == j. Entries for
// the same pair are summed. A zero counts as an entry: it puts the pair into
// the pattern, and so into the selected inverse.
func (b *Builder) Add(i, j int, v float64) {
	if i > j {
		i, j = j, i
	}
	if i < 0 || j >= b.n {
		panic(fmt.Sprintf("estimate: entry (%d, %d) in a matrix of %d unknowns", i, j, b.n))
	}
	b.entries = append(b.entries, entry{int32(i), int32(j), v})
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

// Matrix sums the entries. The sum of a pair's entries is compensated
// (Neumaier 1974) and taken in the order of their values, so it does not depend
// on the order of the calls. It fails on an entry that is not a finite number.
func (b *Builder) Matrix() (*Matrix, error) {
	start := b.sortEntries()
	m := &Matrix{n: b.n, ptr: make([]int, b.n+1)}
	distinct := 0
	for k := range b.entries {
		if k == 0 || !samePair(b.entries[k-1], b.entries[k]) {
			distinct++
		}
	}
	m.row = make([]int32, 0, distinct)
	m.val = make([]float64, 0, distinct)
	for col := range b.n {
		for k := start[col]; k < start[col+1]; {
			end := k + 1
			for end < start[col+1] && b.entries[end].row == b.entries[k].row {
				end++
			}
			sum := sumEntries(b.entries[k:end])
			if math.IsNaN(sum) || math.IsInf(sum, 0) {
				return nil, fmt.Errorf("estimate: the entry of unknowns %d and %d is %v", b.entries[k].row, col, sum)
			}
			m.row = append(m.row, b.entries[k].row)
			m.val = append(m.val, sum)
			k = end
		}
		m.ptr[col+1] = len(m.row)
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

// sortEntries sorts by column, row and value, in place: by column with one
// swap an entry, since columns are many and short.
func (b *Builder) sortEntries() (start []int) {
	start = make([]int, b.n+1)
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
		slices.SortFunc(b.entries[start[c]:start[c+1]], func(x, y entry) int {
			if x.row != y.row {
				return int(x.row) - int(y.row)
			}
			return cmp.Compare(x.v, y.v)
		})
	}
	return start
}

func samePair(x, y entry) bool { return x.row == y.row && x.col == y.col }

func sumEntries(es []entry) float64 {
	sum, rest := es[0].v, 0.0
	for _, e := range es[1:] {
		t := sum + e.v
		if math.Abs(sum) >= math.Abs(e.v) {
			rest += (sum - t) + e.v
		} else {
			rest += (e.v - t) + sum
		}
		sum = t
	}
	return sum + rest
}

// Matrix is a symmetric sparse matrix: the columns of its upper triangle, rows
// ascending.
type Matrix struct {
	n   int
	ptr []int
	row []int32
	val []float64
}

// N is the number of unknowns.
func (m *Matrix) N() int { return m.n }

// NNZ is the number of entries in the upper triangle, diagonal included.
func (m *Matrix) NNZ() int { return len(m.row) }

// Mul sets y = A x.
func (m *Matrix) Mul(y, x []float64) {
	clear(y)
	for j := range m.n {
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

// pattern is a fingerprint of where the entries are (FNV-1a).
func (m *Matrix) pattern() uint64 {
	h := uint64(14695981039346656037)
	mix := func(v uint64) { h = (h ^ v) * 1099511628211 }
	for j := range m.n {
		mix(uint64(m.ptr[j+1]))
		for _, i := range m.row[m.ptr[j]:m.ptr[j+1]] {
			mix(uint64(i))
		}
	}
	return h
}
