package crs

import (
	"fmt"
	"math"
)

func init() {
	register(method{
		code: 9810, name: "Polar Stereographic (variant A)", conformal: true,
		wkt1: []string{"Polar_Stereographic", "Polar_Stereographic_Variant_A"},
		uses: []param{
			required(originLat, 8801), required(originLon, 8802), required(scaleFactor, 8805),
			{falseEasting, 8806, 0},
			{falseNorthing, 8807, 0},
		},
		// A latitude that is no pole is how GDAL writes variant B.
		adapt: func(v *values) bool { return math.Abs(v[originLat]) == 90 },
		build: func(e ellipsoid, v *values) (projection, error) {
			if math.Abs(v[originLat]) != 90 {
				return nil, fmt.Errorf("polar stereographic (variant A) with its origin at latitude %v degrees: it must be 90 or -90", v[originLat])
			}
			return newPolar(e, v, v[originLat], v[scaleFactor]), nil
		},
	})
	// WKT1 calls the standard parallel the latitude of origin.
	adapt := func(v *values) bool {
		if !v.has(parallel1) {
			v[parallel1] = v[originLat]
		}
		v[originLat] = nan
		return true
	}
	standard := func(fe, fn int) []param {
		return []param{required(parallel1, 8832), required(originLon, 8833), {falseEasting, fe, 0}, {falseNorthing, fn, 0}}
	}
	register(method{
		code: 9829, name: "Polar Stereographic (variant B)", conformal: true,
		wkt1: []string{"Polar_Stereographic", "Polar_Stereographic_Variant_B", "Stereographic_North_Pole", "Stereographic_South_Pole"},
		uses: standard(8806, 8807), adapt: adapt,
		build: func(e ellipsoid, v *values) (projection, error) {
			return newPolar(e, v, v[parallel1], polarScale(e, v.rad(parallel1))), nil
		},
	})
	register(method{
		code: 9830, name: "Polar Stereographic (variant C)", conformal: true,
		wkt1: []string{"Polar_Stereographic_Variant_C"},
		uses: standard(8826, 8827), adapt: adapt,
		build: func(e ellipsoid, v *values) (projection, error) {
			p := newPolar(e, v, v[parallel1], polarScale(e, v.rad(parallel1)))
			// False northing counts from the standard parallel on the meridian of origin.
			_, y := p.forward(p.lon0, v.rad(parallel1))
			p.y0 += v[falseNorthing] - y
			return p, nil
		},
	})
}

// polarStereographic is the method of Guidance Note 373-07-02 under "Polar
// Stereographic": around the pole
// rho = 2 a k0 exp(-psi) / sqrt((1+e)^(1+e) (1-e)^(1-e)).
type polarStereographic struct {
	e      ellipsoid
	lon0   float64
	sign   float64 // 1 around the North Pole, -1 around the South Pole
	k0     float64 // scale at the pole
	ak     float64 // rho = ak exp(-psi)
	x0, y0 float64
}

func newPolar(e ellipsoid, v *values, pole, k0 float64) *polarStereographic {
	return &polarStereographic{
		e: e, lon0: v.rad(originLon), sign: math.Copysign(1, pole), k0: k0, ak: 2 * e.a * k0 / polarConstant(e),
		x0: v[falseEasting], y0: v[falseNorthing],
	}
}

// polarConstant is sqrt((1+e)^(1+e) (1-e)^(1-e)).
func polarConstant(e ellipsoid) float64 {
	return math.Sqrt(math.Pow(1+e.e, 1+e.e) * math.Pow(1-e.e, 1-e.e))
}

// polarScale is the scale at the pole for a true scale at the standard
// parallel.
func polarScale(e ellipsoid, parallel float64) float64 {
	parallel = math.Abs(parallel)
	if math.Pi/2-parallel < 1e-10 {
		return 1
	}
	return e.parallelRadius(parallel) * polarConstant(e) / 2 * math.Exp(e.isometric(parallel))
}

func (p *polarStereographic) forward(lon, lat float64) (x, y float64) {
	r := p.ak * math.Exp(-p.e.isometric(p.sign*lat))
	s, c := math.Sincos(lon - p.lon0)
	return p.x0 + r*s, p.y0 - p.sign*r*c
}

func (p *polarStereographic) inverse(x, y float64) (lon, lat float64) {
	dx, dy := x-p.x0, p.sign*(p.y0-y)
	psi := -math.Log(math.Hypot(dx, dy) / p.ak)
	return wrap(p.lon0 + math.Atan2(dx, dy)), p.sign * p.e.fromIsometric(psi)
}

func (p *polarStereographic) factors(lon, lat float64) (scale, convergence float64) {
	convergence = p.sign * wrap(lon-p.lon0)
	if math.Pi/2-p.sign*lat < 1e-9 {
		return p.k0, convergence
	}
	r := p.ak * math.Exp(-p.e.isometric(p.sign*lat))
	return r / (p.e.a * p.e.parallelRadius(lat)), convergence
}
