package match

import (
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
)

// A signal on one line couples into its neighbours, and their currents move the
// peak off it. How much can only be said once the map has said which neighbours
// there are and how far away, so this rule alone comes after the matching.
//
// A neighbour carries k times the line's own current and pulls as pull says. k is
// not known; how large it usually is depends on hook-up and frequency. What
// is known of it is a lognormal prior with a tail, for stretches where a neighbour
// carries most, and what the readings around say: k hardly changes within a few
// metres, so their separations count together. The mean square of what the peak is
// moved by is a further error of the reading; where it is likely to be over
// distortedM, the reading is not to be trusted. What two coils take for depth
// changes too (see pull): for a cover that is the largest error.
//
// What tells most is how deep the line is: a deep one beside a shallow one suffers
// most. As evidence of k, steps of depth and current hardly help: a line's own ups
// and downs, its branches, and a k that is the same all along the walk hide them.

// Coupling of a signal into a parallel line beside it: medians of the relative
// current, common practice in words (direct isolates better than a clamp, a clamp
// better than induction, high frequencies couple more), no source for the
// numbers.
const (
	couplingDirect    = 0.03
	couplingClamp     = 0.07
	couplingInduction = 0.15
	couplingUnknown   = 0.1
	couplingHighHz    = 10e3 // above it, times
	couplingHigh      = 1.5
	couplingSpread    = 0.8   // of the logarithm
	couplingTail      = 0.001 // weight of any larger current, beside 1 for the usual

	distortedM    = 0.10  // a peak moved by this much is worth nothing to a map
	separatedM    = 0.04  // by how much two indications of a clean signal differ anyhow
	separatedBy   = 0.5   // share by which an expected separation is uncertain, since it goes with the square of a distance known to a quarter
	worthSayingM  = 0.03  // errors below are in the error budget
	worthSaying   = 0.002 // of the ratio of the coils' signals, the same
	mostCurrent   = 0.5   // relative current from which on the crew would be on the neighbour
	nearestPairM  = 0.3   // lines on the map may cross; in the ground they keep apart
	parallelLines = 0.8   // cosine between lines whose fields add across the walk
	togetherM     = 6     // readings this far before and after say something of the same k, and of the same depth
	distrustFrom  = 0.73  // probability of that from which on a reading is distrusted
	otherCauses   = 0.1   // share of separations that have other causes
)

func coupling(r *survey.Reading) float64 {
	k := couplingUnknown
	switch r.Hookup {
	case survey.HookupDirect:
		k = couplingDirect
	case survey.HookupClamp:
		k = couplingClamp
	case survey.HookupInduction:
		k = couplingInduction
	}
	if r.FrequencyHz > couplingHighHz {
		k *= couplingHigh
	}
	return k
}

// The prior of k in steps, in standard deviations of its logarithm.
const (
	magnitudes = 14
	lowest     = -2.0
	stepOfK    = 0.5
)

// currents are log weights of the relative currents tried.
type currents [magnitudes]float64

// relative is k in step m.
func relative(m int, usual float64) float64 { return usual * timesUsual[m] }

// timesUsual are the steps.
var timesUsual = func() (k [magnitudes]float64) {
	for m := range k {
		z := lowest + stepOfK*float64(m)
		k[m] = math.Exp(couplingSpread * z)
	}
	return k
}()

var usualCurrents = func() (w currents) {
	for m := range w {
		z := lowest + stepOfK*float64(m)
		w[m] = math.Log(math.Exp(-z*z/2) + couplingTail)
	}
	return w
}()

// disturbance is what the neighbours of a reading's place do to it.
type disturbance struct {
	peak  float64 // moved, per unit of relative current
	ratio float64 // of the coils' signals, changed by this share of itself per unit of relative current
	usual float64 // relative current; 0: no neighbour to speak of
	along float64 // ground metres walked
	deep  float64 // depths read so far, added up
	deeps int     // and how many they are
	said  currents
}

// disturb fills in what every reading of the trace says of its neighbours'
// currents and of its line's depth, one after the other added up.
func (c *chain) disturb(tr *survey.Trace) {
	c.disturbed = grow(c.disturbed, len(c.obs)+1)
	c.disturbed[0] = disturbance{}
	for i := range c.obs {
		r := &tr.Readings[c.obs[i].reading]
		from, d := &c.disturbed[i], &c.disturbed[i+1]
		*d = disturbance{along: from.along + c.obs[i].ground, deep: from.deep, deeps: from.deeps}
		if r.Mode == survey.ModeActive && !math.IsNaN(r.DepthM) {
			d.deep, d.deeps = d.deep+r.DepthM, d.deeps+1
		}
	}
	for i := range c.obs {
		r := &tr.Readings[c.obs[i].reading]
		d := &c.disturbed[i+1]
		d.said = c.disturbed[i].said
		own := c.chosen(i)
		if own == nil || r.Mode != survey.ModeActive {
			continue
		}
		var apart float64
		d.peak, apart, d.ratio = c.bleed(i, own, c.depthAround(i))
		d.usual = coupling(r)
		if d.peak*d.usual < worthSayingM/4 && d.ratio*d.usual < worthSaying {
			d.usual = 0
			continue
		}
		d.hear(r, apart)
	}
}

// depthAround is how deep the line seems to lie about reading i: what moves a peak
// goes with the cube of it, and one depth by itself is what coils and neighbours
// make of it.
func (c *chain) depthAround(i int) float64 {
	from, to := c.together(i, func(*disturbance) bool { return true })
	if n := c.disturbed[to].deeps - c.disturbed[from].deeps; n > 0 {
		return (c.disturbed[to].deep - c.disturbed[from].deep) / float64(n)
	}
	return c.o.DefaultDepthM
}

// together are the readings within togetherM of reading i, as far as those between
// are alike too: what disturbed has at to less what it has at from is theirs.
func (c *chain) together(i int, alike func(*disturbance) bool) (from, to int) {
	d := &c.disturbed[i+1]
	from, to = i, i+1
	for from > 0 && d.along-c.disturbed[from].along < togetherM && alike(&c.disturbed[from]) {
		from--
	}
	for to < len(c.obs) && c.disturbed[to+1].along-d.along < togetherM && alike(&c.disturbed[to+1]) {
		to++
	}
	return from, to
}

// hear adds what a reading's separation says.
func (d *disturbance) hear(r *survey.Reading, apart float64) {
	if math.IsNaN(r.SeparationM) {
		return
	}
	for m := range d.said {
		d.said[m] += math.Log(otherCauses + (1-otherCauses)*folded(r.SeparationM, relative(m, d.usual)*apart))
	}
}

// bleed is the pull of all neighbours of reading i's place on a line of the given
// depth: root sums of squares, since their currents are of unknown sign. They lie
// as far off as the map has them from the reading itself, which shows better than
// the map where its own line is.
func (c *chain) bleed(i int, own *candidate, depth float64) (peak, apart, ratio float64) {
	cands := c.candidates(i)
	for j := range cands {
		a := &cands[j]
		cos := a.ux*own.ux + a.uy*own.uy
		if a.rec == own.rec || c.net.records[a.rec].noSignal || a.beyond > 0 || math.Abs(cos) < parallelLines {
			continue
		}
		f, g, q := pull(max(math.Abs(a.across-a.shift), nearestPairM), depth, c.deep(a.rec), c.o.DepthCoilsM)
		peak += f * f
		apart += g * g
		ratio += q * q
	}
	return math.Sqrt(peak), math.Sqrt(apart), math.Sqrt(ratio)
}

// deep is how deep the signal of a neighbour is taken to lie: recorded covers are
// wrong so often that what is usual counts as much.
func (c *chain) deep(rec int32) float64 {
	if d := c.net.records[rec].depth; d > 0 {
		return (d + c.o.DefaultDepthM) / 2
	}
	return c.o.DefaultDepthM
}

// signalDepth is how deep the map says that the current runs: in the middle of a
// pipe or cable, on top of it in a tracer wire. NaN where it has no cover.
func signalDepth(r *survey.Record) float64 {
	if r.Conductor == survey.ConductorWire || math.IsNaN(r.DiameterM) {
		return r.CoverM
	}
	return r.CoverM + r.DiameterM/2
}

// neighbours is the rule's opinion of reading i where it lies on the best path.
func (c *chain) neighbours(i int) opinion {
	d := &c.disturbed[i+1]
	if d.usual == 0 {
		return opinion{}
	}
	from, to := c.together(i, func(e *disturbance) bool { return e.usual == d.usual })
	var total, square, capped, over float64
	weights := c.disturbed[to].said.after(&c.disturbed[from].said)
	for m, p := range weights {
		k := relative(m, d.usual)
		e := k * d.peak
		total += p
		square += p * e * e
		capped += p * min(k, mostCurrent) * min(k, mostCurrent)
		over += p * shareOver(e)
	}
	op := opinion{errorM: math.Sqrt(square / total), ratio: math.Sqrt(capped/total) * d.ratio}
	if p := over / total; p > distrustFrom {
		op.untrusted = true
		op.reason = fmt.Sprintf("neighbouring lines move this signal by over %.2f m with probability %.2f", distortedM, p)
	} else if op.errorM > worthSayingM {
		op.reason = fmt.Sprintf("neighbouring lines may move this signal by %.2f m", op.errorM)
	}
	return op
}

// after are the weights of the currents by what was said from a place on, the
// largest 1.
func (w *currents) after(from *currents) currents {
	if *w == *from {
		return usualWeights // nothing was
	}
	v := usualCurrents
	for m := range v {
		v[m] += w[m] - from[m]
	}
	return v.weights()
}

// weights of the currents from their logarithms.
func (w currents) weights() currents {
	top := slices.Max(w[:])
	for m := range w {
		w[m] = math.Exp(w[m] - top)
	}
	return w
}

var usualWeights = usualCurrents.weights()

// shareOver is how much of a step of relative currents, in whose middle a peak is
// moved by a distance, moves it by more than distortedM: a step is wide.
func shareOver(movedM float64) float64 {
	switch x := movedM / distortedM; {
	case x < 0.8:
		return 0
	case x > 1.25:
		return 1
	default:
		return min(max(0.5+math.Log(x)/(stepOfK*couplingSpread), 0), 1)
	}
}

// lostNats is how much smaller a term must be to be lost in the rounding of a sum.
const lostNats = 40

// folded is the weight of a separation, whose sign is not told, where s is
// expected, give or take what it is uncertain by: 1 at most.
func folded(separation, s float64) float64 {
	sigma := math.Hypot(separatedM, separatedBy*s)
	a, b := (separation-s)/sigma, (separation+s)/sigma
	near, far := min(a*a, b*b)/2, max(a*a, b*b)/2
	p := math.Exp(-near)
	if far-near < lostNats {
		p += math.Exp(-far)
	}
	return min(p, 1) * separatedM / sigma
}
