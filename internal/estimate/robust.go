package estimate

import (
	"fmt"
	"math"
	"slices"
)

// Weights of an observation by its residual in standard deviations, 1 at 0:
// psi(r)/r of the usual M-estimators. The tuning constants give 95 % efficiency
// at the normal distribution (Holland & Welsch 1977).
const (
	HuberTuning = 1.345
	TukeyTuning = 4.685
	// MADFactor makes the median absolute deviation of a normal sample its
	// standard deviation: 1/z(0.75).
	MADFactor = 1.482602218505602
)

// Huber (1964): 1 up to k, then k/|r|.
func Huber(r, k float64) float64 {
	if r = math.Abs(r); r > k {
		return k / r
	}
	return 1
}

// Tukey's biweight (Beaton & Tukey 1974): (1-(r/c)^2)^2, 0 from c on.
func Tukey(r, c float64) float64 {
	u := 1 - (r/c)*(r/c)
	return max(u, 0) * max(u, 0)
}

// StudentT is the expected precision of an observation whose error has a
// t distribution with nu degrees of freedom: (nu+1)/(nu+r^2) (Lange, Little &
// Taylor 1989, J. Am. Stat. Assoc. 84). At 0 it exceeds 1: the t distribution's
// scale is below its standard deviation.
func StudentT(r, nu float64) float64 { return (nu + 1) / (nu + r*r) }

// StudentTVector is StudentT for an error of k components together, such as the
// two of a shift, q the square of its length in standard deviations:
// (nu+k)/(nu+q).
func StudentTVector(q float64, k int, nu float64) float64 { return (nu + float64(k)) / (nu + q) }

// StudentTCovariance is the factor by which the covariance from frozen
// StudentT weights is too small: (nu+3)/(nu+1), the inverse of the information
// a t observation holds against that of its weight (Lange, Little & Taylor
// 1989, section 4: information (nu+1)/(nu+3) a scale unit, while the expected
// weight is 1).
func StudentTCovariance(nu float64) float64 { return (nu + 3) / (nu + 1) }

// Median of the values, which it sorts in place; NaN without any.
func Median(v []float64) float64 {
	n := len(v)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// MAD is the robust standard deviation of residuals around zero: MADFactor
// times the median of their absolute values.
func MAD(residuals []float64) float64 {
	abs := make([]float64, len(residuals))
	for i, r := range residuals {
		abs[i] = math.Abs(r)
	}
	return MADFactor * Median(abs)
}

// Reweight runs iteratively reweighted least squares from weights of 1: fit
// returns the residuals for the weights it is given, scale their standard
// deviation, weight what one of them counts. It stops when no weight moves by
// more than tolerance, and fails after limit rounds.
func Reweight(n int, fit func(weights []float64) (residuals []float64, err error),
	scale func(residuals []float64) float64, weight func(r float64) float64, tolerance float64, limit int,
) (weights []float64, err error) {
	weights = make([]float64, n)
	for i := range weights {
		weights[i] = 1
	}
	for range limit {
		residuals, err := fit(weights)
		if err != nil {
			return nil, err
		}
		s, moved := scale(residuals), 0.0
		if s == 0 {
			return weights, nil // more than half of the residuals vanish: an exact fit
		}
		for i, r := range residuals {
			w := weight(r / s)
			moved = max(moved, math.Abs(w-weights[i]))
			weights[i] = w
		}
		if moved <= tolerance {
			return weights, nil
		}
	}
	return nil, fmt.Errorf("estimate: the weights still move by more than %g after %d rounds", tolerance, limit)
}
