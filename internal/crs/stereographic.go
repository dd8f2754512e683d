package crs

import (
	"fmt"
	"math"
)

func init() {
	register(method{
		code: 9809, name: "Oblique Stereographic", conformal: true,
		wkt1: []string{"Oblique_Stereographic", "Double_Stereographic"},
		uses: []param{
			required(originLat, 8801), required(originLon, 8802), required(scaleFactor, 8805),
			{falseEasting, 8806, 0},
			{falseNorthing, 8807, 0},
		},
		build: newObliqueStereographic,
	})
}

// obliqueStereographic is the method of Guidance Note 373-07-02 under "Oblique
// and Equatorial Stereographic":
// the ellipsoid on Gauss's conformal sphere, and that on the plane.
type obliqueStereographic struct {
	e          ellipsoid
	lon0       float64
	n, lnC     float64 // isometric latitude of the sphere: n psi + lnC
	sin0, cos0 float64 // of the conformal latitude of origin
	r2         float64 // 2 R k0
	x0, y0     float64
}

func newObliqueStereographic(e ellipsoid, v *values) (projection, error) {
	if math.Abs(v[originLat]) >= 90 {
		return nil, fmt.Errorf("oblique stereographic with its origin at a pole: use the method Polar Stereographic (variant A)")
	}
	lat0 := v.rad(originLat)
	s, c := math.Sincos(lat0)
	p := &obliqueStereographic{e: e, lon0: v.rad(originLon), x0: v[falseEasting], y0: v[falseNorthing]}
	p.n = math.Sqrt(1 + e.e2*c*c*c*c/(1-e.e2))
	// The conformal latitude of origin has the sine sin(lat0)/n: that is what the
	// constant c of the note brings about.
	p.sin0 = s / p.n
	p.cos0 = math.Sqrt(1 - p.sin0*p.sin0)
	p.lnC = math.Atanh(p.sin0) - p.n*e.isometric(lat0)
	radius := e.a * math.Sqrt(1-e.e2) / (1 - e.e2*s*s) // sqrt(rho nu)
	p.r2 = 2 * radius * v[scaleFactor]
	return p, nil
}

// onSphere is the position on the conformal sphere.
func (p *obliqueStereographic) onSphere(lon, lat float64) (sinL, cosL, sinX, cosX float64) {
	q := p.n*p.e.isometric(lat) + p.lnC
	sinL, cosL = math.Sincos(p.n * wrap(lon-p.lon0))
	return sinL, cosL, math.Tanh(q), 1 / math.Cosh(q)
}

func (p *obliqueStereographic) forward(lon, lat float64) (x, y float64) {
	sinL, cosL, sinX, cosX := p.onSphere(lon, lat)
	b := 1 + sinX*p.sin0 + cosX*p.cos0*cosL
	if b < 1e-10 {
		return nan, nan
	}
	return p.x0 + p.r2*cosX*sinL/b, p.y0 + p.r2*(sinX*p.cos0-cosX*p.sin0*cosL)/b
}

func (p *obliqueStereographic) inverse(x, y float64) (lon, lat float64) {
	x, y = (x-p.x0)/p.r2, (y-p.y0)/p.r2 // tan(C/2) and its direction
	t2 := x*x + y*y
	sinCr, cosC := 2/(1+t2), (1-t2)/(1+t2)
	sinX := cosC*p.sin0 + y*sinCr*p.cos0
	east, north := x*sinCr, cosC*p.cos0-y*sinCr*p.sin0
	q := math.Asinh(sinX / math.Hypot(east, north))
	return wrap(p.lon0 + math.Atan2(east, north)/p.n), p.e.fromIsometric((q - p.lnC) / p.n)
}

// factors: scale of plane on sphere times that of sphere on ellipsoid, and the
// derivative along the parallel for the convergence.
func (p *obliqueStereographic) factors(lon, lat float64) (scale, convergence float64) {
	sinL, cosL, sinX, cosX := p.onSphere(lon, lat)
	b := 1 + sinX*p.sin0 + cosX*p.cos0*cosL
	dx := cosL*b + cosX*p.cos0*sinL*sinL
	dy := sinL * (p.sin0*b + (sinX*p.cos0-cosX*p.sin0*cosL)*p.cos0)
	return p.r2 / b * p.n * cosX / (p.e.a * p.e.parallelRadius(lat)), math.Atan2(dy, dx)
}
