package rank

import "math"

// bins are the directions across a line that a sheet's stretches are counted by.
const bins = 8

// learned is what is known of a sheet's shift after the stretches picked so far, and
// what else of it waits to be settled.
type learned struct {
	info    matrix
	off     [bins]float64 // by direction: weighted metres that settling it brings within the limit
	settled [bins]float64 // and the probability that it is settled that way
	version int32
}

// leastM is what rounding may leave of a length that is taken off.
const leastM = 1e-6

// settle finds how likely the shift is known to settledM in every direction.
func (l *learned) settle(settledM float64) {
	cov, _ := l.info.inverse()
	for b := range bins {
		l.settled[b] = settledAlong(cov, b, settledM)
	}
}

// settledAlong is the probability that a shift of a covariance is known to settledM
// in a direction: normal, to both sides.
func settledAlong(cov matrix, bin int, settledM float64) float64 {
	return math.Erf(settledM / math.Sqrt(2*max(cov.along(directions[bin][0], directions[bin][1]), 1e-12)))
}

var directions = func() (out [bins][2]float64) {
	for b := range out {
		sin, cos := math.Sincos((float64(b) + 0.5) * math.Pi / bins)
		out[b] = [2]float64{cos, sin}
	}
	return out
}()

// bin is the direction of a leg's normal, either way.
func (l *leg) bin() int {
	a := math.Atan2(l.north, l.east)
	if a < 0 {
		a += math.Pi
	}
	return min(int(a/math.Pi*bins), bins-1)
}

// picker picks stretches one after the other.
type picker struct {
	o      *Options
	all    []stretch
	sheets []learned
	ownM   float64
}

func newPicker(all []stretch, sh *sheets, k *knowledge, o *Options) *picker {
	p := &picker{o: o, all: all, sheets: make([]learned, len(sh.all)), ownM: k.ownM}
	for i := range all {
		if c := &all[i]; c.sheet >= 0 {
			c.count(&p.sheets[c.sheet], 1)
		}
	}
	for i := range p.sheets {
		p.sheets[i].info = sh.all[i].info
		p.sheets[i].settle(o.SettledM)
	}
	return p
}

// count adds what a stretch leaves to be settled to its sheet's, or takes it off.
func (c *stretch) count(l *learned, sign float64) {
	for i := range c.legs {
		g := &c.legs[i]
		l.off[g.bin()] += sign * c.weight * g.offM
	}
}

// tells is the information of a stretch on its sheet.
func (p *picker) tells(c *stretch) (m matrix) {
	if !math.IsNaN(c.ownM) {
		return m // its record has told already
	}
	for i := range c.legs {
		g := &c.legs[i]
		m = m.plus(g.lengthM/c.lengthM()/(p.ownM*p.ownM), matrix{g.east * g.east, g.east * g.north, g.north * g.north})
	}
	return m
}

// gain is the weighted length that surveying a stretch is expected to resolve: its own
// that is wrong and not settled yet, and what it settles of its sheet's.
func (p *picker) gain(c *stretch, sheets func(int) *learned) (own, others float64) {
	if c.sheet < 0 {
		for i := range c.legs {
			own += c.weight * c.legs[i].wrongM
		}
		return own, 0
	}
	l := sheets(c.sheet)
	rest := l.off
	for i := range c.legs {
		g := &c.legs[i]
		b := g.bin()
		own += c.weight * (g.wrongM - g.offM*l.settled[b])
		rest[b] -= c.weight * g.offM
	}
	tells := p.tells(c)
	if tells.trace() == 0 {
		return own, 0
	}
	cov, _ := l.info.plus(1, tells).inverse()
	for b := range bins {
		if rest[b] > leastM {
			others += (settledAlong(cov, b, p.o.SettledM) - l.settled[b]) * rest[b]
		}
	}
	return own, others
}

// take updates a sheet with a stretch that is to be surveyed.
func (p *picker) take(c *stretch, l *learned) {
	c.count(l, -1)
	l.info = l.info.plus(1, p.tells(c))
	l.settle(p.o.SettledM)
	l.version++
}

// cost is the money for a stretch beside the mobilisation.
func (p *picker) cost(c *stretch) float64 { return p.o.PerKm * c.lengthM() / 1000 }
