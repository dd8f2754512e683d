package adjust

import (
	"cmp"
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
	knots  []int32       // that it alone knows
	ties   []tie         // of those
	own    int           // the record's own shift, in the cell
	parent int           // its sheet's, or the whole map's, in the cell
	obs    []observation // of the record, in the order of the traces
	part   *estimate.Part
	rhs    []float64
	left   []float64 // what is left of rhs for the shared unknowns
	slots  []int32   // of what is left of the matrix, in the joint equations

	// roughness is the variance of the record's local error over what is expected of
	// records.
	roughness float64

	// Since the cell was last assembled: how far its record has moved, and whether
	// it stands as it was.
	driftM  float64
	settled bool
}

// read says whether anything was read on the record.
func (c *cell) read() bool { return len(c.obs) > 0 }

// newCell numbers a record's unknowns. at is scratch space, one number an unknown
// of the whole system, all -1.
//
// What is the cell's own comes in the order of elimination: nodes along the
// record, walks and knots of wandering positions where the last reading of theirs
// stands, so that little fills up however long the record, and its own shift.
func (p *problem) newCell(r int, obs []observation, at []int32) cell {
	rn := &p.n.records[r]
	c := cell{record: r, obs: obs, node: make([]int32, len(rn.nodes)), roughness: 1}
	type own struct{ unknown, count, node int32 }
	var owns []own
	var shared []int32
	take := func(first, count, node int) {
		switch k := at[first]; {
		case k >= 0: // of the cell's own: where it stands in the order
			owns[k].node = max(owns[k].node, int32(node))
		case k == -1 && p.shared(first):
			at[first] = -2
			for i := range count {
				shared = append(shared, int32(first+i))
			}
		case k == -1:
			at[first] = int32(len(owns))
			owns = append(owns, own{int32(first), int32(count), int32(node)})
		}
	}
	for i := range rn.nodes {
		take(2*rn.nodes[i].point, 2, i)
	}
	for i := range obs {
		ob := &obs[i]
		if ob.bias >= 0 {
			take(p.u.bias+int(ob.bias), 1, int(ob.node)+1)
		}
		if ob.knot >= 0 {
			take(p.u.wander+2*int(ob.knot), 2, int(ob.node)+1)
		}
		take(p.u.sessions+2*int(ob.session), 2, 0)
	}
	take(p.own[r].first, 2, len(rn.nodes))
	take(p.own[r].parent, 2, 0)
	slices.SortStableFunc(owns, func(a, b own) int { return cmp.Compare(a.node, b.node) })
	slices.Sort(shared)
	for _, o := range owns {
		for i := range o.count {
			c.index = append(c.index, o.unknown+i)
		}
		if int(o.unknown) >= p.u.wander {
			c.knots = append(c.knots, (o.unknown-int32(p.u.wander))/2)
		}
	}
	c.inner = len(c.index)
	c.index = append(c.index, shared...)
	p.locate(&c, at)
	return c
}

// locate finds where a cell's equations have their unknowns.
func (p *problem) locate(c *cell, at []int32) {
	for k, i := range c.index {
		at[i] = int32(k)
	}
	for i := range c.node {
		c.node[i] = at[2*p.n.records[c.record].nodes[i].point]
	}
	for i := range c.obs {
		ob := &c.obs[i]
		ob.at = [3]int32{-1, -1, at[p.u.sessions+2*int(ob.session)]}
		if ob.bias >= 0 {
			ob.at[0] = at[p.u.bias+int(ob.bias)]
		}
		if ob.knot >= 0 {
			ob.at[1] = at[p.u.wander+2*int(ob.knot)]
		}
	}
	q := &p.own[c.record]
	c.own, c.parent = int(at[q.first]), int(at[q.parent])
	for _, k := range c.knots {
		p.tieKnot(int(k), func(tie tie) {
			tie.a, tie.b = int(at[p.u.wander+2*tie.a]), int(at[p.u.wander+2*tie.b])
			c.ties = append(c.ties, tie)
		})
	}
	for _, i := range c.index {
		at[i] = -1
	}
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
	case i < p.u.sheets:
		return p.sharedKnot[(i-p.u.wander)/2]
	}
	return true
}

// findShared looks for the points, biases and knots that more than one record
// knows.
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
	walked, heard := make([]int32, p.ev.biases), make([]int32, len(p.ev.knots)) // record + 1; -1: several
	for i := range p.ev.obs {
		ob := &p.ev.obs[i]
		if ob.bias >= 0 {
			walked[ob.bias] = alone(walked[ob.bias], ob.record+1)
		}
		if ob.knot >= 0 {
			heard[ob.knot] = alone(heard[ob.knot], ob.record+1)
		}
	}
	for i, r := range walked {
		p.sharedBias[i] = r < 0
	}
	// A knot hangs together with the next: it is one record's if those are.
	p.sharedKnot = make([]bool, len(heard))
	for k, r := range heard {
		p.sharedKnot[k] = r < 0 || p.ev.knots[k].follows && heard[k-1] != r || p.tiedOn(k) && heard[k+1] != r
	}
}

// alone is the one record that is known so far, or -1.
func alone(so, record int32) int32 {
	if so == 0 || so == record {
		return record
	}
	return -1
}

// condense assembles a cell's equations and eliminates what is its own.
// information scales the readings' weights: 1 to solve, the Student-t's
// (nu+1)/(nu+3) for covariances, since weights frozen at the solution promise
// too much.
func (p *problem) condense(c *cell, information float64, scratch *estimate.Places) error {
	if c.part == nil {
		if err := p.analyse(c, scratch); err != nil {
			return err
		}
	}
	c.part.Clear()
	clear(c.rhs)
	s := system{m: c.part, rhs: c.rhs}
	if p.equations(c, &s, information); s.missing { // a foot point has moved to other nodes
		c.part, c.slots = nil, nil
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
func (p *problem) analyse(c *cell, scratch *estimate.Places) error {
	c.rhs = make([]float64, len(c.index))
	m, err := p.pattern(c, scratch)
	if err != nil {
		return err
	}
	last := make([]int, 0, len(c.index)-c.inner)
	for k := c.inner; k < len(c.index); k++ {
		last = append(last, k)
	}
	c.part = m.AnalysePart(estimate.Options{Last: last, Natural: true})
	return nil
}

// bigCell is how many unknowns are too many for one bit a pair of them.
const bigCell = 2048

// pattern is a matrix with the entries of a cell in their places.
func (p *problem) pattern(c *cell, scratch *estimate.Places) (*estimate.Matrix, error) {
	if len(c.index) > bigCell {
		b := estimate.NewBuilder(len(c.index))
		p.reserve(c, placesOf(b))
		return b.Matrix()
	}
	scratch.Reset(len(c.index))
	p.reserve(c, places{scratch.Add})
	return scratch.Matrix(), nil
}

// reserve names the places of a cell's entries.
func (p *problem) reserve(c *cell, m places) {
	p.equations(c, &system{m: m, rhs: c.rhs}, 1)
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
		m.AddNormal(r.idx[:r.n], nil, 0)
	}
}

// equations are those that belong to the record alone: what ties its nodes to
// each other and to its own shift, and the readings.
//
// The local error of a node is x = d - own, own standing for m + h: so edges
// touch nothing that is common to many records.
func (p *problem) equations(c *cell, s *system, information float64) {
	p.own[c.record].add(s, c.own, c.parent)
	local := c.localM(&p.o)
	rn := &p.n.records[c.record]
	rn.edges(func(k int, lengthM float64) {
		diag, off := estimate.OUEdge(lengthM, p.o.LambdaM, local)
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
		if int(g) >= p.u.bias && int(g) < p.u.wander { // shared ones are the joint equations'
			s.add(i, i, 1/(p.o.BiasM*p.o.BiasM))
		}
	}
	for i := range c.ties {
		c.ties[i].add(s)
	}
}

// ends gives the points with one edge half the process's precision, and those
// without any, where a record is shorter than the snap distance, all of it. The
// zeros keep a point's two components in the pattern of the inverse.
func (p *problem) ends(c *cell, s *system) {
	half := estimate.OUEnd(c.localM(&p.o))
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
