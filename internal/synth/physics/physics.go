// Package physics gives the magnetic fields that a receiver meets over buried
// line currents and sondes, and what a receiver makes of them: where the peak
// and the null lie, how deep the source seems to be and how much current it
// seems to carry.
//
// Geometry: a vertical plane across the lines. X runs across the target line in
// metres, depth is positive down from the ground, height positive up. A line is
// long and straight against its depth, so that the law of Biot and Savart gives
// B = mu0 I / (2 pi r) around it; its part across the line, the one a horizontal
// coil picks up, goes as (d+h)/(x^2+(d+h)^2), its vertical part as
// x/(x^2+(d+h)^2). Currents of one signal are in phase or in opposition, so
// fields add with their sign.
package physics

import "math"

// Mu0 is the magnetic constant in T m/A (CODATA 2018; 4 pi 1e-7 to 5e-10).
const Mu0 = 1.25663706212e-6

// Line is one long line current.
type Line struct {
	X, Depth float64 // metres
	Current  float64 // amperes; the sign is its phase against the target's
}

// Across is the field in tesla that a horizontal coil across the lines picks up
// at cross position x and a height above the ground.
func Across(lines []Line, x, height float64) float64 {
	sum := 0.0
	for _, l := range lines {
		dx, d := x-l.X, l.Depth+height
		sum += l.Current * d / (dx*dx + d*d)
	}
	return Mu0 / (2 * math.Pi) * sum
}

// Upright is the field in tesla that a vertical coil picks up: 0 right over a
// single line.
func Upright(lines []Line, x, height float64) float64 {
	sum := 0.0
	for _, l := range lines {
		dx, d := x-l.X, l.Depth+height
		sum += l.Current * dx / (dx*dx + d*d)
	}
	return Mu0 / (2 * math.Pi) * sum
}

// Peak climbs from x to the nearest local maximum of the strength that a
// horizontal coil at the given height picks up. It gives up at a distance of
// reach and returns the place it got to and false.
func Peak(lines []Line, x, height, reach float64) (float64, bool) {
	if len(lines) == 1 {
		return lines[0].X, math.Abs(lines[0].X-x) <= reach
	}
	strength := func(x float64) float64 { return math.Abs(Across(lines, x, height)) }
	const step = 0.08
	here, from := strength(x), x
	left, right := strength(x-step), strength(x+step)
	for here < left || here < right {
		if left > right {
			x, here, right = x-step, left, here
			left = strength(x - step)
		} else {
			x, here, left = x+step, right, here
			right = strength(x + step)
		}
		if math.Abs(x-from) > reach {
			return x, false
		}
	}
	return golden(strength, x-step, x+step), true
}

// golden finds the maximum of f between a and b, where it has one, to 1e-6 m.
func golden(f func(float64) float64, a, b float64) float64 {
	const ratio = 0.6180339887498949
	c, d := b-ratio*(b-a), a+ratio*(b-a)
	fc, fd := f(c), f(d)
	for b-a > 1e-6 {
		if fc > fd {
			b, d, fd = d, c, fc
			c = b - ratio*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + ratio*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}

// Null is the place nearest to x, at most reach away, where the upright field
// crosses zero as it does over a line: with the slope of the strongest current
// there. It is false where there is none.
func Null(lines []Line, x, height, reach float64) (float64, bool) {
	if len(lines) == 1 {
		return lines[0].X, math.Abs(lines[0].X-x) <= reach
	}
	const step = 0.05
	sign := math.Copysign(1, Across(lines, x, height))
	upright := func(x float64) float64 { return sign * Upright(lines, x, height) }
	right, left := upright(x), upright(x)
	for k := 0; float64(k)*step < reach; k++ {
		r, l := x+float64(k)*step, x-float64(k)*step
		nextRight, nextLeft := upright(r+step), upright(l-step)
		if right <= 0 && nextRight > 0 {
			return bisect(upright, r, r+step), true
		}
		if nextLeft <= 0 && left > 0 {
			return bisect(upright, l-step, l), true
		}
		right, left = nextRight, nextLeft
	}
	return 0, false
}

// bisect finds where f, not positive at a and positive at b, crosses zero.
func bisect(f func(float64) float64, a, b float64) float64 {
	for b-a > 1e-7 {
		if m := (a + b) / 2; f(m) <= 0 {
			a = m
		} else {
			b = m
		}
	}
	return (a + b) / 2
}

// LineDepth is the depth of a line below the lower of two horizontal coils a
// height apart, from their fields: d = s B2/(B1 - B2). It is NaN where the
// upper coil does not read less than the lower one.
func LineDepth(lower, upper, apartM float64) float64 {
	lower, upper = math.Abs(lower), math.Abs(upper)
	if lower <= upper {
		return math.NaN()
	}
	return apartM * upper / (lower - upper)
}

// LineCurrent is the current in amperes of a line at a depth below a horizontal
// coil that reads a field right over it.
func LineCurrent(field, depthM float64) float64 {
	return 2 * math.Pi * depthM * math.Abs(field) / Mu0
}

// Dipole is the field in tesla beside the middle of a sonde (a coil lying along
// the pipe, moment in A m^2) at a distance square to its axis.
func Dipole(momentAm2, distanceM float64) float64 {
	return Mu0 / (4 * math.Pi) * momentAm2 / (distanceM * distanceM * distanceM)
}

// SondeDepth is the depth of a sonde below the lower of two coils a height
// apart: d = s/((B1/B2)^(1/3) - 1). It is NaN where the upper coil does not
// read less than the lower one.
func SondeDepth(lower, upper, apartM float64) float64 {
	lower, upper = math.Abs(lower), math.Abs(upper)
	if lower <= upper {
		return math.NaN()
	}
	return apartM / (math.Cbrt(lower/upper) - 1)
}

// BracketSigma is the standard deviation across the line of a peak found as the
// middle of the two places where the signal has fallen to 70.7 % (.644 d to each
// side), when each of the two readings has a relative noise. With B ~ 1/(1+u^2),
// u = x/d, the slope there is 2u/(1+u^2)^2, so one side errs by
// noise (1+u^2)/(2u) d, and the middle by 1/sqrt 2 of that.
func BracketSigma(depthM, noise float64) float64 {
	u := math.Sqrt(math.Sqrt2 - 1)
	return noise * (1 + u*u) / (2 * u) * depthM / math.Sqrt2
}
