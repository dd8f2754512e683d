package estimate

import (
	"errors"
	"math"
)

// Conformal is a two-dimensional conformal (Helmert, four-parameter) transform:
//
//	x' = A x - B y + Tx, y' = B x + A y + Ty.
type Conformal struct {
	A, B, Tx, Ty float64
	S0           float64 // standard deviation of unit weight; 0 from two points
}

// Scale of the transform.
func (c Conformal) Scale() float64 { return math.Hypot(c.A, c.B) }

// RotationRad is its rotation, 0 to 2 pi, anticlockwise.
func (c Conformal) RotationRad() float64 {
	r := math.Atan2(c.B, c.A)
	if r < 0 {
		r += 2 * math.Pi
	}
	return r
}

// Apply transforms a point.
func (c Conformal) Apply(p [2]float64) [2]float64 {
	return [2]float64{c.A*p[0] - c.B*p[1] + c.Tx, c.B*p[0] + c.A*p[1] + c.Ty}
}

// FitConformal fits the transform to two or more pairs of points by least
// squares, all of one weight (Ghilani, Adjustment Computations, ch. 18). It
// fails where the points from are all in one place.
func FitConformal(from, to [][2]float64) (Conformal, error) {
	if len(from) != len(to) || len(from) < 2 {
		return Conformal{}, errors.New("estimate: a conformal transform needs two or more pairs of points")
	}
	// Around the centroid of from, where the normal equations are diagonal.
	var cx, cy float64
	for _, p := range from {
		cx += p[0] / float64(len(from))
		cy += p[1] / float64(len(from))
	}
	at := []int{0, 1, 2, 3}
	var obs []Observation
	for k, p := range from {
		x, y := p[0]-cx, p[1]-cy
		obs = append(obs,
			Observation{At: at, A: []float64{x, -y, 1, 0}, Value: to[k][0], Weight: 1},
			Observation{At: at, A: []float64{y, x, 0, 1}, Value: to[k][1], Weight: 1})
	}
	fit, err := Adjust(4, obs, Options{})
	if err != nil {
		return Conformal{}, err
	}
	a, b := fit.X[0], fit.X[1]
	return Conformal{
		A: a, B: b, Tx: fit.X[2] - a*cx + b*cy, Ty: fit.X[3] - b*cx - a*cy,
		S0: math.Sqrt(fit.VarianceFactor),
	}, nil
}
