package match

import (
	"fmt"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// A signal on one line couples into its neighbours, and their currents move the
// peak off it. How much can only be said once the map has said which neighbours
// there are and how far away, so this rule alone comes after the matching.
//
// A neighbour at a distance D from a line of depth d, with relative current k,
// moves the peak by k F and the null from the peak by k G, to first order in k,
// from the fields of two long line currents at one depth:
//
//	F = D d^4 / (D^2 + d^2)^2        G = D^3 d^2 / (D^2 + d^2)^2
//
// k is not known; how large it usually is depends on hook-up and frequency. What
// is known of it is a lognormal prior with a tail, for stretches where a neighbour
// carries most, and what the readings around say: k hardly changes within a few
// metres, so their separations count together. The mean square of k F is a further
// error of the reading; where it is likely to be over distortedM, the reading is
// not to be trusted.
//
// What the two coils take for depth changes with k too: the ratio of their signals
// by k R of itself, coils s apart,
//
//	R = D^2 ((d+s)^2 - d^2) / ((D^2 + d^2) (D^2 + (d+s)^2))
//
// As evidence of k a line's own ups and downs hide that: on made-up towns it made
// this rule worse. For a cover it is the largest error.

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

	distortedM    = 0.10 // a peak moved by this much is worth nothing to a map
	separatedM    = 0.04 // by how much two indications of a clean signal differ anyhow
	worthSayingM  = 0.03 // errors below are in the error budget
	worthSaying   = 0.002
	mostCurrent   = 0.5  // relative current from which on the crew would be on the neighbour
	nearestPairM  = 0.3  // lines on the map may cross; in the ground they keep apart
	parallelLines = 0.8  // cosine between lines whose fields add across the walk
	togetherM     = 6    // readings this far before and after say something of the same k
	distrustFrom  = 0.58 // probability of that from which on a reading is distrusted
	otherCauses   = 0.1  // share of separations that have other causes
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

// The prior of k in steps of half a standard deviation.
const (
	magnitudes = 14
	lowest     = -2.0
)

// currents are log weights of the relative currents tried.
type currents [magnitudes]float64

// relative is k in step m.
func relative(m int, usual float64) float64 { return usual * timesUsual[m] }

// timesUsual are the steps.
var timesUsual = func() (k [magnitudes]float64) {
	for m := range k {
		z := lowest + 0.5*float64(m)
		k[m] = math.Exp(couplingSpread * z)
	}
	return k
}()

var usualCurrents = func() (w currents) {
	for m := range w {
		z := lowest + 0.5*float64(m)
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
	said  currents
}

// disturb fills in what every reading of the trace says of its neighbours'
// currents, one after the other added up.
func (c *chain) disturb(tr *survey.Trace) {
	c.disturbed = grow(c.disturbed, len(c.obs)+1)
	c.disturbed[0] = disturbance{}
	for i := range c.obs {
		r := &tr.Readings[c.obs[i].reading]
		from, d := &c.disturbed[i], &c.disturbed[i+1]
		*d = disturbance{along: from.along + c.obs[i].ground, said: from.said}
		own := c.chosen(i)
		if own == nil || r.Mode != survey.ModeActive {
			continue
		}
		depth := r.DepthM
		if math.IsNaN(depth) {
			depth = c.o.DefaultDepthM
		}
		var apart float64
		d.peak, apart, d.ratio = c.bleed(i, own, depth)
		d.usual = coupling(r)
		if d.peak*d.usual < worthSayingM/4 && d.ratio*d.usual < worthSaying {
			d.usual = 0
			continue
		}
		d.hear(r, apart)
	}
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

// bleed is how far the neighbours of reading i's place move its peak, what they
// part its null from it by, and what they change the ratio of its coils' signals
// by, per unit of relative current; root sums of squares, since their currents are
// of unknown sign.
func (c *chain) bleed(i int, own *candidate, depth float64) (peak, apart, ratio float64) {
	cands := c.candidates(i)
	upper := depth + c.o.DepthCoilsM
	for j := range cands {
		a := &cands[j]
		cos := a.ux*own.ux + a.uy*own.uy
		if a.rec == own.rec || c.net.records[a.rec].noSignal || a.beyond > 0 || math.Abs(cos) < parallelLines {
			continue
		}
		away := (a.across-a.shift)*math.Copysign(1, cos) - (own.across - own.shift)
		d, d2 := max(math.Abs(away), nearestPairM), depth*depth
		s := d*d + d2
		f, g := d*d2*d2/(s*s), d*d*d*d2/(s*s)
		q := d * d * (upper*upper - d2) / (s * (d*d + upper*upper))
		peak += f * f
		apart += g * g
		ratio += q * q
	}
	return math.Sqrt(peak), math.Sqrt(apart), math.Sqrt(ratio)
}

// neighbours is the rule's opinion of reading i where it lies on the best path.
func (c *chain) neighbours(i int) opinion {
	d := &c.disturbed[i+1]
	if d.usual == 0 {
		return opinion{}
	}
	from, to := i, i+1 // what is said between is what counts together
	for from > 0 && d.along-c.disturbed[from].along < togetherM && c.disturbed[from].usual == d.usual {
		from--
	}
	for to < len(c.obs) && c.disturbed[to+1].along-d.along < togetherM && c.disturbed[to+1].usual == d.usual {
		to++
	}
	var total, square, capped, over float64
	w := usualCurrents
	top := math.Inf(-1)
	for m := range w {
		w[m] += c.disturbed[to].said[m] - c.disturbed[from].said[m]
		top = max(top, w[m])
	}
	for m := range w {
		p := math.Exp(w[m] - top)
		k := relative(m, d.usual)
		e := k * d.peak
		total += p
		square += p * e * e
		capped += p * min(k, mostCurrent) * min(k, mostCurrent)
		over += p * min(max(0.5+math.Log(e/distortedM)/(0.5*couplingSpread), 0), 1) // a step is wide
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

// lostNats is how much smaller a term must be to be lost in the rounding of a sum.
const lostNats = 40

// folded is the weight of a separation, whose sign is not told, where s is
// expected, 1 at most.
func folded(separation, s float64) float64 {
	a, b := (separation-s)/separatedM, (separation+s)/separatedM
	near, far := min(a*a, b*b)/2, max(a*a, b*b)/2
	if far-near > lostNats {
		return min(math.Exp(-near), 1)
	}
	return min(math.Exp(-a*a/2)+math.Exp(-b*b/2), 1)
}
