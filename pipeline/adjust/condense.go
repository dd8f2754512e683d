package adjust

import (
	"slices"
	"sync"

	"github.com/asfound/asfound/internal/estimate"
)

// press condenses cells, one after the other.
type press struct {
	front    estimate.Front
	order    []int32 // of the cell's unknowns, in which they go
	last     []int32 // stage of each of the cell's own unknowns at which it goes
	obs, tie []int32 // readings and ties in the order of their stages
	own      []int32 // unknowns likewise
	ends     []int32 // of the stages among them, meanwhile
	x        []float64
}

// presses are those at rest: there are many cells, and few at a time.
var presses = sync.Pool{New: func() any { return &press{} }}

// condense assembles a cell's equations and eliminates what is its own, stage by
// stage along the record: the equations of a node and of the edge that begins at
// it come, then what no later one knows goes. So little fills up however long the
// record. information scales the readings' weights: 1 to solve, the Student-t's
// (nu+1)/(nu+3) for covariances, since weights frozen at the solution promise too
// much.
//
// The local error of a node is x = d - own, own standing for m + h: so edges touch
// nothing that is common to many records.
func (p *problem) condense(c *cell, information float64) error {
	w := presses.Get().(*press)
	defer presses.Put(w)
	if c.part == nil {
		c.part = &estimate.Part{}
	}
	stages := len(c.node) + 1 // of the nodes, and of the own shift
	w.plan(c, stages)
	f := &w.front
	f.Start(c.part, w.order, c.inner)
	obs, ties, own := w.obs, w.tie, w.own
	local := c.localM(&p.o)
	for k := range stages {
		if k < len(c.node) {
			p.addNode(c, k, local, f)
		} else {
			p.own[c.record].add(f, c.own, c.parent)
		}
		for ; len(obs) > 0 && int(c.obs[obs[0]].node) == k; obs = obs[1:] {
			if ob := &c.obs[obs[0]]; !ob.out {
				r := c.row(ob)
				f.AddNormal(r.idx[:r.n], r.coef[:r.n], information*ob.weight/(ob.sigma*ob.sigma), ob.value)
			}
		}
		for ; len(ties) > 0 && w.tieStage(c, &c.ties[ties[0]]) == int32(k); ties = ties[1:] {
			c.ties[ties[0]].add(f)
		}
		for ; len(own) > 0 && w.last[own[0]] == int32(k); own = own[1:] {
			if g := int(c.index[own[0]]); g >= p.u.bias && g < p.u.wander { // shared ones are the joint equations'
				f.Add(int(own[0]), int(own[0]), 1/(p.o.BiasM*p.o.BiasM))
			}
			if err := f.Eliminate(); err != nil {
				f.Abandon()
				return err
			}
		}
	}
	f.Finish()
	return nil
}

// plan finds the stage at which each unknown goes, and sorts by it.
func (w *press) plan(c *cell, stages int) {
	w.last = append(w.last[:0], make([]int32, c.inner)...)
	for k, q := range c.node {
		if int(q) < c.inner {
			w.last[q], w.last[q+1] = int32(k), int32(k)
		}
	}
	w.last[c.own], w.last[c.own+1] = int32(stages-1), int32(stages-1)
	for i := range c.obs {
		ob := &c.obs[i]
		if b := ob.at[0]; b >= 0 && int(b) < c.inner {
			w.last[b] = max(w.last[b], ob.node)
		}
		if k := ob.at[1]; k >= 0 && int(k) < c.inner {
			w.last[k] = max(w.last[k], ob.node)
			w.last[k+1] = w.last[k]
		}
	}
	w.own = w.byStage(w.own, c.inner, stages, func(i int) int32 { return w.last[i] })
	w.obs = w.byStage(w.obs, len(c.obs), stages, func(i int) int32 { return c.obs[i].node })
	w.tie = w.byStage(w.tie, len(c.ties), stages, func(i int) int32 { return w.tieStage(c, &c.ties[i]) })
	w.order = append(w.order[:0], w.own...)
	for k := c.inner; k < len(c.index); k++ {
		w.order = append(w.order, int32(k))
	}
}

// tieStage is when the first of a tie's knots goes.
func (w *press) tieStage(c *cell, t *tie) int32 {
	switch {
	case t.a >= c.inner:
		return w.last[t.b]
	case t.b >= c.inner:
		return w.last[t.a]
	}
	return min(w.last[t.a], w.last[t.b])
}

// byStage lists n things in the order of their stages.
func (w *press) byStage(list []int32, n, stages int, stage func(i int) int32) []int32 {
	w.ends = append(w.ends[:0], make([]int32, stages+1)...)
	for i := range n {
		w.ends[stage(i)+1]++
	}
	for k := range stages {
		w.ends[k+1] += w.ends[k]
	}
	list = slices.Grow(list[:0], n)[:n]
	for i := range n {
		k := stage(i)
		list[w.ends[k]] = int32(i)
		w.ends[k]++
	}
	return list
}

// addNode adds the equations of a node alone and of the edge that begins at it. A
// point with one edge has half the process's precision at its free end, and one
// without any, where a record is shorter than the snap distance, all of it. The
// zeros link a point's two components.
func (p *problem) addNode(c *cell, k int, localM float64, f *estimate.Front) {
	rn, q := &p.n.records[c.record], int(c.node[k])
	f.Add(q, q+1, 0)
	if w := rn.freeEnds(k, p.n.degree) * estimate.OUEnd(localM); w > 0 {
		for axis := range 2 {
			a, own := q+axis, c.own+axis
			f.Add(a, a, w)
			f.Add(a, own, -w)
			f.Add(own, own, w)
		}
	}
	lengthM, ok := rn.edge(k)
	if !ok {
		return
	}
	diag, off := estimate.OUEdge(lengthM, p.o.LambdaM, localM)
	for axis := range 2 {
		a, b, own := q+axis, int(c.node[k+1])+axis, c.own+axis
		f.Add(a, a, diag)
		f.Add(b, b, diag)
		f.Add(a, b, off)
		f.Add(a, own, -(diag + off))
		f.Add(b, own, -(diag + off))
		f.Add(own, own, 2*(diag+off))
	}
}

// complete solves for the cell's own unknowns, the shared ones being known.
func (p *problem) complete(c *cell) {
	w := presses.Get().(*press)
	defer presses.Put(w)
	n := len(c.index)
	w.x = slices.Grow(w.x[:0], 2*n)[:2*n]
	x := w.x[:n]
	for k, i := range c.index[c.inner:] {
		x[c.inner+k] = p.x[i]
	}
	c.part.Solve(x, w.x[n:])
	for k, i := range c.index[:c.inner] {
		p.x[i] = x[k]
	}
	if !p.own[c.record].fixed {
		c.ownVariance = 0
		for axis := range 2 {
			clear(x)
			x[c.own+axis] = 1
			c.ownVariance += c.part.Contrast(x, w.x[n:])
		}
	}
}
