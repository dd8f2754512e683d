package match

import "math"

// chain is the hidden Markov model of one trace and the memory it works in,
// which is used again for the next trace.
//
// The states of a reading are its candidates and one more, unmapped. A weight
// between two states is the probability of that move times the density of the
// later reading's position given the earlier one's:
//
//   - On entry to a record the size of the offset is paid for, with Student's t
//     on sheet, own and local error and the reading's noise together.
//   - Along a record, or over a joint, only its change is: the offset given the
//     last one, whose covariance is the shared sheet's, the record's own and the
//     local error's that remains over the route (an Ornstein-Uhlenbeck process).
//     The sum over a trace is the density of the whole offset profile, so that
//     one shared offset is counted once, whatever the spacing of the readings.
//   - A line that is not on the map is any smooth line: its readings follow the
//     trace's own direction.
//
// So moves add up to 1 over their destinations and positions are densities per
// metre across the walk in every state, and what forward-backward returns are
// probabilities.
type chain struct {
	net *web
	o   Options
	ps  *priors

	humming string  // the utility whose lines carry a signal of their own
	utility utility // the trace's label, or what a passive trace without one follows
	session *shift
	obs     []observation
	cands   []candidate
	from    []int32   // len(obs)+1: where each reading's candidates begin
	weights []float64 // of all moves, reading after reading, row by row
	wFrom   []int
	fwd     []float64 // per state: forward, then the posterior
	back    []float64
	best    []float64
	arg     []int32 // per state: the state it is best reached from
	path    []int32 // per reading: the chosen state
	nearby  vicinity
	hits    []int32 // scratch: segments near a sample
	seen    []view  // scratch: the records along a sample

	beside []beside  // the records near the trace
	slot   []int32   // per record: its place in beside, and 1
	devs   []float64 // their offsets

	disturbed []disturbance // by what neighbours carry, per reading, after a first one that is nothing

	reached []int32   // scratch: records that a move may lead to
	leaps   []float64 // scratch: weights of moves by a leap
	fresh   []bool    // scratch: candidates that are the first of their record
	doors   [][]joint // scratch: per candidate, by which joints a route may come to it
}

// states of reading i: its candidates and unmapped, which is the last.
func (c *chain) states(i int) int             { return int(c.from[i+1]-c.from[i]) + 1 }
func (c *chain) stateFrom(i int) int          { return int(c.from[i]) + i }
func (c *chain) candidates(i int) []candidate { return c.cands[c.from[i]:c.from[i+1]] }

// solve fills the weights and runs Viterbi and forward-backward.
func (c *chain) solve() {
	n := len(c.obs)
	if n == 0 {
		return
	}
	total := c.stateFrom(n)
	c.fwd = grow(c.fwd, total)
	c.back = grow(c.back, total)
	c.best = grow(c.best, total)
	c.arg = grow(c.arg, total)
	c.path = grow(c.path, n)
	c.wFrom = grow(c.wFrom, n)
	c.weights = c.weights[:0]

	c.start()
	for i := 1; i < n; i++ {
		c.wFrom[i] = len(c.weights)
		k, m := c.states(i-1), c.states(i)
		at := len(c.weights)
		c.weights = grow(c.weights, at+k*m)
		c.moves(i, c.weights[at:])
		c.forward(i, c.weights[at:])
	}
	c.backward()
}

// forward steps Viterbi and the forward recursion to reading i, each scaled to
// a largest or total value of 1.
func (c *chain) forward(i int, w []float64) {
	k, m := c.states(i-1), c.states(i)
	p, q := c.stateFrom(i-1), c.stateFrom(i)
	fwd, best, arg := c.fwd[q:q+m], c.best[q:q+m], c.arg[q:q+m]
	for b := range fwd {
		fwd[b], best[b], arg[b] = 0, -1, 0
	}
	for a := range k {
		f, v := c.fwd[p+a], c.best[p+a]
		for b, x := range w[a*m : (a+1)*m] {
			fwd[b] += f * x
			if y := v * x; y > best[b] {
				best[b], arg[b] = y, int32(a)
			}
		}
	}
	sum, top := 0.0, 0.0
	for b := range fwd {
		sum += fwd[b]
		top = max(top, best[b])
	}
	scaleTo1(c.fwd[q:q+m], sum)
	scaleTo1(c.best[q:q+m], top)
}

// backward reads the best path off and turns the forward values into posterior
// probabilities.
func (c *chain) backward() {
	n := len(c.obs)
	last := c.stateFrom(n - 1)
	m := c.states(n - 1)
	c.path[n-1] = largest(c.best[last : last+m])
	for b := range m {
		c.back[last+b] = 1
	}
	for i := n - 1; i > 0; i-- {
		k, m := c.states(i-1), c.states(i)
		p, q := c.stateFrom(i-1), c.stateFrom(i)
		c.path[i-1] = c.arg[q+int(c.path[i])]
		w := c.weights[c.wFrom[i] : c.wFrom[i]+k*m]
		sum := 0.0
		for a := range k {
			x := 0.0
			for b := range m {
				x += w[a*m+b] * c.back[q+b]
			}
			c.back[p+a] = x
			sum += x
		}
		scaleTo1(c.back[p:p+k], sum)
	}
	for i := range n {
		q, m := c.stateFrom(i), c.states(i)
		sum := 0.0
		for b := range m {
			c.fwd[q+b] *= c.back[q+b]
			sum += c.fwd[q+b]
		}
		scaleTo1(c.fwd[q:q+m], sum)
	}
}

// posterior of a candidate's record at reading i: the sum over its places, and
// over those of its twins. A nil candidate stands for unmapped.
func (c *chain) posterior(i int, a *candidate) float64 {
	q, m := c.stateFrom(i), c.states(i)
	if a == nil {
		return c.fwd[q+m-1]
	}
	sum := 0.0
	cands := c.candidates(i)
	for b := range cands {
		if cands[b].rec == a.rec || c.twins(a, &cands[b]) {
			sum += c.fwd[q+b]
		}
	}
	return sum
}

// twinM is how far apart two records of one utility may be drawn and still show
// one line: two lines do not lie so close. Common practice, no source.
const twinM = 0.3

// twins says whether two candidates of one reading are on records that show the
// same line: an old drawing that nobody took off the map, say.
func (c *chain) twins(a, b *candidate) bool {
	cos := a.ux*b.ux + a.uy*b.uy
	if !a.square || !b.square || math.Abs(cos) < alongCos || c.net.records[a.rec].utility.foreign(c.net.records[b.rec].utility) {
		return false
	}
	return math.Abs((a.across-a.shift)-math.Copysign(1, cos)*(b.across-b.shift)) < twinM
}

func scaleTo1(v []float64, by float64) {
	if by <= 0 {
		return
	}
	for i := range v {
		v[i] /= by
	}
}

func largest(v []float64) int32 {
	at := 0
	for i := range v {
		if v[i] > v[at] {
			at = i
		}
	}
	return int32(at)
}

func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		t := make([]T, n, n+n/2)
		copy(t, s[:cap(s)])
		return t
	}
	return s[:n]
}
