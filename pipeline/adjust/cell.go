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
	ties   []tie         // of the knots that it alone knows
	own    int           // the record's own shift, in the cell
	parent int           // its sheet's, or the whole map's, in the cell
	obs    []observation // of the record, in the order of the traces
	part   *estimate.Part
	slots  []int32 // of what is left of the matrix, in the joint equations

	root root // of the covariance of what it shares; once the posterior is known

	// roughness is the variance of the record's local error over LocalM squared,
	// expected what it is taken for beforehand, redundancy how many residuals of it
	// the readings tell of.
	roughness, expected, redundancy float64
	squaresM2                       float64 // the form of what they tell

	// ownVariance is what the squares of the own shift may err by, given what is shared.
	ownVariance float64

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
	c := cell{record: r, obs: obs, node: make([]int32, len(rn.nodes)), roughness: 1, expected: 1}
	var shared []int32
	take := func(first, count int) {
		if at[first] != -1 {
			return
		}
		at[first] = -2
		to := &c.index
		if p.shared(first) {
			to = &shared
		}
		for i := range count {
			*to = append(*to, int32(first+i))
		}
	}
	for i := range rn.nodes {
		take(2*rn.nodes[i].point, 2)
	}
	take(p.own[r].first, 2)
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
	take(p.own[r].parent, 2)
	slices.Sort(shared)
	c.inner = len(c.index)
	c.index = slices.Concat(c.index, shared)
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
	for _, i := range c.index[:c.inner] {
		if k := (int(i) - p.u.wander) / 2; int(i) >= p.u.wander && (int(i)-p.u.wander)%2 == 0 {
			p.tieKnot(k, func(tie tie) {
				tie.a, tie.b = int(at[p.u.wander+2*tie.a]), int(at[p.u.wander+2*tie.b])
				c.ties = append(c.ties, tie)
			})
		}
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
		r.add(bias, ob.sign())
	}
}

// predict is the linear form of one reading at the estimate.
func (p *problem) predict(c *cell, r *row) (v float64) {
	for i := range r.n {
		v += r.coef[i] * p.x[c.index[r.idx[i]]]
	}
	return v
}
