package adjust

import (
	"errors"
	"fmt"
	"math"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/paulmach/orb"
)

// maxIterations caps the reweighting; convergedM is the change of any
// displacement below which it stops. A reading near a corner can fall on and off
// it in turn: from the iteration settleAfter one that is off stays off.
const (
	maxIterations = 12
	convergedM    = 1e-3
	settleAfter   = 4
)

// problem is one adjustment under way.
type problem struct {
	n  *network
	ev *evidence
	o  Options
	u  unknowns
	x  []float64 // estimate

	own, sheet, session, source []prior
	mapM                        float64 // prior size of a shift of the whole map
	iterations                  int
	builder                     *estimate.Builder
}

func newProblem(n *network, ev *evidence, o Options) *problem {
	u := unknowns{}
	next := func(count, size int) int {
		at := u.n
		u.n += count * size
		return at
	}
	u.points = next(n.points, 2)
	u.own = next(len(n.records), 2)
	u.bias = next(len(ev.biases), 1)
	u.wander = next(len(ev.knots), 2)
	u.sheets = next(len(n.sheets), 2)
	u.sessions = next(len(ev.sessions), 2)
	u.sources = next(len(ev.sources), 2)
	u.whole = next(1, 2)
	p := &problem{n: n, ev: ev, o: o, u: u, x: make([]float64, u.n), mapM: o.MapM, builder: estimate.NewBuilder(u.n)}
	for r := range n.records {
		q := prior{first: u.own + 2*r, parent: u.whole, sigma: math.Hypot(o.OwnM, o.SheetM), nu: o.OwnNu, weight: 1}
		if k := n.records[r].sheet; k >= 0 {
			q.parent, q.sigma = u.sheets+2*k, o.OwnM
		}
		p.own = append(p.own, q)
	}
	// Student-t has a minimum wherever one unknown carries a difference that
	// another could: from a start that lets sheets, sessions and sources all be
	// far off, the likeliest carrier wins.
	for i := range n.sheets {
		p.sheet = append(p.sheet, prior{u.sheets + 2*i, u.whole, o.SheetM, o.SheetNu, wide(o.SheetM)})
	}
	for i := range ev.sessions {
		p.session = append(p.session, prior{u.sessions + 2*i, -1, o.SessionM, o.OwnNu, wide(o.SessionM)})
	}
	for i, m := range ev.sourceM {
		sigma := math.Hypot(o.PositionsM, m)
		p.source = append(p.source, prior{u.sources + 2*i, -1, sigma, o.OwnNu, wide(sigma)})
	}
	return p
}

// prior is what is known beforehand of a pair of unknowns, beyond that of its
// parent (a record's of its sheet's, a sheet's of the whole map's; -1: zero): a
// Student-t of a scale and degrees of freedom, as a normal distribution with a
// weight.
type prior struct {
	first, parent     int
	sigma, nu, weight float64
}

func (q *prior) reweight(x []float64) {
	e, n := x[q.first], x[q.first+1]
	if q.parent >= 0 {
		e, n = e-x[q.parent], n-x[q.parent+1]
	}
	q.weight = estimate.StudentTVector((e*e+n*n)/(q.sigma*q.sigma), 2, q.nu)
}

// add adds the prior to the normal equations. The zeros keep pairs in the
// pattern of the inverse.
func (q *prior) add(s *system) {
	w := q.weight / (q.sigma * q.sigma)
	for axis := range 2 {
		var r row
		r.add(q.first+axis, 1)
		if q.parent >= 0 {
			r.add(q.parent+axis, -1)
		}
		s.observe(&r, 0, w)
	}
	s.b.Add(q.first, q.first+1, 0)
}

// startM is how far off anything may be at the start.
const startM = 0.5

func wide(sigma float64) float64 { return math.Min(1, sigma*sigma/(startM*startM)) }

// run iterates until nothing moves: foot points on the displaced lines, robust
// weights, solution.
func (p *problem) run() error {
	for p.iterations = 1; ; p.iterations++ {
		p.project()
		before := append([]float64(nil), p.x...)
		f, rhs, err := p.factor(1)
		if err != nil {
			return err
		}
		p.x = f.Solve(rhs)
		moved := 0.0
		for i := range p.x {
			if math.IsNaN(p.x[i]) {
				return errors.New("the adjustment has no finite solution: report this with the input")
			}
			moved = max(moved, math.Abs(p.x[i]-before[i]))
		}
		p.reweight()
		if moved < convergedM && p.iterations > 2 || p.iterations == maxIterations {
			return nil
		}
	}
}

// row is one linear form of the unknowns.
type row struct {
	idx  [16]int
	coef [16]float64
	n    int
}

func (r *row) add(idx int, coef float64) {
	r.idx[r.n], r.coef[r.n] = idx, coef
	r.n++
}

// system is the normal equations under construction.
type system struct {
	b   *estimate.Builder
	rhs []float64
}

// observe adds w (row . x - value)^2.
func (s *system) observe(r *row, value, w float64) {
	for i := range r.n {
		s.rhs[r.idx[i]] += w * r.coef[i] * value
	}
	s.b.AddNormal(r.idx[:r.n], r.coef[:r.n], w)
}

// cross adds w (a . x)(b . x): the off-diagonal of an edge's precision, both
// orders together. Where a and b share an unknown its square takes both.
func (s *system) cross(a, b *row, w float64) {
	for i := range a.n {
		for j := range b.n {
			v := w * a.coef[i] * b.coef[j]
			if a.idx[i] == b.idx[j] {
				v *= 2
			}
			s.b.Add(a.idx[i], b.idx[j], v)
		}
	}
}

// factor assembles and factors the normal equations. information scales the
// readings' weights: 1 to solve, the Student-t's (nu+1)/(nu+3) for covariances,
// since weights frozen at the solution promise too much.
func (p *problem) factor(information float64) (*estimate.Factor, []float64, error) {
	p.builder.Reset()
	s := &system{p.builder, make([]float64, p.u.n)}
	p.addPriors(s)
	p.addEdges(s)
	for i := range p.ev.obs {
		ob := &p.ev.obs[i]
		if ob.out {
			continue
		}
		r := p.row(ob)
		s.observe(&r, ob.value, information*ob.weight/(ob.sigma*ob.sigma))
	}
	for i := range p.ev.checks {
		c := &p.ev.checks[i]
		for axis, v := range [2]float64{c.east, c.north} {
			var r row
			r.add(p.u.sessions+2*c.session+axis, 1)
			r.add(p.u.sources+2*c.source+axis, 1)
			s.observe(&r, v, c.weight/(c.sigma*c.sigma))
		}
	}
	f, err := s.b.Factor(estimate.Options{})
	if err != nil {
		return nil, nil, fmt.Errorf("the adjustment's equations cannot be solved: %w", err)
	}
	return f, s.rhs, nil
}

func (p *problem) addPriors(s *system) {
	for _, priors := range [][]prior{p.own, p.sheet, p.session, p.source} {
		for i := range priors {
			priors[i].add(s)
		}
	}
	whole := prior{first: p.u.whole, parent: -1, sigma: p.mapM, weight: 1}
	whole.add(s)
	for i := range p.ev.biases {
		s.b.Add(p.u.bias+i, p.u.bias+i, 1/(p.o.BiasM*p.o.BiasM))
	}
	for i := range p.n.points {
		s.b.Add(2*i, 2*i+1, 0)
	}
}

// local is the row of x = d - m - h at a point of a record: the record's unknown
// is m + h, so that edges touch nothing that is common to many.
func (p *problem) local(point, record, axis int) (r row) {
	r.add(p.u.points+2*point+axis, 1)
	r.add(p.u.own+2*record+axis, -1)
	return r
}

func (p *problem) addEdges(s *system) {
	for _, e := range p.n.edges {
		diag, off := estimate.OUEdge(e.lengthM, p.o.LambdaM, p.o.LocalM)
		for axis := range 2 {
			a, b := p.local(e.a, e.record, axis), p.local(e.b, e.record, axis)
			s.observe(&a, 0, diag)
			s.observe(&b, 0, diag)
			s.cross(&a, &b, off)
		}
	}
	half := estimate.OUEnd(p.o.LocalM)
	for _, e := range p.n.ends {
		for axis := range 2 {
			a := p.local(e.point, e.record, axis)
			s.observe(&a, 0, half)
		}
	}
	p.addWander(s)
	for _, j := range p.n.joins {
		for axis := range 2 {
			var r row
			r.add(2*j[0]+axis, 1)
			r.add(2*j[1]+axis, -1)
			s.observe(&r, 0, 1/(p.o.JoinM*p.o.JoinM))
		}
	}
}

// addWander ties the knots of a session in time: an Ornstein-Uhlenbeck process of
// unit variance per axis, which every reading scales by its own accuracy.
func (p *problem) addWander(s *system) {
	k := p.ev.knots
	tied := func(a, b int) bool { return a >= 0 && b < len(k) && k[a].session == k[b].session }
	for i := range k {
		if !tied(i-1, i) {
			p.endWander(s, i)
		}
		if !tied(i, i+1) {
			p.endWander(s, i)
			continue
		}
		diag, off := estimate.OUEdge(k[i+1].timeS-k[i].timeS, p.o.WanderS, 1)
		for axis := range 2 {
			a, b := p.u.wander+2*i+axis, p.u.wander+2*(i+1)+axis
			s.b.Add(a, a, diag)
			s.b.Add(b, b, diag)
			s.b.Add(a, b, off)
		}
	}
}

func (p *problem) endWander(s *system, i int) {
	for axis := range 2 {
		s.b.Add(p.u.wander+2*i+axis, p.u.wander+2*i+axis, estimate.OUEnd(1))
	}
}

// row is the linear form of one reading.
func (p *problem) row(ob *observation) (r row) {
	nodes := p.n.records[ob.record].nodes
	normal := [2]float64{ob.east, ob.north}
	for axis, c := range normal {
		a, b := nodes[ob.node].point, nodes[ob.node+1].point
		if a == b {
			r.add(2*a+axis, c)
		} else {
			r.add(2*a+axis, c*(1-ob.alpha))
			r.add(2*b+axis, c*ob.alpha)
		}
		r.add(p.u.sessions+2*ob.session+axis, c)
		r.add(p.u.sources+2*ob.source+axis, c)
		if ob.wander > 0 {
			r.add(p.u.wander+2*ob.knot+axis, c*ob.wander*(1-ob.knotAlpha))
			r.add(p.u.wander+2*(ob.knot+1)+axis, c*ob.wander*ob.knotAlpha)
		}
	}
	r.add(p.u.bias+ob.bias, ob.sign)
	return r
}

// predict is the linear form at the estimate.
func (p *problem) predict(r *row) (v float64) {
	for i := range r.n {
		v += r.coef[i] * p.x[r.idx[i]]
	}
	return v
}

// reweight sets the Student-t weights from the estimate.
func (p *problem) reweight() {
	for i := range p.ev.obs {
		ob := &p.ev.obs[i]
		r := p.row(ob)
		ob.residual = ob.value - p.predict(&r)
		ob.weight = estimate.StudentT(ob.residual/ob.sigma, p.o.Nu)
	}
	for _, priors := range [][]prior{p.own, p.sheet, p.session, p.source} {
		for i := range priors {
			priors[i].reweight(p.x)
		}
	}
}

// cornerCos is the cosine of the turn beyond which a vertex is a corner: a
// reading that projects on it says nothing across either side.
var cornerCos = math.Cos(15 * math.Pi / 180)

// project renews every foot point on its displaced line.
func (p *problem) project() {
	for i := range p.ev.obs {
		ob := &p.ev.obs[i]
		off := ob.out && p.iterations > settleAfter
		p.projectOne(ob)
		ob.out = ob.out || off
	}
}

func (p *problem) projectOne(ob *observation) {
	rn := &p.n.records[ob.record]
	fe := p.x[p.u.sessions+2*ob.session] + p.x[p.u.sources+2*ob.source]
	fn := p.x[p.u.sessions+2*ob.session+1] + p.x[p.u.sources+2*ob.source+1]
	fx, fy := rn.axes.grid(fe, fn)
	at := orb.Point{ob.point[0] - fx, ob.point[1] - fy}

	best, bestAlpha, bestDist := -1, 0.0, math.Inf(1)
	a := p.displaced(rn, 0)
	for k := 0; k+1 < len(rn.nodes); k++ {
		b := p.displaced(rn, k+1)
		if rn.nodes[k].part == rn.nodes[k+1].part {
			dx, dy := b[0]-a[0], b[1]-a[1]
			t := 0.0
			if l := dx*dx + dy*dy; l > 0 {
				t = min(max(((at[0]-a[0])*dx+(at[1]-a[1])*dy)/l, 0), 1)
			}
			if d := math.Hypot(at[0]-a[0]-t*dx, at[1]-a[1]-t*dy); d < bestDist {
				best, bestAlpha, bestDist = k, t, d
			}
		}
		a = b
	}
	ob.out = best < 0
	if ob.out {
		return
	}
	na, nb := &rn.nodes[best], &rn.nodes[best+1]
	station := na.stationM + bestAlpha*(nb.stationM-na.stationM)
	segment := segmentBetween(na, nb)
	ob.node, ob.alpha, ob.segment = best, bestAlpha, segment
	ob.east, ob.north = rn.axes.right(&rn.line, na.part, segment)
	foot := rn.line.AtPart(na.part, segment, station)
	e, n := rn.axes.ground(ob.point[0]-foot[0], ob.point[1]-foot[1])
	ob.value = e*ob.east + n*ob.north
	ob.out = (bestAlpha == 0 && p.corner(rn, best, at)) || (bestAlpha == 1 && p.corner(rn, best+1, at))
}

// segmentBetween is the segment of the part on which two neighbouring nodes lie.
func segmentBetween(a, b *node) int {
	if a.vertex >= 0 {
		return a.vertex
	}
	if b.vertex >= 0 {
		return b.vertex - 1
	}
	return a.segment
}

// corner says whether a node is the part's end with the reading beyond it, or a
// sharp bend.
func (p *problem) corner(rn *recordNet, k int, at orb.Point) bool {
	nd := &rn.nodes[k]
	if nd.vertex < 0 {
		return false
	}
	if nd.vertex == 0 || nd.vertex == len(rn.line.Parts[nd.part])-1 {
		here := p.displaced(rn, k)
		d := rn.line.Direction(nd.part, min(nd.vertex, len(rn.line.Parts[nd.part])-2))
		return math.Abs((at[0]-here[0])*d[0]+(at[1]-here[1])*d[1]) > 0.01
	}
	a, b := rn.line.Direction(nd.part, nd.vertex-1), rn.line.Direction(nd.part, nd.vertex)
	return a[0]*b[0]+a[1]*b[1] < cornerCos
}

// displaced is a node moved by its present estimate, on the plane.
func (p *problem) displaced(rn *recordNet, k int) orb.Point {
	nd := &rn.nodes[k]
	at := rn.line.AtPart(nd.part, nd.segment, nd.stationM)
	x, y := rn.axes.grid(p.x[2*nd.point], p.x[2*nd.point+1])
	return orb.Point{at[0] + x, at[1] + y}
}
