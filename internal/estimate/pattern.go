package estimate

import "slices"

// Pattern is a matrix of n unknowns, all zero, with entries in the places that each
// names: it is called twice, and both times has to name the same ones, as often as
// it likes.
func Pattern(n int, each func(place func(i, j int))) *Matrix {
	m := &Matrix{n: n, ptr: make([]int, n+1)}
	each(func(i, j int) { m.ptr[max(i, j)+1]++ })
	for j := range n {
		m.ptr[j+1] += m.ptr[j]
	}
	next := slices.Clone(m.ptr[:n])
	rows := make([]int32, m.ptr[n])
	each(func(i, j int) {
		c := max(i, j)
		rows[next[c]] = int32(min(i, j))
		next[c]++
	})
	from, to := 0, 0
	for j := range n {
		column := rows[from:m.ptr[j+1]]
		slices.Sort(column)
		column = slices.Compact(column)
		from = m.ptr[j+1]
		to += copy(rows[to:], column)
		m.ptr[j+1] = to
	}
	m.row, m.val = slices.Clone(rows[:to]), make([]float64, to)
	return m
}
