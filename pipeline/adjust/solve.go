package adjust

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/parallel"
)

// maxIterations caps the reweighting. It stops where no displacement has moved by
// convergedM and no reading's weight by weightShare. A reading near a corner can
// fall on and off it in turn: from the iteration settleAfter one that is off stays
// off, and after twice as many every one stays on its edge.
//
// A round of matching and adjusting that goes on from the last one's solution has
// againIterations: what had not settled there goes on settling. So three rounds take
// 20 passes at most; 60 where each finds the frame under suspicion (suspectFrame),
// since it is solved once more then and the next begins anew. All of them, the
// limits of what counts as settled too, are practice.
const (
	maxIterations   = 10
	againIterations = 5
	convergedM      = 1e-3
	weightShare     = 0.02
	settleAfter     = 4
)

// problem is one adjustment under way.
type problem struct {
	n  *network
	ev *evidence
	o  Options // with the sizes as they are
	u  unknowns
	x  []float64 // estimate

	own, sheet, session, source []prior
	join                        []prior // a join's first point given its second
	mapM                        float64 // prior size of a shift of the whole map
	iterations, most            int     // done, and at most

	sharedPoint, sharedBias []bool
	sharedKnot              []bool
	cells                   []cell // by key of their record
	readCells, unreadCells  []*cell
	joint                   joint
	given                   Options // as they were configured
	sizes                   sizes   // of everything random, beside those in o
	next                    sizes   // as the next round takes them
	learnt                  int     // how often they were learnt from the data
	freed                   []freed // of each session, once the posterior is known
	atOnce                  int     // cells condensed before they are joined
}

func newProblem(n *network, ev *evidence, atOnce int, o Options) *problem {
	u := unknowns{}
	next := func(count, size int) int {
		at := u.n
		u.n += count * size
		return at
	}
	u.points = next(n.points, 2)
	u.own = next(len(n.records), 2)
	u.bias = next(ev.biases, 1)
	u.wander = next(len(ev.knots), 2)
	u.sheets = next(len(n.sheets), 2)
	u.sessions = next(len(ev.sessions), 2)
	u.sources = next(len(ev.sources), 2)
	u.whole = next(1, 2)
	p := &problem{n: n, ev: ev, o: o, u: u, x: make([]float64, u.n), mapM: o.MapM, atOnce: atOnce, most: maxIterations, given: o, sizes: sizesOf(n, ev, o)}
	for r := range n.records {
		q := prior{first: u.own + 2*n.rank[r], parent: u.whole, sigma: math.Hypot(o.OwnM, o.SheetM), nu: o.OwnNu, weight: unread(o.OwnNu), fixed: true}
		if k := n.records[r].sheet; k >= 0 {
			q.parent, q.sigma = u.sheets+2*k, o.OwnM
		}
		p.own = append(p.own, q)
	}
	for i := range ev.obs {
		q := &p.own[ev.obs[i].record]
		q.weight, q.fixed = 1, false
	}
	for i := range n.sheets {
		p.sheet = append(p.sheet, prior{first: u.sheets + 2*i, parent: u.whole, sigma: o.SheetM, nu: o.SheetNu, weight: 1})
	}
	for i := range ev.sessions {
		p.session = append(p.session, prior{first: u.sessions + 2*i, parent: u.sources + 2*ev.sessions[i].source, sigma: o.SessionM, nu: o.OwnNu, weight: 1})
	}
	for i, m := range ev.sourceM {
		sigma := math.Hypot(o.PositionsM, m)
		p.source = append(p.source, prior{first: u.sources + 2*i, parent: -1, sigma: sigma, nu: o.OwnNu, weight: 1})
	}
	for _, j := range n.joins {
		p.join = append(p.join, prior{first: 2 * j[0], parent: 2 * j[1], sigma: o.JoinM, nu: o.OwnNu, weight: 1})
	}
	p.prepare()
	return p
}

// run iterates until nothing moves: foot points on the displaced lines, robust
// weights, solution. Where nothing moves any more the equations stay as they are.
func (p *problem) run() error {
	p.unsettle()
	for p.iterations = 1; ; p.iterations++ {
		p.project()
		before := slices.Clone(p.x)
		if err := p.factor(1); err != nil {
			return fmt.Errorf("the adjustment's equations cannot be solved: %w", err)
		}
		if err := p.solve(roughShare); err != nil {
			return err
		}
		for i := range p.x {
			if math.IsNaN(p.x[i]) {
				return errors.New("the adjustment has no finite solution: report this with the input")
			}
		}
		p.settle(before)
		if p.learnt < len(learnPasses) && p.o.Sizes == SizesEstimated && (p.settled() || p.iterations == learnPasses[p.learnt]) {
			p.learnMidway()
			continue
		}
		if p.settled() || p.iterations == p.most {
			if p.joint.loose { // roughly solved so far
				return p.solve(lastShare)
			}
			return nil
		}
		if p.o.LocalNu > 0 && p.iterations%2 == 0 && p.iterations <= roughPasses {
			p.roughen()
		}
		p.reweight()
	}
}

// settle says which cells stand as they were: neither has the record moved nor
// has a weight changed since they were assembled by more than it takes.
func (p *problem) settle(before []float64) {
	p.eachRead(func(c *cell) {
		moved := 0.0
		for _, i := range c.index {
			if int(i) < p.u.bias || int(i) >= p.u.sheets {
				moved = max(moved, math.Abs(p.x[i]-before[i]))
			}
		}
		c.driftM += moved
		c.settled = c.driftM < convergedM
		p.residuals(c)
		for k := range c.obs {
			ob := &c.obs[k]
			w := estimate.StudentT(ob.residual/ob.sigma, p.o.Nu)
			c.settled = c.settled && math.Abs(w-ob.weight) <= weightShare*ob.weight
		}
	})
}

// residuals of a cell's readings at the estimate.
func (p *problem) residuals(c *cell) {
	for k := range c.obs {
		ob := &c.obs[k]
		r := c.row(ob)
		ob.residual = ob.value - p.predict(c, &r)
	}
}

func (p *problem) unsettle() {
	for _, c := range p.readCells {
		c.settled, c.driftM = false, 0
	}
}

func (p *problem) settled() bool {
	for _, c := range p.readCells {
		if !c.settled {
			return false
		}
	}
	return true
}

// reweight sets the Student-t weights from the estimate, where it still moves.
// The own shift of a record that nothing was read on keeps its own.
func (p *problem) reweight() {
	p.eachRead(func(c *cell) {
		if c.settled {
			return
		}
		c.driftM = 0
		p.weigh(c)
		p.own[c.record].reweight(p.x, c.ownVariance)
	})
	for _, priors := range [][]prior{p.sheet, p.session, p.source, p.join} {
		for i := range priors {
			priors[i].reweight(p.x, 0)
		}
	}
	p.reweightLeft()
}

// weigh sets the weights of a cell's readings from their residuals.
func (p *problem) weigh(c *cell) {
	for k := range c.obs {
		ob := &c.obs[k]
		ob.weight = estimate.StudentT(ob.residual/ob.sigma, p.o.Nu)
	}
}

// eachRead does something to every cell that was read, on all cores.
func (p *problem) eachRead(do func(*cell)) {
	parallel.Each(len(p.readCells), 0, func() func(int) {
		return func(i int) { do(p.readCells[i]) }
	})
}
