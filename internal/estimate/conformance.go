package estimate

import "math"

// NormalCDF is the standard normal distribution function.
func NormalCDF(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// NormalQuantile is its inverse; -Inf and +Inf at 0 and 1.
func NormalQuantile(p float64) float64 { return -math.Sqrt2 * math.Erfcinv(2*p) }

// Conformance is the probability that a quantity measured as y with standard
// uncertainty u lies in [low, high], for a normal distribution (JCGM 106:2012,
// 7.2 to 7.4). An infinite limit makes it one-sided. Without uncertainty it is
// 0 or 1.
func Conformance(y, u, low, high float64) float64 {
	if u == 0 {
		if low <= y && y <= high {
			return 1
		}
		return 0
	}
	a, b := (low-y)/u, (high-y)/u
	if a > 0 { // the difference of two small tails, not of two numbers near 1
		a, b = -b, -a
	}
	return max(0, NormalCDF(b)-NormalCDF(a))
}

// GuardBand is the width of the band between a tolerance limit and the
// acceptance limit for which a measured value at the latter conforms with
// probability p, for standard uncertainty u (JCGM 106:2012, 8.3.2). It is
// negative for p below a half: then the band lies beyond the tolerance limit,
// as for guarded rejection.
func GuardBand(u, p float64) float64 { return u * NormalQuantile(p) }

// Decision by a rule of ILAC-G8:09/2019.
type Decision string

const (
	Pass            Decision = "pass"
	ConditionalPass Decision = "conditional pass"
	ConditionalFail Decision = "conditional fail"
	Fail            Decision = "fail"
)

// DecideBinary accepts a value in the tolerance interval [low, high] shrunk by
// the guard band w at both ends (ILAC-G8:09/2019, 4.2.1 with w = 0, simple
// acceptance, and 4.2.2 with w > 0). With w the expanded uncertainty (k = 2) a
// pass is false with a probability below 2.5 %.
func DecideBinary(y, low, high, w float64) Decision {
	if low+w <= y && y <= high-w {
		return Pass
	}
	return Fail
}

// DecideNonBinary tells clear cases from those within the guard band of a
// limit (ILAC-G8:09/2019, 4.2.3).
func DecideNonBinary(y, low, high, w float64) Decision {
	switch {
	case low+w <= y && y <= high-w:
		return Pass
	case low <= y && y <= high:
		return ConditionalPass
	case low-w <= y && y <= high+w:
		return ConditionalFail
	}
	return Fail
}
