package crs

import (
	"math"
	"testing"
)

// TestAuxiliaryLatitudes compares the series with the closed formulas (Guidance
// Note 373-07-02; Snyder 1987, equations 3-1 and 3-11) on the Earth's flattest
// and roundest ellipsoids, and a sphere.
func TestAuxiliaryLatitudes(t *testing.T) {
	for _, invF := range []float64{293.465, 298.257222101, 310, 0} {
		el := newEllipsoid("test", 6378137, invF)
		for deg := -90.; deg <= 90; deg += 0.25 {
			lat := deg * radPerDegree
			conformal := math.Atan(math.Sinh(el.isometric(lat)))
			if d := el.toConformal.at(lat) - conformal; math.Abs(d) > 1e-15 {
				t.Errorf("1/%v at %v: conformal latitude %v off", invF, deg, d)
			}
			if d := el.fromConformal.at(conformal) - lat; math.Abs(d) > 1e-15 {
				t.Errorf("1/%v at %v: latitude from conformal %v off", invF, deg, d)
			}
			sin, cos := el.authalic(lat)
			if d := sin - el.authalicQ(math.Sin(lat))/el.qPole; math.Abs(d) > 1e-15 || math.Abs(sin*sin+cos*cos-1) > 5e-16 {
				t.Errorf("1/%v at %v: authalic latitude %v off", invF, deg, d)
			}
			if d := el.fromAuthalic(sin, cos) - lat; math.Abs(d) > 1e-15 {
				t.Errorf("1/%v at %v: latitude from authalic %v off", invF, deg, d)
			}
			if d := el.fromAuthalicQ(el.authalicQ(math.Sin(lat))) - lat; math.Abs(d)*math.Cos(lat) > 1e-15 {
				t.Errorf("1/%v at %v: latitude from q %v off", invF, deg, d)
			}
			for _, h := range []float64{-100, 0, 9000, 400e3} {
				x, y, z := el.geocentric(geodetic{0.3, lat, h})
				g := el.geodetic(x, y, z)
				if math.Abs(g.lat-lat) > 1e-15 || math.Abs(g.h-h) > 5e-9 || math.Abs(g.lon-0.3)*math.Cos(lat) > 1e-15 {
					t.Errorf("1/%v at %v, %v m: geocentric back at %v, %v m", invF, deg, h, (g.lat-lat)/radPerDegree, g.h)
				}
			}
		}
	}
}
