package match

import "math"

// Where a record ends on the map, the line may have ended a little earlier, or
// go on a little: an end is as uncertain along its line as the line is across.
// So passing an end, or a joint, is a matter of probability too, and the moves
// at one add up to 1 wherever the readings fall.

// passed is the probability that a place of the map has been passed by a walk
// that is x beyond it: the distribution function of Student's t with 4 degrees
// of freedom, 1/2 + 3/4 u - 1/4 u^3 with u = x / sqrt(x^2 + 4 variance), which
// needs no transcendental function.
func passed(x, variance float64) float64 {
	u := x / math.Sqrt(x*x+4*variance)
	return 0.5 + u*(3-u*u)/4
}

// passes is the probability that it is passed between x and y, if it was not at
// x.
func passes(x, y, varianceX, varianceY float64) float64 {
	before := passed(x, varianceX)
	return max(passed(y, varianceY)-before, 0) / (1 - before)
}

// farM is how far within a record its ends do not matter.
const farM = 6

// pastEnd is how far a candidate is beyond the end of its part that lies ahead
// (or behind, for forward false), where the line itself should end; negative
// within.
func (c *chain) pastEnd(a *candidate, forward bool) float64 {
	p := &c.net.parts[c.net.segs[a.seg].of]
	switch {
	case p.closed:
		return math.Inf(-1)
	case forward:
		return a.virtual - p.to - a.alongShift
	}
	return p.from - a.virtual + a.alongShift
}

// covers is the probability that a candidate's record reaches to where it is.
func (c *chain) covers(a *candidate) float64 {
	w := 1.0
	for _, forward := range [2]bool{false, true} {
		if x := c.pastEnd(a, forward); x > -farM {
			w *= 1 - passed(x, a.spread)
		}
	}
	return w
}

// staysOn is the probability that a walk from a to z on one record does not pass
// its end.
func (c *chain) staysOn(a, z *candidate) float64 {
	forward := z.virtual >= a.virtual
	x, y := c.pastEnd(a, forward), c.pastEnd(z, forward)
	if y <= -farM {
		return 1
	}
	return 1 - passes(x, y, a.spread, z.spread)
}

// ends is the probability that a walk from a passes the end ahead within its
// next step, and what goes on there.
func (c *chain) ends(a *candidate, b, o *observation) (probability float64, on goingOn) {
	h := b.after
	if !h.known() {
		return 0, nothing
	}
	forward := h.x*a.ux+h.y*a.uy >= 0
	x := c.pastEnd(a, forward)
	if x+o.ground <= -farM {
		return 0, nothing
	}
	p := &c.net.parts[c.net.segs[a.seg].of]
	at := p.from
	if forward {
		at = p.to
	}
	return passes(x, x+o.ground, a.spread, a.spread), c.net.goesOn(a.rec, at)
}

// goingOn is what the map has past the end of a record.
type goingOn uint8

const (
	nothing  goingOn = iota
	branches         // records of its utility, none of them straight ahead
	straight         // one straight ahead
)

// goesOn says what goes on at the end of a record.
func (n *web) goesOn(rec int32, station float64) goingOn {
	on := nothing
	js := n.jointsFrom(rec, station-samePlaceM)
	for i := range js {
		switch j := &js[i]; {
		case j.here > station+samePlaceM:
			return on
		case !j.atEnd || math.Abs(j.here-station) >= samePlaceM:
		case j.straight:
			return straight
		default:
			on = branches
		}
	}
	return on
}

// turnsInto is the probability that a walk from a has come onto z's record by
// way of its joints.
func (c *chain) turnsInto(a, z *candidate, w *way) float64 {
	x := fromJoint(a, w.out)
	y := -fromJoint(z, w.enter)
	return passes(x, y, a.spread, z.spread)
}

// fromJoint is how far a candidate is past a joint of its record, on its way
// there: negative before it.
func fromJoint(a *candidate, station float64) float64 {
	switch ahead := station - a.station; {
	case math.Abs(ahead) >= samePlaceM:
		return -math.Abs(ahead) - math.Copysign(1, ahead)*a.alongShift
	case a.beyond > 0:
		return a.beyond - math.Copysign(1, a.virtual-a.station)*a.alongShift
	}
	return 0
}
