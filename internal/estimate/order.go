package estimate

import (
	"math"
	"slices"
)

// levels of the elimination order: all of one before any of the next.
const (
	levelInner = iota
	levelDense // rows so full that they would slow the ordering of the rest
	levelLast  // Options.Last, and Options.Loose before it
)

// fillReducing returns the elimination order of m's unknowns, order[k] the k-th
// to go, with the unknowns of last at its end, and the elimination tree in that
// order. The order is an approximate minimum degree order of each level,
// post-ordered for locality, the branches of the tree before its trunk: where each
// of them ends.
//
// Loose unknowns go before those of last, and both by their numbers if there are
// any.
func fillReducing(m *Matrix, last, loose []int) (order, parent, branches []int32) {
	level := levelsOf(m, slices.Concat(loose, last))
	order = make([]int32, 0, m.n)
	for l := range uint8(levelLast) {
		order = append(order, orderLevel(m, level, l)...)
	}
	free := m.n // steps before those that stay in their order
	if len(loose) == 0 {
		order = append(order, orderLevel(m, level, levelLast)...)
	} else {
		free = len(order)
		for _, group := range [][]int{loose, last} {
			for _, i := range distinct(group) {
				order = append(order, int32(i))
			}
		}
	}
	parent = eliminationTree(m, order)
	post := postorder(parent, func(k int32) uint8 { return level[order[k]] })
	post = slices.DeleteFunc(post, func(k int32) bool { return int(k) >= free })
	for k := free; k < m.n; k++ {
		post = append(post, int32(k))
	}
	post, branches = branchesFirst(post, parent, level, order)
	place := inverse(post)
	sorted, tree := make([]int32, m.n), make([]int32, m.n)
	for k, old := range post {
		sorted[k], tree[k] = order[old], -1
		if parent[old] >= 0 {
			tree[k] = place[parent[old]]
		}
	}
	return sorted, tree, branches
}

// levelsOf puts the unknowns of last behind those with dense rows (more than
// 10 sqrt(n) entries, as Amestoy, Davis & Duff do), and those behind the rest.
func levelsOf(m *Matrix, last []int) []uint8 {
	level := make([]uint8, m.n)
	for _, i := range last {
		level[i] = levelLast
	}
	count := make([]int32, m.n)
	m.pairs(func(i, j int32) {
		if level[i] == levelInner && level[j] == levelInner {
			count[i]++
			count[j]++
		}
	})
	dense := int32(max(16, 10*math.Sqrt(float64(m.n))))
	for i, c := range count {
		if c > dense {
			level[i] = levelDense
		}
	}
	return level
}

// pairs calls yield for every entry off the diagonal, by column and row.
func (m *Matrix) pairs(yield func(i, j int32)) {
	for j := range m.n {
		for _, i := range m.row[m.ptr[j]:m.ptr[j+1]] {
			if int(i) != j {
				yield(i, int32(j))
			}
		}
	}
}

// orderLevel orders the unknowns of one level by minimum degree, given that
// those of the levels before it are gone. What is gone left a clique behind for
// every connected part of it.
func orderLevel(m *Matrix, level []uint8, l uint8) []int32 {
	local, members := make([]int32, m.n), []int32(nil)
	for i, li := range level {
		if li == l {
			local[i] = int32(len(members))
			members = append(members, int32(i))
		}
	}
	if len(members) == 0 {
		return nil
	}
	cliques := cliquesLeft(m, level, l, local, len(members))
	g := newQuotient(len(members), cliques)
	for _, c := range cliques {
		for _, v := range c {
			g.elems[v]++
		}
	}
	m.pairs(func(i, j int32) {
		if level[i] == l && level[j] == l {
			g.vars[local[i]]++
			g.vars[local[j]]++
		}
	})
	for v := range g.n {
		g.start[v+1] = g.start[v] + int(g.elems[v]+g.vars[v])
	}
	g.list = make([]int32, g.start[g.n])
	next := slices.Clone(g.start[:g.n])
	put := func(v, x int32) { g.list[next[v]] = x; next[v]++ }
	for c, clique := range cliques {
		for _, v := range clique {
			put(v, int32(g.n+c))
		}
	}
	m.pairs(func(i, j int32) {
		if level[i] == l && level[j] == l {
			put(local[i], local[j])
			put(local[j], local[i])
		}
	})
	order := g.minimumDegree()
	for k, v := range order {
		order[k] = members[v]
	}
	return order
}

// cliquesLeft returns the distinct sets of unknowns of level l that share a
// connected part of the levels before it.
func cliquesLeft(m *Matrix, level []uint8, l uint8, local []int32, n int) [][]int32 {
	if l == levelInner {
		return nil
	}
	part := connectedParts(m, func(i int32) bool { return level[i] < l })
	touching := make([][]int32, n) // parts next to each unknown of the level
	m.pairs(func(i, j int32) {
		switch {
		case level[i] == l && level[j] < l:
			touching[local[i]] = append(touching[local[i]], part[j])
		case level[j] == l && level[i] < l:
			touching[local[j]] = append(touching[local[j]], part[i])
		}
	})
	sets := map[int32][]int32{}
	for v, parts := range touching {
		slices.Sort(parts)
		for _, p := range slices.Compact(parts) {
			sets[p] = append(sets[p], int32(v))
		}
	}
	cliques := make([][]int32, 0, len(sets))
	for _, set := range sets {
		if len(set) > 1 {
			cliques = append(cliques, set)
		}
	}
	slices.SortFunc(cliques, slices.Compare)
	return slices.CompactFunc(cliques, slices.Equal)
}

// connectedParts labels the unknowns that are in by the connected part of the
// graph that they belong to.
func connectedParts(m *Matrix, in func(int32) bool) []int32 {
	part := identity(m.n)
	find := func(i int32) int32 {
		for part[i] != i {
			part[i] = part[part[i]]
			i = part[i]
		}
		return i
	}
	m.pairs(func(i, j int32) {
		if in(i) && in(j) {
			a, b := find(i), find(j)
			part[max(a, b)] = min(a, b)
		}
	})
	for i := range part {
		part[i] = find(int32(i))
	}
	return part
}

// eliminationTree of the matrix in the given order (Liu 1986): parent[k] is the
// first step after k whose row of L has an entry in column k, -1 at a root.
func eliminationTree(m *Matrix, order []int32) []int32 {
	place := inverse(order)
	lower := lowerRows(m, place, false)
	parent, ancestor := make([]int32, m.n), make([]int32, m.n)
	for k := range int32(m.n) {
		parent[k], ancestor[k] = -1, -1
		for _, i := range lower.row[lower.ptr[k]:lower.ptr[k+1]] {
			for i != k {
				next := ancestor[i]
				ancestor[i] = k
				if next < 0 {
					parent[i] = k
					break
				}
				i = next
			}
		}
	}
	return parent
}

// lowerRows is the lower triangle of the matrix in its elimination order, by
// row and ascending, diagonal included, with or without values.
func lowerRows(m *Matrix, place []int32, values bool) *Matrix {
	each := func(visit func(k, i int32, p int)) {
		for j := range m.n {
			for p := m.ptr[j]; p < m.ptr[j+1]; p++ {
				a, b := place[m.row[p]], place[j]
				visit(max(a, b), min(a, b), p)
			}
		}
	}
	// By column first: the rows then fill up in ascending order.
	start := make([]int32, m.n+1)
	each(func(_, i int32, _ int) { start[i+1]++ })
	for i := range m.n {
		start[i+1] += start[i]
	}
	byColumn := make([]struct{ k, p int32 }, len(m.row))
	each(func(k, i int32, p int) {
		byColumn[start[i]] = struct{ k, p int32 }{k, int32(p)}
		start[i]++
	})
	t := &Matrix{n: m.n, ptr: make([]int, m.n+1), row: make([]int32, len(m.row))}
	if values {
		t.val = make([]float64, len(m.row))
	}
	for _, e := range byColumn {
		t.ptr[e.k+1]++
	}
	for k := range m.n {
		t.ptr[k+1] += t.ptr[k]
	}
	next := slices.Clone(t.ptr[:m.n])
	from := int32(0)
	for i := range int32(m.n) {
		for _, e := range byColumn[from:start[i]] {
			t.row[next[e.k]] = i
			if values {
				t.val[next[e.k]] = m.val[e.p]
			}
			next[e.k]++
		}
		from = start[i]
	}
	return t
}

// postorder visits children before parents, subtree by subtree. A parent of
// another level counts as none, so that levels stay in order.
func postorder(parent []int32, level func(int32) uint8) []int32 {
	n := len(parent)
	child, sibling := make([]int32, n), make([]int32, n)
	for k := range child {
		child[k] = -1
	}
	isRoot := func(k int32) bool { return parent[k] < 0 || level(parent[k]) != level(k) }
	for k := int32(n - 1); k >= 0; k-- {
		if !isRoot(k) {
			sibling[k] = child[parent[k]]
			child[parent[k]] = k
		}
	}
	post, stack := make([]int32, 0, n), []int32(nil)
	for root := range int32(n) {
		if !isRoot(root) {
			continue
		}
		stack = append(stack, root)
		for len(stack) > 0 {
			k := stack[len(stack)-1]
			if c := child[k]; c >= 0 {
				child[k] = sibling[c]
				stack = append(stack, c)
				continue
			}
			post = append(post, k)
			stack = stack[:len(stack)-1]
		}
	}
	return post
}

// distinct are the numbers in ascending order, each once.
func distinct(list []int) []int {
	return slices.Compact(slices.Sorted(slices.Values(list)))
}

func identity(n int) []int32 {
	p := make([]int32, n)
	for i := range p {
		p[i] = int32(i)
	}
	return p
}

func inverse(p []int32) []int32 {
	q := make([]int32, len(p))
	for k, i := range p {
		q[i] = int32(k)
	}
	return q
}
