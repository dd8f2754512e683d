// Package accuracy has the statistics in which positional accuracy is stated.
// Lengths are in whatever unit they are given in, all in the same one.
package accuracy

import "math"

// Factors from one standard deviation to a level of confidence.
const (
	Factor95Linear   = 1.959963984540054  // one dimension, normal
	Factor95Circular = 2.4477468306808164 // two dimensions, circular normal: CircularFactor(0.95)
)

// Residuals are the differences of one coordinate at check points, map less
// truth.
type Residuals struct {
	N        int
	Mean, SD float64 // SD with N-1; NaN for fewer than two points
	RMSE     float64
}

// Describe sums up differences.
func Describe(d []float64) Residuals {
	r := Residuals{N: len(d)}
	n, squares, around := float64(len(d)), 0.0, 0.0
	for _, v := range d {
		r.Mean += v / n
		squares += v * v
	}
	for _, v := range d {
		around += (v - r.Mean) * (v - r.Mean)
	}
	r.SD, r.RMSE = math.Sqrt(around/(n-1)), math.Sqrt(squares/n)
	return r
}

// Biased: a mean above a quarter of the RMSE while the scatter is low (SD below
// the RMSE) points to a systematic shift (Photogrammetric Engineering & Remote
// Sensing, May 2014, p. 397: "25 to 50 %").
func (r Residuals) Biased() bool {
	return math.Abs(r.Mean) > 0.25*r.RMSE && r.SD < r.RMSE
}

// RMSER is the radial root mean square error.
func RMSER(rmseX, rmseY float64) float64 { return math.Hypot(rmseX, rmseY) }

// NSSDA is the horizontal accuracy at the 95 % confidence level by the US
// National Standard for Spatial Data Accuracy, FGDC-STD-007.3-1998, appendix
// 3-A: 1.7308 RMSEr where the two RMSE are equal, else 2.4477 times their mean.
// The second holds while the smaller is at least 0.6 of the larger: false
// beyond that.
func NSSDA(rmseX, rmseY float64) (accuracy float64, ok bool) {
	if rmseX == rmseY {
		return 1.7308 * RMSER(rmseX, rmseY), true
	}
	return 2.4477 * 0.5 * (rmseX + rmseY), min(rmseX, rmseY) >= 0.6*max(rmseX, rmseY)
}

// NSSDARadial is 1.7308 RMSEr, as reports state it when they take the two RMSE
// for equal (ASPRS Positional Accuracy Standards, edition 1, does throughout).
func NSSDARadial(rmseX, rmseY float64) float64 { return 1.7308 * RMSER(rmseX, rmseY) }

// NSSDAVertical is the vertical accuracy at the 95 % confidence level,
// FGDC-STD-007.3-1998, appendix 3-A.
func NSSDAVertical(rmseZ float64) float64 { return 1.9600 * rmseZ }

// Least numbers of independent check points for a statement.
const (
	NSSDAPoints     = 20 // FGDC-STD-007.3-1998, 3.2.2
	ASPRS2023Points = 30 // ASPRS Positional Accuracy Standards for Digital Geospatial Data, edition 2
)

// ASPRS2023 is the accuracy of edition 2 of the ASPRS standards (2023), one
// RMSE that holds the check survey's own error as well: for the horizontal,
// hand in the radial RMSE of both.
func ASPRS2023(rmseTest, rmseSurvey float64) float64 { return math.Hypot(rmseTest, rmseSurvey) }

// CircularFactor is the radius, in standard deviations of one axis, of the
// circle that holds the share p of a circular normal distribution.
func CircularFactor(p float64) float64 { return math.Sqrt(-2 * math.Log1p(-p)) }

// Circle95 is the radius of the circle around a position that holds the truth
// with 95 % confidence, from the standard deviations of its coordinates and
// their correlation (US National Geodetic Survey, accuracy sheets: a cubic in
// the ratio of the error ellipse's axes, after Leenhouts 1985).
func Circle95(sdNorth, sdEast, correlation float64) float64 {
	nn, ee, ne := sdNorth*sdNorth, sdEast*sdEast, correlation*sdNorth*sdEast
	middle, half := (nn+ee)/2, math.Hypot((nn-ee)/2, ne)
	a := math.Sqrt(middle + half)
	if a == 0 {
		return 0
	}
	c := math.Sqrt(max(0, middle-half)) / a
	return a * (1.960790 + c*(0.004071+c*(0.114276+c*0.371625)))
}

// Offset95 is the half width of the 95 % interval of the component of a
// position along the unit vector (east, north), such as an offset square to a
// line: a one-dimensional quantity, 1.96 sqrt(n' S n), not a circle's radius.
func Offset95(east, north, ee, en, nn float64) float64 {
	return Factor95Linear * math.Sqrt(max(0, east*east*ee+2*east*north*en+north*north*nn))
}
