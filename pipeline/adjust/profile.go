package adjust

import (
	"math"
	"math/rand/v2"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// posterior turns the solved problem into the model that later stages read.
func (p *problem) posterior(s *survey.Survey) (*survey.Model, error) {
	p.project()
	p.reweight()
	f, _, err := p.factor(1 / estimate.StudentTCovariance(p.o.Nu))
	if err != nil {
		return nil, err
	}
	inv := f.SelectedInverse()
	m := &survey.Model{Profiles: make([]survey.Profile, len(s.Records)), Budget: p.o.terms()}
	readings := p.countReadings()
	for r := range p.n.records {
		m.Profiles[r].Nodes = p.profileNodes(r, inv, readings[r])
	}
	m.OffsetU, m.CoverDifferenceM = blank(s), blank(s)
	p.addShares(m, inv)
	p.draw(m, f)
	m.Effects = p.effects(s, inv)
	m.Fit = p.fit()
	return m, nil
}

// countReadings counts the readings at each node of each record: a reading
// belongs to the nearer of the two nodes around it.
func (p *problem) countReadings() [][]int {
	counts := make([][]int, len(p.n.records))
	for r := range counts {
		counts[r] = make([]int, len(p.n.records[r].nodes))
	}
	for i := range p.ev.obs {
		ob := &p.ev.obs[i]
		if ob.out {
			continue
		}
		k := ob.node
		if ob.alpha >= 0.5 {
			k++
		}
		counts[ob.record][k]++
	}
	return counts
}

func (p *problem) profileNodes(r int, inv *estimate.Inverse, readings []int) []survey.Node {
	rn := &p.n.records[r]
	out := make([]survey.Node, len(rn.nodes))
	for k := range rn.nodes {
		nd := &rn.nodes[k]
		v := p.vector(2*nd.point, inv)
		e, n := p.normalAt(rn, k)
		offset, variance := v.Along(e, n)
		out[k] = survey.Node{
			Part: nd.part, StationM: nd.stationM, Vertex: nd.vertex, D: v,
			OffsetM: offset, OffsetU: math.Sqrt(max(variance, 0)), Readings: readings[k],
		}
	}
	return out
}

// vector is the estimate and covariance of a pair of unknowns.
func (p *problem) vector(first int, inv *estimate.Inverse) survey.Vector {
	at := func(i, j int) float64 { v, _ := inv.At(i, j); return v }
	return survey.Vector{
		East: p.x[first], North: p.x[first+1],
		EE: at(first, first), EN: at(first, first+1), NN: at(first+1, first+1),
	}
}

// normalAt is the unit normal to the right at a node: of its segment, or the
// mean of both at a vertex.
func (p *problem) normalAt(rn *recordNet, k int) (east, north float64) {
	nd := &rn.nodes[k]
	last := len(rn.line.Parts[nd.part]) - 2
	if nd.vertex <= 0 || nd.vertex > last {
		return rn.axes.right(&rn.line, nd.part, min(max(nd.segment, 0), last))
	}
	e1, n1 := rn.axes.right(&rn.line, nd.part, nd.vertex-1)
	e2, n2 := rn.axes.right(&rn.line, nd.part, nd.vertex)
	e, n := e1+e2, n1+n2
	l := math.Hypot(e, n)
	if l < 1e-9 { // doubles back
		return e2, n2
	}
	return e / l, n / l
}

// addShares splits each record's mean raw difference into the model's parts,
// and says how sure each reading's positions are.
func (p *problem) addShares(m *survey.Model, inv *estimate.Inverse) {
	at := func(i, j int) float64 { v, _ := inv.At(i, j); return v }
	positions := make([]float64, len(m.Profiles)) // sum of the variance of session and source
	for i := range p.ev.obs {
		ob := &p.ev.obs[i]
		if ob.out {
			continue
		}
		sh := &m.Profiles[ob.record].Shares
		e, n := ob.east, ob.north
		along := func(first int) float64 { return e*p.x[first] + n*p.x[first+1] }
		d := p.displacement(ob)
		own, sheet := along(p.own[ob.record].first), along(p.own[ob.record].parent)
		sh.Readings++
		sh.RawM += ob.value
		sh.SheetM += sheet
		sh.OwnM += own - sheet
		sh.LocalM += d - own
		session, source, bias := along(p.u.sessions+2*ob.session), along(p.u.sources+2*ob.source), ob.sign*p.x[p.u.bias+ob.bias]
		sh.SessionM += session
		sh.SourceM += source
		sh.BiasM += bias
		sh.NoiseM += ob.value - d - session - source - bias

		c, g := p.u.sessions+2*ob.session, p.u.sources+2*ob.source
		quad := func(a, b int) float64 {
			return e*e*at(a, b) + e*n*(at(a, b+1)+at(a+1, b)) + n*n*at(a+1, b+1)
		}
		position := quad(c, c) + quad(g, g) + 2*quad(c, g)
		positions[ob.record] += position
		common := position + inv.Variance(p.u.bias+ob.bias)
		m.OffsetU[ob.trace][ob.reading] = float32(math.Sqrt(ob.sigma*ob.sigma + ob.wander*ob.wander + max(common, 0)))
	}
	for r := range m.Profiles {
		sh := &m.Profiles[r].Shares
		if sh.Readings == 0 {
			continue
		}
		n := float64(sh.Readings)
		for _, v := range []*float64{&sh.RawM, &sh.SheetM, &sh.OwnM, &sh.LocalM, &sh.SessionM, &sh.SourceM, &sh.BiasM, &sh.NoiseM} {
			*v /= n
		}
		sh.FieldU = math.Sqrt(max(positions[r]/n, 0))
	}
}

// displacement is n . d at a reading.
func (p *problem) displacement(ob *observation) float64 {
	nodes := p.n.records[ob.record].nodes
	a, b := 2*nodes[ob.node].point, 2*nodes[ob.node+1].point
	e := (1-ob.alpha)*p.x[a] + ob.alpha*p.x[b]
	n := (1-ob.alpha)*p.x[a+1] + ob.alpha*p.x[b+1]
	return e*ob.east + n*ob.north
}

// draw adds the joint draws of the surveyed records' offsets. Draw k has its own
// random stream, so that their number changes none of them.
func (p *problem) draw(m *survey.Model, f *estimate.Factor) {
	var surveyed []int
	for r := range m.Profiles {
		if m.Profiles[r].Shares.Readings > 0 {
			surveyed = append(surveyed, r)
			m.Profiles[r].Draws = make([][]float32, p.o.Draws)
		}
	}
	if len(surveyed) == 0 {
		return
	}
	z, x := make([]float64, p.u.n), make([]float64, p.u.n)
	for k := range p.o.Draws {
		rng := rand.New(rand.NewPCG(uint64(p.o.Seed), uint64(k)))
		for i := range z {
			z[i] = rng.NormFloat64()
		}
		f.Sample(z, x)
		for _, r := range surveyed {
			rn := &p.n.records[r]
			row := make([]float32, len(rn.nodes))
			for i := range rn.nodes {
				e, n := p.normalAt(rn, i)
				at := 2 * rn.nodes[i].point
				row[i] = float32(m.Profiles[r].Nodes[i].OffsetM + e*x[at] + n*x[at+1])
			}
			m.Profiles[r].Draws[k] = row
		}
	}
}

func (p *problem) fit() survey.Fit {
	f := survey.Fit{Unknowns: p.u.n, Iterations: p.iterations}
	sum := 0.0
	for i := range p.ev.obs {
		if ob := &p.ev.obs[i]; !ob.out {
			f.Readings++
			sum += ob.weight * ob.residual * ob.residual / (ob.sigma * ob.sigma)
		}
	}
	if f.Readings > 0 {
		f.VarianceFactor = sum / float64(f.Readings)
	}
	return f
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
