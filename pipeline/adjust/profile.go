package adjust

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// posterior turns the solved problem into the model that later stages read. It is
// of no use for a further iteration.
func (p *problem) posterior(s *survey.Survey) (*survey.Model, error) {
	p.unsettle()
	p.project()
	p.eachRead(p.residuals)
	p.reweight()
	p.unreadSheets()
	for _, c := range p.readCells {
		p.own[c.record].forCovariance()
	}
	information := p.information()
	if err := p.factor(information); err != nil {
		return nil, err
	}
	hs, learning := make([]heard, len(p.readCells)), p.o.Sizes == SizesEstimated
	var products pulled
	if learning {
		products = p.pull(hs)
	}
	p.joint.inv = p.joint.f.Invert()
	m := &survey.Model{Profiles: make([]survey.Profile, len(s.Records)), Budget: slices.Concat(p.given.terms(), p.sizes.terms, p.localTerm())}
	m.OffsetU = blank(s)
	ds := make([]diagnosis, len(p.readCells))
	parallel.Each(len(p.readCells), 0, func() func(int) {
		return func(i int) {
			c := p.readCells[i]
			c.root = p.sharedRoot(c)
			if learning {
				p.hearLengths(&hs[i], c, c.root)
			}
			inv := p.inverse(c)
			ds[i] = p.diagnose(c, inv, information)
			if learning {
				p.hear(&hs[i], c, inv)
			}
			m.Profiles[c.record] = survey.Profile{Nodes: p.profileNodes(c, inv), Shares: p.shares(c, inv, m.OffsetU)}
			p.forget(c)
		}
	})
	errs := make([]error, len(p.unreadCells))
	parallel.Each(len(errs), 0, func() func(int) {
		part := &estimate.Part{}
		return func(i int) {
			c := p.unreadCells[i]
			c.part = part
			if errs[i] = p.condense(c, 1); errs[i] == nil {
				p.complete(c)
				m.Profiles[c.record] = survey.Profile{Nodes: p.profileNodes(c, p.inverse(c))}
			}
			p.forget(c)
		}
	})
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	p.freed = make([]freed, len(p.session))
	for i := range p.freed {
		p.freed[i] = p.free(i, p.joint.inv)
	}
	m.TraceSession, m.CheckSession = p.whose(s)
	m.Effects, m.Sheet = p.effects(p.joint.inv), p.sheetsOfRecords()
	m.Fit = p.fit(ds)
	if learning {
		p.next = p.learn(hs, ds, &products, information)
	}
	p.shrink()
	m.Draws, m.Without, m.State = p.draws, p.without, p
	return m, nil
}

// shrink lets go of all but what draws and the next round need: what belongs to
// records that were read.
func (p *problem) shrink() {
	read := make([]cell, len(p.readCells))
	for i, c := range p.readCells {
		read[i] = *c
		p.readCells[i] = &read[i]
	}
	p.cells, p.unreadCells = nil, nil
	for r := range p.n.records {
		if p.readCell(r) == nil {
			p.n.records[r] = recordNet{}
		}
	}
	p.sharedPoint, p.sharedKnot = nil, nil
	p.joint = joint{}
	p.n.parts, p.n.joins, p.join = nil, nil, nil
}

// readCell is the cell of a record, nil if nothing was read on it.
func (p *problem) readCell(record int) *cell {
	i, found := slices.BinarySearchFunc(p.readCells, p.n.rank[record], func(c *cell, rank int) int {
		return cmp.Compare(p.n.rank[c.record], rank)
	})
	if !found {
		return nil
	}
	return p.readCells[i]
}

// information is the share of the readings' weights that counts for covariances.
func (p *problem) information() float64 { return 1 / estimate.StudentTCovariance(p.o.Nu) }

// inverse is the covariances of a cell's unknowns.
func (p *problem) inverse(c *cell) *estimate.Inverse {
	return c.part.SelectedInverse(func(i, j int) float64 { return p.sharedCovariance(c, i, j) })
}

// sharedCovariance is the covariance of two of a cell's shared unknowns.
func (p *problem) sharedCovariance(c *cell, i, j int) float64 {
	v, _ := p.joint.inv.At(int(p.joint.place[c.index[i]]), int(p.joint.place[c.index[j]]))
	return v
}

func (p *problem) profileNodes(c *cell, inv *estimate.Inverse) []survey.Node {
	rn := &p.n.records[c.record]
	out := make([]survey.Node, len(rn.nodes))
	for k := range rn.nodes {
		nd := &rn.nodes[k]
		v := vectorAt(p.x[2*nd.point], p.x[2*nd.point+1], int(c.node[k]), inv)
		e, n := normalAt(rn, k)
		offset, variance := v.Along(e, n)
		out[k] = survey.Node{
			Part: nd.part, StationM: nd.stationM, Vertex: nd.vertex, D: v,
			OffsetM: offset, OffsetU: math.Sqrt(max(variance, 0)),
		}
	}
	for i := range c.obs { // a reading belongs to the nearer of the two nodes around it
		ob := &c.obs[i]
		if ob.out {
			continue
		}
		k := ob.node
		if ob.alpha >= 0.5 {
			k++
		}
		out[k].Readings++
	}
	return out
}

// normalAt is the unit normal to the right at a node: of its segment, or the
// mean of both at a vertex. Where two vertices are at one place, and so nothing
// has a direction, the line is taken to run east.
func normalAt(rn *recordNet, k int) (east, north float64) {
	nd := &rn.nodes[k]
	last := len(rn.line.Parts[nd.part]) - 2
	if nd.vertex <= 0 || nd.vertex > last {
		east, north = rn.axes.right(&rn.line, nd.part, min(max(nd.segment, 0), last))
	} else {
		e1, n1 := rn.axes.right(&rn.line, nd.part, nd.vertex-1)
		e2, n2 := rn.axes.right(&rn.line, nd.part, nd.vertex)
		east, north = e1+e2, n1+n2
		if math.Hypot(east, north) < 1e-9 { // doubles back
			east, north = e2, n2
		}
	}
	if l := math.Hypot(east, north); l > 0 {
		return east / l, north / l
	}
	return 0, -1
}

// shares splits a record's mean raw difference into the model's parts, and says
// how sure each reading's positions are.
func (p *problem) shares(c *cell, inv *estimate.Inverse, offsetU [][]float32) (sh survey.Shares) {
	at := covariances(inv)
	positions := 0.0 // sum of the variance of session and source
	for i := range c.obs {
		ob := &c.obs[i]
		if ob.out {
			continue
		}
		e, n := ob.east, ob.north
		along := func(first int) float64 { return e*p.x[first] + n*p.x[first+1] }
		d := p.displacement(c, ob)
		own, sheet := along(p.own[c.record].first), along(p.own[c.record].parent)
		sh.Readings++
		sh.RawM += ob.value
		sh.SheetM += sheet
		sh.OwnM += own - sheet
		sh.LocalM += d - own
		both, source := along(p.u.sessions+2*int(ob.session)), along(p.u.sources+2*p.ev.sessions[ob.session].source)
		bias, biasVariance := 0.0, 0.0
		if ob.bias >= 0 {
			bias, biasVariance = ob.sign()*p.x[p.u.bias+int(ob.bias)], inv.Variance(int(ob.at[0]))
		}
		sh.SessionM += both - source
		sh.SourceM += source
		sh.BiasM += bias
		sh.NoiseM += ob.value - d - both - bias

		f := int(ob.at[2])
		position := e*e*at(f, f) + 2*e*n*at(f, f+1) + n*n*at(f+1, f+1)
		positions += position
		if ob.trace < 0 {
			continue
		}
		offsetU[ob.trace][ob.reading] = float32(math.Sqrt(ob.sigma*ob.sigma + ob.wander*ob.wander + max(position+biasVariance, 0)))
	}
	if sh.Readings == 0 {
		return sh
	}
	n := float64(sh.Readings)
	for _, v := range []*float64{&sh.RawM, &sh.SheetM, &sh.OwnM, &sh.LocalM, &sh.SessionM, &sh.SourceM, &sh.BiasM, &sh.NoiseM} {
		*v /= n
	}
	sh.FieldU = math.Sqrt(max(positions/n, 0))
	return sh
}

// displacement is n . d at a reading.
func (p *problem) displacement(c *cell, ob *observation) float64 {
	nodes := p.n.records[c.record].nodes
	a, b := 2*nodes[ob.node].point, 2*nodes[ob.node+1].point
	e := (1-ob.alpha)*p.x[a] + ob.alpha*p.x[b]
	n := (1-ob.alpha)*p.x[a+1] + ob.alpha*p.x[b+1]
	return e*ob.east + n*ob.north
}

// blank is a NaN for every reading.
func blank(s *survey.Survey) [][]float32 {
	out := make([][]float32, len(s.Traces))
	for t := range out {
		out[t] = make([]float32, len(s.Traces[t].Readings))
		for i := range out[t] {
			out[t][i] = float32(math.NaN())
		}
	}
	return out
}
