package adjust

import (
	"slices"

	"github.com/asfound/asfound/internal/estimate"
)

// cell is one record's part of the equations. What only this record knows, the
// movements of its nodes, its own shift and the biases of walks along it alone,
// is eliminated inside the cell; what it shares with others (junctions, walks
// that go on elsewhere, sessions and their wandering, its sheet) is left for the
// joint equations. However a region is cut into parts, it is these cells that
// are handed over, one by one and in one order.
type cell struct {
	record int
	index  []int32       // of the cell's unknowns among all; those it shares come last
	inner  int           // unknowns of its own
	node   []int32       // of each node: the first of its point's two unknowns, in the cell
	own    int           // the record's own shift, in the cell
	parent int           // its sheet's, or the whole map's, in the cell
	obs    []observation // of the record, in the order of the traces
	part   *estimate.Part
	rhs    []float64
	left   []float64 // what is left of rhs for the shared unknowns
	slots  []int32   // of what is left of the matrix, in the joint equations

	// Since the cell was last assembled: how far its record has moved, and whether
	// it stands as it was.
	driftM  float64
	settled bool
}

// read says whether anything was read on the record.
func (c *cell) read() bool { return len(c.obs) > 0 }

// newCell numbers a record's unknowns. at is scratch space, one number an unknown
// of the whole system, all -1.
func (p *problem) newCell(r int, obs []observation, at []int32) cell {
	rn := &p.n.records[r]
	c := cell{record: r, obs: obs, node: make([]int32, len(rn.nodes))}
	var shared []int32
	take := func(first, count int) {
		if at[first] >= 0 {
			return
		}
		list := &c.index
		if p.shared(first) {
			list = &shared
		}
		for i := range count {
			at[first+i] = 0
			*list = append(*list, int32(first+i))
		}
	}
	for i := range rn.nodes {
		take(2*rn.nodes[i].point, 2)
	}
	for i := range obs {
		ob := &obs[i]
		if ob.bias >= 0 {
			take(p.u.bias+int(ob.bias), 1)
		}
		if ob.knot >= 0 {
			take(p.u.wander+2*int(ob.knot), 2)
		}
		take(p.u.sessions+2*int(ob.session), 2)
	}
	take(p.own[r].first, 2)
	take(p.own[r].parent, 2)
	slices.Sort(shared)
	c.inner = len(c.index)
	c.index = append(c.index, shared...)

	for k, i := range c.index {
		at[i] = int32(k)
	}
	for i := range rn.nodes {
		c.node[i] = at[2*rn.nodes[i].point]
	}
	for i := range obs {
		ob := &obs[i]
		ob.at = [3]int32{-1, -1, at[p.u.sessions+2*int(ob.session)]}
		if ob.bias >= 0 {
			ob.at[0] = at[p.u.bias+int(ob.bias)]
		}
		if ob.knot >= 0 {
			ob.at[1] = at[p.u.wander+2*int(ob.knot)]
		}
	}
	c.own, c.parent = int(at[p.own[r].first]), int(at[p.own[r].parent])
	for _, i := range c.index {
		at[i] = -1
	}
	return c
}

// shared says whether an unknown belongs to the joint equations.
func (p *problem) shared(i int) bool {
	switch {
	case i < p.u.own:
		return p.sharedPoint[i/2]
	case i < p.u.bias:
		return false
	case i < p.u.wander:
		return p.sharedBias[i-p.u.bias]
	}
	return true
}

// findShared looks for the points and biases that more than one record knows.
func (p *problem) findShared() {
	p.sharedPoint, p.sharedBias = make([]bool, p.n.points), make([]bool, p.ev.biases)
	first := make([]int32, p.n.points) // record + 1
	for r := range p.n.records {
		for i := range p.n.records[r].nodes {
			q := p.n.records[r].nodes[i].point
			if first[q] == 0 {
				first[q] = int32(r) + 1
			}
			p.sharedPoint[q] = p.sharedPoint[q] || first[q] != int32(r)+1
		}
	}
	for _, j := range p.n.joins {
		p.sharedPoint[j[0]], p.sharedPoint[j[1]] = true, true
	}
	walked := make([]int32, p.ev.biases)
	for i := range p.ev.obs {
		ob := &p.ev.obs[i]
		if ob.bias < 0 {
			continue
		}
		if walked[ob.bias] == 0 {
			walked[ob.bias] = ob.record + 1
		}
		p.sharedBias[ob.bias] = p.sharedBias[ob.bias] || walked[ob.bias] != ob.record+1
	}
}

// condense assembles a cell's equations and eliminates what is its own.
// information scales the readings' weights: 1 to solve, the Student-t's
// (nu+1)/(nu+3) for covariances, since weights frozen at the solution promise
// too much.
func (p *problem) condense(c *cell, information float64, scratch *estimate.Places) error {
	if c.part == nil {
		p.analyse(c, scratch)
	}
	c.part.Clear()
	clear(c.rhs)
	s := system{m: c.part, rhs: c.rhs}
	if p.equations(c, &s, information); s.missing { // a foot point has moved to other nodes
		c.part = nil
		return p.condense(c, information, scratch)
	}
	if err := c.part.Eliminate(); err != nil {
		return err
	}
	c.left = c.left[:0]
	c.part.Reduce(c.rhs, func(_ int, v float64) { c.left = append(c.left, v) })
	return nil
}

// analyse finds where the entries of a cell are: where its equations have them,
// and where they will if foot points move to the next nodes.
func (p *problem) analyse(c *cell, scratch *estimate.Places) {
	c.rhs = make([]float64, len(c.index))
	scratch.Reset(len(c.index))
	s := system{m: places{scratch.Add}, rhs: c.rhs}
	p.equations(c, &s, 1)
	for i := range c.obs {
		ob := &c.obs[i]
		if i > 0 && ob.node == c.obs[i-1].node && ob.at == c.obs[i-1].at {
			continue
		}
		var r row
		for k := max(ob.node-1, 0); k <= min(ob.node+2, int32(len(c.node)-1)); k++ {
			r.add(int(c.node[k]), 0)
			r.add(int(c.node[k])+1, 0)
		}
		ob.addPositions(&r)
		s.m.AddNormal(r.idx[:r.n], nil, 0)
	}
	last := make([]int, 0, len(c.index)-c.inner)
	for k := c.inner; k < len(c.index); k++ {
		last = append(last, k)
	}
	c.part = scratch.Matrix().AnalysePart(estimate.Options{Last: last, Natural: true})
}

// equations are those that belong to the record alone: what ties its nodes to
// each other and to its own shift, and the readings.
//
// The local error of a node is x = d - own, own standing for m + h: so edges
// touch nothing that is common to many records.
func (p *problem) equations(c *cell, s *system, information float64) {
	p.own[c.record].add(s, c.own, c.parent)
	rn := &p.n.records[c.record]
	rn.edges(func(k int, lengthM float64) {
		diag, off := estimate.OUEdge(lengthM, p.o.LambdaM, p.o.LocalM)
		for axis := range 2 {
			a, b, own := int(c.node[k])+axis, int(c.node[k+1])+axis, c.own+axis
			s.add(a, a, diag)
			s.add(b, b, diag)
			s.add(a, b, off)
			s.add(a, own, -(diag + off))
			s.add(b, own, -(diag + off))
			s.add(own, own, 2*(diag+off))
		}
	})
	p.ends(c, s)
	for i := range c.obs {
		ob := &c.obs[i]
		if ob.out {
			continue
		}
		r := c.row(ob)
		s.observe(&r, ob.value, information*ob.weight/(ob.sigma*ob.sigma))
	}
	for i, g := range c.index[:c.inner] {
		if int(g) >= p.u.bias { // a bias of its own; shared ones are the joint equations'
			s.add(i, i, 1/(p.o.BiasM*p.o.BiasM))
		}
	}
}

// ends gives the points with one edge half the process's precision, and those
// without any, where a record is shorter than the snap distance, all of it. The
// zeros keep a point's two components in the pattern of the inverse.
func (p *problem) ends(c *cell, s *system) {
	half := estimate.OUEnd(p.o.LocalM)
	rn := &p.n.records[c.record]
	for k := range rn.nodes {
		q := int(c.node[k])
		s.add(q, q+1, 0)
		missing := 2 - int(p.n.degree[rn.nodes[k].point])
		if missing <= 0 || slices.Contains(c.node[:k], c.node[k]) {
			continue
		}
		for axis := range 2 {
			a, own, w := q+axis, c.own+axis, float64(missing)*half
			s.add(a, a, w)
			s.add(a, own, -w)
			s.add(own, own, w)
		}
	}
}

// row is the linear form of one reading in the cell's unknowns.
func (c *cell) row(ob *observation) row {
	r := c.offset(ob)
	ob.addPositions(&r)
	return r
}

// offset is the part of a reading's form that is the record's own offset there.
func (c *cell) offset(ob *observation) (r row) {
	a, b := int(c.node[ob.node]), int(c.node[ob.node+1])
	for axis, n := range [2]float64{ob.east, ob.north} {
		if a == b {
			r.add(a+axis, n)
		} else {
			r.add(a+axis, n*(1-ob.alpha))
			r.add(b+axis, n*ob.alpha)
		}
	}
	return r
}

// addPositions adds what is wrong with the position to the form of a reading.
func (ob *observation) addPositions(r *row) {
	bias, knot, session := int(ob.at[0]), int(ob.at[1]), int(ob.at[2])
	r.add(session, ob.east)
	r.add(session+1, ob.north)
	if knot >= 0 {
		r.add(knot, ob.east*ob.wander)
		r.add(knot+1, ob.north*ob.wander)
	}
	if bias >= 0 {
		r.add(bias, ob.sign)
	}
}

// predict is the linear form of one reading at the estimate.
func (p *problem) predict(c *cell, r *row) (v float64) {
	for i := range r.n {
		v += r.coef[i] * p.x[c.index[r.idx[i]]]
	}
	return v
}

// complete solves for the cell's own unknowns, the shared ones being known.
func (p *problem) complete(c *cell, x []float64) {
	for k, i := range c.index[c.inner:] {
		x[c.inner+k] = p.x[i]
	}
	c.part.Solve(x, c.rhs)
	for k, i := range c.index[:c.inner] {
		p.x[i] = x[k]
	}
}
