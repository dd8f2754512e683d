package match

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// observation is one reading as the chain sees it.
type observation struct {
	reading   int
	p         orb.Point
	noise     float64 // variance across the line, ground m^2
	white     float64 // the part of it that is new with every reading
	kept      float64 // share of the rest that is the same as at the reading before
	ground    float64 // distance from the reading before, ground metres
	bend      float64 // how far the reading lies beside the walk's own direction, ground metres
	before    heading // of the walk towards here
	after     heading // of the walk from here
	signal    stepped // from the reading before
	foreign   float64 // factor on the odds of another utility than the label
	anyRecord bool    // the position source is in the pipe: a record need carry no signal
}

// heading is a unit direction in grid axes; 0, 0 where it is not known.
type heading struct{ x, y float64 }

func (h heading) known() bool { return h.x != 0 || h.y != 0 }

// minGroundM keeps directions and densities finite where a crew reads twice in
// one place.
const minGroundM = 0.05

// observe fills the observations and their candidates from a trace.
func (c *chain) observe(tr *survey.Trace, session int32, trust []trust) {
	c.forget()
	c.obs, c.cands, c.from = c.obs[:0], c.cands[:0], c.from[:0]
	label := tr.Utility
	if label == "" && allPassive(tr) {
		label = c.humming
	}
	c.utility = c.net.utility(label)
	c.session = &c.ps.sessions[session+1]
	for i := range tr.Readings {
		r := &tr.Readings[i]
		if r.Duplicate != nil || !placed(r) {
			continue
		}
		// Seen from where the session's positions should be.
		p := orb.Point{r.Point[0] - c.session.east, r.Point[1] - c.session.north}
		c.obs = append(c.obs, observation{
			reading: i, p: p, noise: noise(r, trust[i].inflate, &c.o), foreign: trust[i].foreign, signal: unstepped,
			anyRecord: r.Mode == survey.ModeSonde,
		})
		c.from = append(c.from, int32(len(c.cands)))
		c.cands = c.net.candidates(p, c.o.SearchRadiusM, &c.nearby, c.ps, c.cands)
	}
	c.from = append(c.from, int32(len(c.cands)))
	c.typify()
	c.walk(tr)
	for i := range c.obs {
		for j := range c.candidates(i) {
			c.weigh(&c.candidates(i)[j], &c.obs[i])
		}
	}
}

// placed says whether a reading has a position.
func placed(r *survey.Reading) bool {
	sum := r.Point[0] + r.Point[1]
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}

// weigh fills in what a candidate is worth by itself, whatever the walk came
// from.
func (c *chain) weigh(a *candidate, o *observation) {
	a.spread = a.sheetVar + c.session.variance(a.nEast, a.nNorth) + c.o.OwnM*c.o.OwnM + c.o.LocalM*c.o.LocalM + o.noise
	a.parallel = c.parallel(a, o)
	a.covers = c.covers(a)
	a.kind = c.kind(a.rec, o)
	switch a.kind {
	case kindForeign:
		a.attraction = min(c.o.ForeignJump*o.foreign, 1)
	case kindNoSignal:
		a.attraction = c.o.NoSignalShare
	default:
		a.attraction = 1
	}
}

// typify finds each record's typical offset beside the trace, less its known
// shift: the median where it runs beside, else the nearest beyond its ends.
func (c *chain) typify() {
	if c.slot == nil {
		c.slot = make([]int32, len(c.net.records))
	}
	c.beside = c.beside[:0]
	for j := range c.cands {
		a := &c.cands[j]
		if c.slot[a.rec] == 0 {
			c.beside = append(c.beside, beside{rec: a.rec, typical: math.Inf(1)})
			c.slot[a.rec] = int32(len(c.beside))
		}
		b := &c.beside[c.slot[a.rec]-1]
		if d := a.across - a.shift; a.beyond == 0 {
			b.count++
		} else if math.Abs(d) < math.Abs(b.typical) {
			b.typical = d
		}
	}
	at := int32(0)
	for i := range c.beside {
		c.beside[i].from = at
		at += c.beside[i].count
		c.beside[i].count = 0
	}
	c.devs = grow(c.devs, int(at))
	for j := range c.cands {
		a := &c.cands[j]
		if b := &c.beside[c.slot[a.rec]-1]; a.beyond == 0 {
			c.devs[b.from+b.count] = a.across - a.shift
			b.count++
		}
	}
	for i := range c.beside {
		b := &c.beside[i]
		if b.count > 0 {
			b.typical = median(c.devs[b.from : b.from+b.count])
		}
	}
}

// forget clears what typify has left for the next trace.
func (c *chain) forget() {
	for i := range c.beside {
		c.slot[c.beside[i].rec] = 0
	}
	c.beside = c.beside[:0]
}

// beside is a record near a trace.
type beside struct {
	rec         int32
	from, count int32 // its offsets in chain.devs
	typical     float64
}

func (c *chain) typical(rec int32) float64 { return c.beside[c.slot[rec]-1].typical }

// walk adds what a reading's neighbours say: distance, headings and steps.
func (c *chain) walk(tr *survey.Trace) {
	scale := c.scale()
	sc := c.scatters(tr)
	for i := range c.obs {
		c.head(i)
	}
	for i := 1; i < len(c.obs); i++ {
		b, o := &c.obs[i-1], &c.obs[i]
		o.ground = max(dist(b.p, o.p)/scale, minGroundM)
		o.bend = bend(b, o) / scale
		x, y := &tr.Readings[b.reading], &tr.Readings[o.reading]
		o.signal = steps(x, y, o.ground, sc, &c.o)
		o.kept = c.o.kept(x, y, o.ground)
	}
	c.whiten()
}

// chordM is how far the walk's headings look.
const chordM = 5

// head finds the headings of reading i: towards it from chordM before, and from
// it to chordM after, over at least one step.
func (c *chain) head(i int) {
	o := &c.obs[i]
	a, b := i, i
	for a > 0 && (a == i || dist(c.obs[a].p, o.p) < chordM) {
		a--
	}
	for b+1 < len(c.obs) && (b == i || dist(c.obs[b].p, o.p) < chordM) {
		b++
	}
	o.before, o.after = direction(c.obs[a].p, o.p), direction(o.p, c.obs[b].p)
}

// bend is how far a reading lies beside the heading of the walk before the step
// to it, or of the walk after it, whichever fits better: a sharp bend counts
// once, noise as on a record.
func bend(b, o *observation) float64 {
	dx, dy := o.p[0]-b.p[0], o.p[1]-b.p[1]
	best := math.Inf(1)
	for _, h := range [2]heading{b.before, o.after} {
		if h.known() {
			best = min(best, math.Abs(dx*h.y-dy*h.x))
		}
	}
	if math.IsInf(best, 1) {
		return 0
	}
	return best
}

// whiten parts the noise into what is new with every reading, which the trace
// itself shows in how it scatters about its own headings, and the rest, which
// stays for a while. A short trace shows little: typicalWhiteM counts like
// typicalSteps steps.
func (c *chain) whiten() {
	sum, n := 0.0, 0.0
	for i := 1; i < len(c.obs); i++ {
		// Differences beyond the usual are bends and jumps; what is left of a
		// normal distribution has 0.6 of its variance, roughly, and a step has
		// the noise of two readings.
		if d := c.obs[i].bend; d < usualStepM {
			sum += d * d / 2
			n++
		}
	}
	white := (sum + typicalSteps*typicalWhiteM*typicalWhiteM) / (n + typicalSteps)
	for i := range c.obs {
		c.obs[i].white = min(white, c.obs[i].noise)
	}
}

// What a trace's own scatter is taken for: common practice, no source.
const (
	usualStepM    = 0.15
	typicalWhiteM = 0.025
	typicalSteps  = 10
)

// scale is the plane's at the trace, of the first record near it.
func (c *chain) scale() float64 {
	if len(c.cands) == 0 {
		return 1
	}
	return c.net.records[c.cands[0].rec].scale
}

func dist(a, b orb.Point) float64 { return math.Hypot(b[0]-a[0], b[1]-a[1]) }

func direction(a, b orb.Point) heading {
	d := dist(a, b)
	if d == 0 {
		return heading{}
	}
	return heading{(b[0] - a[0]) / d, (b[1] - a[1]) / d}
}

// kept is the share of slow positioning noise that two readings have in common.
func (o *Options) kept(a, b *survey.Reading, groundM float64) float64 {
	seconds := groundM / walkMPerS
	if !a.Time.IsZero() && !b.Time.IsZero() {
		seconds = math.Abs(b.Time.Sub(a.Time).Seconds())
	}
	return math.Exp(-seconds / o.CorrelationS)
}

// walkMPerS is how fast a crew gets on where readings have no time: practice.
const walkMPerS = 0.3

// noise is the variance of a reading across the line: position, pole and
// locating, made larger by distrust.
func noise(r *survey.Reading, inflate float64, o *Options) float64 {
	sigma := r.SigmaM
	if math.IsNaN(sigma) {
		sigma = o.DefaultSigmaM
	}
	depth := r.DepthM
	if math.IsNaN(depth) {
		depth = o.DefaultDepthM
	}
	position := sigma * o.AccuracyFactor
	locate := math.Hypot(o.LocateMinM, o.LocateShare*depth)
	return (position*position + o.PoleM*o.PoleM + locate*locate) * inflate * inflate
}
