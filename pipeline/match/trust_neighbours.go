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
// is known of it is a lognormal prior, updated by the separation where there is
// one. The mean square of k F is a further error of the reading; where it is
// more likely than not to be over distortedM, the reading is not to be trusted.

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
	couplingSpread    = 0.8 // of the logarithm

	distortedM    = 0.10 // a peak moved by this much is worth nothing to a map
	separatedM    = 0.04 // by how much two indications of a clean signal differ anyhow
	worthSayingM  = 0.03 // errors below are in the error budget
	nearestPairM  = 0.3  // lines on the map may cross; in the ground they keep apart
	parallelLines = 0.8  // cosine between lines whose fields add across the walk
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

// bleed is how far the neighbours of reading i's place move its peak, and what
// they part its null from it by, per unit of relative current; root sums of
// squares, since their currents are of unknown sign.
func (c *chain) bleed(i int, own *candidate, depth float64) (peak, apart float64) {
	cands := c.candidates(i)
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
		peak += f * f
		apart += g * g
	}
	return math.Sqrt(peak), math.Sqrt(apart)
}

// neighbours is the rule's opinion of reading i where it lies on the best path.
func (c *chain) neighbours(i int, r *survey.Reading) opinion {
	own := c.chosen(i)
	if own == nil || r.Mode != survey.ModeActive {
		return opinion{}
	}
	depth := r.DepthM
	if math.IsNaN(depth) {
		depth = c.o.DefaultDepthM
	}
	peak, apart := c.bleed(i, own, depth)
	usual := coupling(r)
	if peak*usual < worthSayingM/4 {
		return opinion{}
	}
	var total, square, over float64
	for z := -2.0; z <= 3; z += 0.5 { // the prior in steps of half a standard deviation
		k := usual * math.Exp(couplingSpread*z)
		w := math.Exp(-z * z / 2)
		if !math.IsNaN(r.SeparationM) {
			w *= folded(r.SeparationM, k*apart)
		}
		e := k * peak
		total += w
		square += w * e * e
		if e > distortedM {
			over += w
		}
	}
	if total <= 0 {
		return opinion{}
	}
	op := opinion{errorM: math.Sqrt(square / total)}
	if p := over / total; p > 0.5 {
		op.untrusted = true
		op.reason = fmt.Sprintf("neighbouring lines move this signal by over %.2f m with probability %.2f", distortedM, p)
	} else if op.errorM > worthSayingM {
		op.reason = fmt.Sprintf("neighbouring lines may move this signal by %.2f m", op.errorM)
	}
	return op
}

// folded is the weight of a separation, whose sign is not told, where s is
// expected.
func folded(separation, s float64) float64 {
	a, b := (separation-s)/separatedM, (separation+s)/separatedM
	return math.Exp(-a*a/2) + math.Exp(-b*b/2) + 1e-3 // there are other causes
}
