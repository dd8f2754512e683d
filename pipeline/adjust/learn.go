package adjust

import (
	"fmt"
	"math"
	"strconv"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// The sizes are estimated by restricted maximum likelihood, with the weights of
// the Student-t as they are (estimate.StepVariances: a step a time). That is done
// after the iterations of learnPasses of the first round, and at the end of every
// round for the next: with three rounds of matching and adjusting four times at
// most that count, and never again (a cap; practice).
//
// Where the data would tell apart fewer than leastSeen effects of a size, what is
// given stands; from enoughSeen on it has no say; in between both have. A size that
// comes below noneShare of what is given is none; the equations go on with so much,
// so that they stay regular. A record's own shift and its local error are never
// taken for less than leastOwn and leastLocal of what is given: drawings are also
// turned and stretched, and a vertex may lie off between two readings, of which the
// data on the others say nothing. All of these are practice.
const (
	leastSeen  = 4
	enoughSeen = 20
	noneShare  = 1.0 / 30
	leastOwn   = 2.0 / 3
	leastLocal = 2.0 / 3
)

var learnPasses = [...]int{3, 6}

// class is a kind of effect of one size.
type class int

const (
	ownShift class = iota // of a record beyond its sheet's
	sheetShift
	sessionError // beyond its source's
	sourceError
	walkBias
	classes
)

// tally adds up what the effects of a class say: squares of the estimates over their
// cofactors, what the covariances add to them, and how many there are; and how many
// of them the data tell apart from none.
type tally struct{ squares, trace, rank, seen float64 }

func (t *tally) add(u tally) {
	t.squares += u.squares
	t.trace += u.trace
	t.rank += u.rank
	t.seen += u.seen
}

// tallied is one component of an effect of size sigma: its estimate, variance and
// weight.
func tallied(value, variance, weight, sigma float64) tally {
	told := min(max(1-weight*variance/(sigma*sigma), 0), 1)
	return tally{weight * value * value, weight * variance, 1, told * told}
}

// both components of an effect.
func (q *prior) tallied(v survey.Vector) tally {
	t := tallied(v.East, v.EE, q.weight, q.sigma)
	t.add(tallied(v.North, v.NN, q.weight, q.sigma))
	return t
}

// heard is what one record's readings tell of the sizes.
type heard struct {
	pulls   [2]pull // of its own shift and of the biases of walks along it alone
	across  float64 // product of the two
	tallies [2]tally
	lengths [lengths]float64 // how likely each correlation length is: -2 log
}

// pull is the slope of a class's squares: its product with itself in the covariance
// of the record's own unknowns, and what is left for those it shares.
type pull struct {
	product float64
	left    []float64
}

// pulled is the classes' slopes in all unknowns: their products in the covariance,
// the lower triangle (estimate.StepVariances).
type pulled [classes][classes]float64

// pull asks every record of its slopes, and gathers those. The joint equations are
// factored, the cells condensed.
func (p *problem) pull(hs []heard) (out pulled) {
	parallel.Each(len(hs), 0, func() func(int) {
		return func(i int) { p.pullCell(&hs[i], p.readCells[i]) }
	})
	j := &p.joint
	var left [classes][]float64
	for k := range left {
		left[k] = make([]float64, len(j.unknown))
	}
	for i, c := range p.readCells {
		for k, of := range [2]class{ownShift, walkBias} {
			for q, v := range hs[i].pulls[k].left {
				left[of][j.place[c.index[c.inner+q]]] += v
			}
			out[of][of] += hs[i].pulls[k].product
		}
		out[walkBias][ownShift] += hs[i].across
	}
	add := func(of class, q *prior) {
		for axis := range 2 {
			v := q.weight * p.beyond(q, axis)
			left[of][int(j.place[q.first])+axis] += v
			if q.parent >= 0 {
				left[of][int(j.place[q.parent])+axis] -= v
			}
		}
	}
	p.eachShared(add)
	for i, shared := range p.sharedBias {
		if k := p.u.bias + i; shared && p.ev.compared[i] {
			left[walkBias][j.place[k]] += p.x[k]
		}
	}
	for k := range left {
		solved := j.f.Solve(left[k])
		for l := range k + 1 {
			for i, v := range solved {
				out[k][l] += float64(v * left[l][i])
			}
		}
	}
	return out
}

// eachShared goes over the sheets, sessions and sources that tell of their size.
func (p *problem) eachShared(use func(of class, q *prior)) {
	read := p.readSheets()
	for i := range p.sheet {
		if read[i] {
			use(sheetShift, &p.sheet[i])
		}
	}
	for i := range p.session {
		use(sessionError, &p.session[i])
	}
	for i := range p.source {
		if p.ev.sourceM[i] == 0 && !p.framed() {
			use(sourceError, &p.source[i])
		}
	}
}

// beyond is the estimate of a pair less its parent's.
func (p *problem) beyond(q *prior, axis int) float64 {
	v := p.x[q.first+axis]
	if q.parent >= 0 {
		v -= p.x[q.parent+axis]
	}
	return v
}

func (p *problem) pullCell(h *heard, c *cell) {
	n := len(c.index)
	space := make([]float64, 4*n)
	own, bias := space[:n], space[n:2*n]
	if q := &p.own[c.record]; p.n.records[c.record].sheet >= 0 {
		for axis := range 2 {
			v := q.weight * p.beyond(q, axis)
			own[c.own+axis] += v
			own[c.parent+axis] -= v
		}
	}
	p.ownBiases(c, func(k int) { bias[k] = p.x[c.index[k]] })
	h.pulls[0].product = c.part.Contrast(own, space[2*n:3*n])
	h.pulls[1].product = c.part.Contrast(bias, space[3*n:])
	h.across = c.part.Inner(space[2*n:3*n], space[3*n:])
	h.pulls[0].left, h.pulls[1].left = own[c.inner:], bias[c.inner:]
}

// ownBiases goes over the biases of walks along the record alone, where it was
// walked again, by their numbers in the cell.
func (p *problem) ownBiases(c *cell, use func(k int)) {
	for k, g := range c.index[:c.inner] {
		if b := int(g) - p.u.bias; b >= 0 && int(g) < p.u.wander && p.ev.compared[b] {
			use(k)
		}
	}
}

// learnMidway makes the sizes what the iterations so far say.
func (p *problem) learnMidway() {
	j := &p.joint
	hs, ds := make([]heard, len(p.readCells)), make([]diagnosis, len(p.readCells))
	products := p.pull(hs)
	j.inv = j.f.InvertInPlace()
	parallel.Each(len(hs), 0, func() func(int) {
		return func(i int) {
			c := p.readCells[i]
			p.hearLengths(&hs[i], c, p.sharedRoot(c))
			inv := p.inverse(c)
			ds[i] = p.diagnose(c, inv, 1)
			p.hear(&hs[i], c, inv)
		}
	})
	p.resize(p.learn(hs, ds, &products, 1))
	j.inv = nil // the factor is used up
	p.learnt++
	p.reweight()
}

// hear asks a record of the size of its own shift and of its walks' biases, given
// its covariances.
func (p *problem) hear(h *heard, c *cell, inv *estimate.Inverse) {
	at := covariances(inv)
	if q := &p.own[c.record]; p.n.records[c.record].sheet >= 0 {
		i, j := c.own, c.parent
		h.tallies[0] = q.tallied(survey.Vector{
			East: p.beyond(q, 0), EE: at(i, i) + at(j, j) - 2*at(i, j),
			North: p.beyond(q, 1), NN: at(i+1, i+1) + at(j+1, j+1) - 2*at(i+1, j+1),
		})
	}
	p.ownBiases(c, func(k int) { h.tallies[1].add(tallied(p.x[c.index[k]], inv.Variance(k), 1, p.o.BiasM)) })
}

// learn is the sizes that the records heard and their readings' residuals, in the
// order of the cells, and the joint unknowns speak for. information is as in
// condense.
func (p *problem) learn(hs []heard, ds []diagnosis, products *pulled, information float64) sizes {
	z := p.sizes
	z.terms = nil
	var tallies [classes]tally
	for i := range hs {
		tallies[ownShift].add(hs[i].tallies[0])
		tallies[walkBias].add(hs[i].tallies[1])
	}
	p.eachShared(func(of class, q *prior) {
		if q.parent >= 0 {
			tallies[of].add(q.tallied(p.difference(q, p.joint.inv)))
		} else {
			tallies[of].add(q.tallied(p.jointVector(q.first, p.joint.inv)))
		}
	})
	for i, shared := range p.sharedBias {
		if k := p.u.bias + i; shared && p.ev.compared[i] {
			tallies[walkBias].add(tallied(p.x[k], p.joint.inv.Variance(int(p.joint.place[k])), 1, p.o.BiasM))
		}
	}
	if information != 1 { // forCovariance has lowered these weights
		tallies[ownShift].squares *= (p.o.OwnNu + 4) / (p.o.OwnNu + 2)
	}
	z.step(&p.given, &tallies, products)
	p.learnAccuracy(&z, ds)
	if p.given.LocalNu > 0 {
		p.learnLength(&z, hs)
		p.learnStrata(&z)
	}
	return z
}

// sizeOf is where the size of a class stands in the options, what it is called and
// the least of what is given that it is taken for.
func (o *Options) sizeOf(of class) (size *float64, name string, least float64) {
	switch of {
	case ownShift:
		return &o.OwnM, "a record's own shift, per axis (scale of a Student-t)", leastOwn
	case sheetShift:
		return &o.SheetM, "an ordinary sheet's shift, per axis (scale of a Student-t)", noneShare
	case sessionError:
		return &o.SessionM, "a session's error, per axis (scale of a Student-t)", noneShare
	case sourceError:
		return &o.PositionsM, "a source of positions' error, per axis, beside its operation's (scale of a Student-t)", noneShare
	}
	return &o.BiasM, "a trace's bias across the line", noneShare
}

// step takes the sizes of the classes one step to what they are.
func (z *sizes) step(given *Options, tallies *[classes]tally, products *pulled) {
	var cs []estimate.Component
	var of []class
	var known [][]float64
	for k := range classes {
		t, size := &tallies[k], z.raw[k]
		z.seen[k] = max(z.seen[k], t.seen)
		if t.rank == 0 || seen(z.seen[k]) == 0 {
			continue
		}
		row := []float64{}
		for _, l := range of {
			row = append(row, products[k][l])
		}
		known = append(known, append(row, products[k][k]))
		of = append(of, k)
		cs = append(cs, estimate.Component{Variance: size * size, Rank: t.rank, Quad: t.squares, Trace: t.trace})
	}
	next, err := estimate.StepVariances(cs, known)
	if err != nil {
		return // the sizes stay as they are
	}
	for i, k := range of {
		z.take(given, k, math.Sqrt(next[i]), cs[i].Variance*math.Sqrt(2/tallies[k].seen))
	}
}

// take sets the size of a class, and tells of it; varianceU is the standard
// deviation of its variance.
func (z *sizes) take(given *Options, of class, raw, varianceU float64) {
	was, name, least := given.sizeOf(of)
	to, _, _ := z.o.sizeOf(of)
	share := seen(z.seen[of])
	value := math.Sqrt(share*raw*raw + (1-share)**was**was)
	*to = max(value, least**was)
	z.raw[of] = max(raw, least**was)
	u := math.Sqrt(varianceU)
	if value > u/2 {
		u = varianceU / (2 * value)
	}
	u = max(share*u, (1-share)**was) // of what is given nothing is known
	source := fmt.Sprintf("this job's data, worth %.0f such errors seen as they are; %g m were given", z.seen[of], *was)
	if of == walkBias {
		source = "lines that were walked again: " + source
	}
	if value < *to {
		source += fmt.Sprintf(", and no less than %.3g m is worked with", *to)
	}
	if value <= noneShare**was {
		value = 0
	}
	z.tell(name, "m", value, u, source)
}

// seen is the say of the data that show so many effects.
func seen(count float64) float64 {
	return min(max((count-leastSeen)/(enoughSeen-leastSeen), 0), 1)
}

func (z *sizes) tell(name, unit string, value, u float64, source string) {
	z.terms = append(z.terms, survey.Term{Name: name + ", as estimated", Unit: unit, Value: rounded(value), U: rounded(u), Source: source})
}

// rounded to three digits.
func rounded(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	return r
}
