package match

import "math"

// tail3 is the constant of Student's t with 3 degrees of freedom,
// Gamma(2) / (Gamma(3/2) sqrt(3 pi)) = 2 / (pi sqrt 3).
//
// Three degrees are heavy enough that a map error of five standard deviations
// is unlikely but not impossible, and the density needs no transcendental
// function.
const tail3 = 2 / (math.Pi * 1.7320508075688772)

// student is the density at x of Student's t with 3 degrees of freedom and the
// given squared scale.
func student(x, scale2 float64) float64 {
	y := 1 + x*x/(3*scale2)
	return tail3 / (math.Sqrt(scale2) * y * y)
}
