package crs

import (
	"fmt"
	"math"
)

func init() {
	origin := func(latCode, lonCode, fe, fn int) []param {
		return []param{required(originLat, latCode), required(originLon, lonCode), {falseEasting, fe, 0}, {falseNorthing, fn, 0}}
	}
	register(method{
		code: 9801, name: "Lambert Conic Conformal (1SP)", conformal: true,
		wkt1:  []string{"Lambert_Conformal_Conic_1SP", "Lambert_Conformal_Conic"},
		uses:  append(origin(8801, 8802, 8806, 8807), required(scaleFactor, 8805)),
		adapt: lambertOneParallel,
		build: func(e ellipsoid, v *values) (projection, error) {
			return newLambertConformal(e, v, v[originLat], v[originLat], v[scaleFactor])
		},
	})
	register(method{
		code: 9802, name: "Lambert Conic Conformal (2SP)", conformal: true,
		wkt1: []string{"Lambert_Conformal_Conic_2SP", "Lambert_Conformal_Conic"},
		uses: append(origin(8821, 8822, 8826, 8827), required(parallel1, 8823), required(parallel2, 8824)),
		build: func(e ellipsoid, v *values) (projection, error) {
			return newLambertConformal(e, v, v[parallel1], v[parallel2], 1)
		},
	})
	register(method{
		code: 1051, name: "Lambert Conic Conformal (2SP Michigan)", conformal: true,
		wkt1: []string{"Lambert_Conformal_Conic_2SP_Michigan", "Lambert_Conformal_Conic"},
		uses: append(origin(8821, 8822, 8826, 8827), required(parallel1, 8823), required(parallel2, 8824), required(ellipsoidScale, 1038)),
		// ESRI has no such method: it gives the general one a scale factor.
		adapt: func(v *values) bool {
			if !v.has(ellipsoidScale) {
				v[ellipsoidScale], v[scaleFactor] = v[scaleFactor], nan
			}
			return v.has(parallel2)
		},
		build: func(e ellipsoid, v *values) (projection, error) {
			return newLambertConformal(e, v, v[parallel1], v[parallel2], v[ellipsoidScale])
		},
	})
}

// lambertOneParallel reads the one-parallel form of ESRI's
// Lambert_Conformal_Conic: its standard parallel is the latitude of origin.
func lambertOneParallel(v *values) bool {
	if v.has(parallel2) {
		return false
	}
	if v.has(parallel1) {
		if v.has(originLat) && math.Abs(v[originLat]-v[parallel1]) > 1e-9 {
			return false // a method of its own (variant B)
		}
		v[originLat], v[parallel1] = v[parallel1], math.NaN()
		if !v.has(scaleFactor) {
			v[scaleFactor] = 1
		}
	}
	return true
}

// lambertConformal is the method of Guidance Note 373-07-02 under "Lambert
// Conic Conformal", in isometric latitudes: r = a k F exp(-n psi).
type lambertConformal struct {
	e      ellipsoid
	lon0   float64
	n      float64 // cone constant
	aF     float64 // k a F
	psi0   float64 // isometric latitude that exponents count from
	x0, y0 float64 // of the point where the meridians meet
}

func newLambertConformal(e ellipsoid, v *values, lat1, lat2, k float64) (projection, error) {
	lat1, lat2 = lat1*radPerDegree, lat2*radPerDegree
	if math.Abs(lat1+lat2) < 1e-10 || math.Abs(math.Cos(lat1)) < 1e-10 || math.Abs(math.Cos(lat2)) < 1e-10 {
		return nil, fmt.Errorf("projection Lambert standard parallels %v and %v degrees make no cone: they must not be opposite, nor a pole", lat1/radPerDegree, lat2/radPerDegree)
	}
	l := &lambertConformal{e: e, lon0: v.rad(originLon), x0: v[falseEasting], psi0: e.isometric(lat1)}
	if math.Abs(lat1-lat2) < 1e-10 {
		l.n = math.Sin(lat1)
	} else {
		l.n = math.Log(e.parallelRadius(lat1)/e.parallelRadius(lat2)) / (e.isometric(lat2) - e.isometric(lat1))
	}
	l.aF = e.a * k * e.parallelRadius(lat1) / l.n
	l.y0 = v[falseNorthing] + l.radius(v.rad(originLat))
	return l, nil
}

// radius is the signed radius of a parallel on the map.
func (l *lambertConformal) radius(lat float64) float64 {
	if math.Abs(lat) > math.Pi/2-1e-12 {
		if lat*l.n > 0 {
			return 0
		}
		return math.NaN() // the other pole is at infinity
	}
	return l.aF * math.Exp(-l.n*(l.e.isometric(lat)-l.psi0))
}

func (l *lambertConformal) forward(lon, lat float64) (x, y float64) {
	r := l.radius(lat)
	s, c := math.Sincos(l.n * wrap(lon-l.lon0))
	return l.x0 + r*s, l.y0 - r*c
}

func (l *lambertConformal) inverse(x, y float64) (lon, lat float64) {
	dx, dy := x-l.x0, l.y0-y
	r := math.Copysign(math.Hypot(dx, dy), l.n)
	if r == 0 {
		return l.lon0, math.Copysign(math.Pi/2, l.n)
	}
	sign := math.Copysign(1, l.n)
	theta := math.Atan2(sign*dx, sign*dy)
	return wrap(l.lon0 + theta/l.n), l.e.fromIsometric(l.psi0 - math.Log(r/l.aF)/l.n)
}

func (l *lambertConformal) factors(lon, lat float64) (scale, convergence float64) {
	return l.n * l.radius(lat) / (l.e.a * l.e.parallelRadius(lat)), l.n * wrap(lon-l.lon0)
}
