package estimate

// quotient is the quotient graph of an elimination under way: what is left of
// the matrix's graph, with every eliminated pivot kept as an element, the
// clique of the variables that it joins (Amestoy, Davis & Duff 1996, "An
// approximate minimum degree ordering algorithm", SIAM J. Matrix Anal. Appl.
// 17(4)). Variables with the same neighbours go as one, a supervariable.
//
// Ids below n are variables, or the elements they became; those above are
// elements that were there from the start.
type quotient struct {
	n          int
	start      []int   // per variable: where its list begins
	list       []int32 // per variable: its elements, then its variables
	elems      []int32 // per variable: number of elements in its list
	vars       []int32 // per variable: number of variables in its list
	size       []int32 // per variable: unknowns it stands for; 0 once eliminated or absorbed
	cover      [][]int32
	weight     []int32 // per element: unknowns it covers
	degree     []int32 // per variable: bound on its degree
	buckets    degreeLists
	lastMember []int32 // per variable: tail of the chain of those it stands for
	nextMember []int32

	stamp   int32
	mark    []int32 // per id: == stamp while in the current set
	outside []int32 // per element: unknowns it covers outside the pivot's
	touched []int32 // per element: pivot round in which outside was set
	hash    []uint32
	byHash  []int32 // head of the variables with that hash
	sameAs  []int32 // next in that chain
	room    []int32 // unused part of the block that covers are cut from
	scratch []int32
}

// minimumDegree returns an elimination order of the variables of g, and uses g
// up. Ties go by the order in which variables entered their degree list, so the
// order depends on the graph alone.
func (g *quotient) minimumDegree() []int32 {
	order := make([]int32, 0, g.n)
	for v := range g.n {
		g.degree[v] = g.firstDegree(int32(v))
	}
	for v := g.n - 1; v >= 0; v-- {
		g.buckets.push(int32(v), g.degree[v])
	}
	for len(order) < g.n {
		p := g.buckets.popMinimum()
		lp := g.form(p)
		g.measureElements(lp)
		lp = g.prune(p, lp)
		for m := p; m >= 0; m = g.nextMember[m] {
			order = append(order, m)
		}
		lp = g.mergeAlike(lp)
		g.close(p, lp, int32(g.n-len(order)))
	}
	return order
}

// newQuotient makes room for a graph of n variables, some of them joined by
// cliques from the start. The caller fills start, list, elems and vars.
func newQuotient(n int, cliques [][]int32) *quotient {
	ids := n + len(cliques)
	g := &quotient{
		n: n, start: make([]int, n+1), elems: make([]int32, n), vars: make([]int32, n),
		size: make([]int32, n), cover: make([][]int32, ids), weight: make([]int32, ids),
		degree: make([]int32, n), buckets: newDegreeLists(n),
		lastMember: make([]int32, n), nextMember: make([]int32, n),
		mark: make([]int32, ids), outside: make([]int32, ids), touched: make([]int32, ids),
		hash: make([]uint32, n), byHash: make([]int32, n), sameAs: make([]int32, n),
	}
	for v := range n {
		g.size[v], g.lastMember[v], g.nextMember[v], g.byHash[v] = 1, int32(v), -1, -1
	}
	for c, clique := range cliques {
		g.cover[n+c], g.weight[n+c] = clique, int32(len(clique))
	}
	return g
}

func (g *quotient) elements(v int32) []int32 {
	return g.list[g.start[v] : g.start[v]+int(g.elems[v])]
}

func (g *quotient) variables(v int32) []int32 {
	from := g.start[v] + int(g.elems[v])
	return g.list[from : from+int(g.vars[v])]
}

func (g *quotient) firstDegree(v int32) int32 {
	d := int(g.vars[v])
	for _, e := range g.elements(v) {
		d += int(g.weight[e]) - 1
	}
	return int32(min(d, g.n-1))
}

// form turns pivot p into an element: the variables that it joins are its own
// neighbours and those of its elements, which it absorbs.
func (g *quotient) form(p int32) []int32 {
	g.stamp++
	g.mark[p] = g.stamp
	lp := g.scratch[:0]
	join := func(vs []int32) {
		for _, v := range vs {
			if g.size[v] > 0 && g.mark[v] != g.stamp {
				g.mark[v] = g.stamp
				g.buckets.remove(v, g.degree[v])
				lp = append(lp, v)
			}
		}
	}
	join(g.variables(p))
	for _, e := range g.elements(p) {
		join(g.cover[e])
		g.cover[e] = nil
	}
	g.size[p] = 0
	g.scratch = lp
	return lp
}

// measureElements counts what the elements next to lp cover outside of it.
func (g *quotient) measureElements(lp []int32) {
	for _, i := range lp {
		for _, e := range g.elements(i) {
			if g.touched[e] != g.stamp {
				g.touched[e], g.outside[e] = g.stamp, g.weight[e]
			}
			g.outside[e] -= g.size[i]
		}
	}
}

// prune rewrites the lists of the variables of lp: elements that p swallowed
// go, variables in lp go (p joins them now), p comes. A variable left with p
// alone is eliminated together with it. It leaves degree without lp's own part.
func (g *quotient) prune(p int32, lp []int32) []int32 {
	kept := lp[:0]
	for _, i := range lp {
		at, d, h := g.start[i], int32(0), uint32(p)
		elements, variables := g.elements(i), g.variables(i)
		for _, e := range elements {
			switch {
			case g.cover[e] == nil:
			case g.outside[e] == 0:
				g.cover[e] = nil // aggressive absorption
			default:
				d += g.outside[e]
				h += uint32(e)
				g.list[at] = e
				at++
			}
		}
		ne := at - g.start[i]
		for _, v := range variables {
			if g.size[v] > 0 && g.mark[v] != g.stamp {
				d += g.size[v]
				h += uint32(v)
				g.list[at] = v
				at++
			}
		}
		if d == 0 {
			g.adopt(p, i)
			continue
		}
		// At least one entry went, so there is room for p behind the elements.
		nv := at - g.start[i] - ne
		g.list[at] = g.list[g.start[i]+ne]
		g.list[g.start[i]+ne] = p
		g.elems[i], g.vars[i] = int32(ne+1), int32(nv)
		g.degree[i] = min(g.degree[i], d)
		g.hash[i] = h % uint32(g.n)
		kept = append(kept, i)
	}
	return kept
}

// adopt lets v stand for what i stood for.
func (g *quotient) adopt(v, i int32) {
	g.size[i] = 0
	g.nextMember[g.lastMember[v]] = i
	g.lastMember[v] = g.lastMember[i]
}

// mergeAlike joins the variables of lp that have the same lists.
func (g *quotient) mergeAlike(lp []int32) []int32 {
	for _, i := range lp {
		g.sameAs[i] = g.byHash[g.hash[i]]
		g.byHash[g.hash[i]] = i
	}
	for _, i := range lp {
		first := g.byHash[g.hash[i]]
		g.byHash[g.hash[i]] = -1
		for a := first; a >= 0 && g.sameAs[a] >= 0; a = g.sameAs[a] {
			if g.size[a] == 0 {
				continue
			}
			g.stamp++
			for _, x := range g.list[g.start[a] : g.start[a]+int(g.elems[a]+g.vars[a])] {
				g.mark[x] = g.stamp
			}
			for b := g.sameAs[a]; b >= 0; b = g.sameAs[b] {
				if g.size[b] > 0 && g.alike(a, b) {
					size := g.size[a] + g.size[b]
					g.adopt(a, b)
					g.size[a] = size
				}
			}
		}
	}
	kept := lp[:0]
	for _, i := range lp {
		if g.size[i] > 0 {
			kept = append(kept, i)
		}
	}
	return kept
}

// alike: all of b's list is marked as a's, and they are as long.
func (g *quotient) alike(a, b int32) bool {
	if g.elems[a] != g.elems[b] || g.vars[a] != g.vars[b] {
		return false
	}
	for _, x := range g.list[g.start[b] : g.start[b]+int(g.elems[b]+g.vars[b])] {
		if g.mark[x] != g.stamp {
			return false
		}
	}
	return true
}

// close stores element p and puts its variables back under their new degrees;
// left is the number of unknowns not eliminated yet.
func (g *quotient) close(p int32, lp []int32, left int32) {
	weight := int32(0)
	for _, i := range lp {
		weight += g.size[i]
	}
	for _, i := range lp {
		g.degree[i] = min(g.degree[i]+weight-g.size[i], left-g.size[i])
		g.buckets.push(i, g.degree[i])
	}
	if len(lp) > len(g.room) {
		g.room = make([]int32, max(len(lp), 1<<14))
	}
	g.cover[p], g.weight[p] = g.room[:len(lp):len(lp)], weight
	g.room = g.room[len(lp):]
	copy(g.cover[p], lp)
}

// degreeLists holds the variables by degree, last in first out.
type degreeLists struct {
	head, next, prev []int32
	least            int32
}

func newDegreeLists(n int) degreeLists {
	l := degreeLists{head: make([]int32, n+1), next: make([]int32, n), prev: make([]int32, n)}
	for d := range l.head {
		l.head[d] = -1
	}
	return l
}

func (l *degreeLists) push(v, degree int32) {
	first := l.head[degree]
	l.next[v], l.prev[v] = first, -1
	if first >= 0 {
		l.prev[first] = v
	}
	l.head[degree] = v
	l.least = min(l.least, degree)
}

func (l *degreeLists) remove(v, degree int32) {
	next, prev := l.next[v], l.prev[v]
	if next >= 0 {
		l.prev[next] = prev
	}
	if prev >= 0 {
		l.next[prev] = next
	} else {
		l.head[degree] = next
	}
}

func (l *degreeLists) popMinimum() int32 {
	for l.head[l.least] < 0 {
		l.least++
	}
	v := l.head[l.least]
	l.remove(v, l.least)
	return v
}
