package adjust

import (
	"errors"
	"fmt"
	"math"

	"github.com/asfound/asfound/internal/estimate"
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
	last                        *estimate.Factor // its order serves again while no foot point has moved to another node
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
		q := prior{first: u.own + 2*n.rank[r], parent: u.whole, sigma: math.Hypot(o.OwnM, o.SheetM), nu: o.OwnNu, weight: 1}
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
	if err := p.eliminate(s.b); err != nil {
		return nil, nil, fmt.Errorf("the adjustment's equations cannot be solved: %w", err)
	}
	return p.last, s.rhs, nil
}

// eliminate factors the equations, in the order of the last time where their
// entries are where they were.
func (p *problem) eliminate(b *estimate.Builder) error {
	m, err := b.Matrix()
	if err != nil {
		return err
	}
	if p.last != nil {
		if err := p.last.RefactorMatrix(m); !errors.Is(err, estimate.ErrPattern) {
			return err
		}
	}
	p.last, err = m.Factor(estimate.Options{})
	return err
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
	r.add(p.u.own+2*p.n.rank[record]+axis, -1)
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
