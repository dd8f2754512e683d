package crs

import "math"

func init() {
	register(method{
		code: 9820, name: "Lambert Azimuthal Equal Area",
		wkt1: []string{"Lambert_Azimuthal_Equal_Area"},
		uses: []param{
			required(originLat, 8801), required(originLon, 8802),
			{falseEasting, 8806, 0},
			{falseNorthing, 8807, 0},
		},
		build: newAzimuthalEqualArea,
	})
}

// azimuthalEqualArea is the method of Guidance Note 373-07-02 under
// "Lambert Azimuthal Equal Area". Latitudes go by sine and cosine of the
// authalic latitude, so that nothing is lost near the poles.
type azimuthalEqualArea struct {
	e      ellipsoid
	lon0   float64
	sin0   float64 // of the authalic latitude of origin
	cos0   float64
	rq, d  float64
	x0, y0 float64
}

func newAzimuthalEqualArea(e ellipsoid, v *values) (projection, error) {
	lat0 := v.rad(originLat)
	p := &azimuthalEqualArea{e: e, lon0: v.rad(originLon), d: 1, x0: v[falseEasting], y0: v[falseNorthing]}
	p.sin0, p.cos0 = e.authalic(lat0)
	p.rq = e.a * math.Sqrt(e.qPole/2)
	if math.Abs(v[originLat]) < 90 { // D tends to 1 at the poles
		p.d = e.a * e.parallelRadius(lat0) / (p.rq * p.cos0)
	} else {
		p.sin0, p.cos0 = math.Copysign(1, lat0), 0
	}
	return p, nil
}

func (p *azimuthalEqualArea) forward(lon, lat float64) (x, y float64) {
	s, c := p.e.authalic(lat)
	sl, cl := math.Sincos(lon - p.lon0)
	k := 1 + p.sin0*s + p.cos0*c*cl
	if k < 1e-10 { // the antipode is a circle
		return nan, nan
	}
	b := p.rq * math.Sqrt(2/k)
	return p.x0 + b*p.d*c*sl, p.y0 + b/p.d*(p.cos0*s-p.sin0*c*cl)
}

func (p *azimuthalEqualArea) inverse(x, y float64) (lon, lat float64) {
	x, y = (x-p.x0)/p.d, (y-p.y0)*p.d
	r := math.Hypot(x, y)
	if r > 2*p.rq {
		return nan, nan
	}
	// r = 2 Rq sin(C/2); sinC / r needs no r in the denominator.
	h := r / (2 * p.rq)
	cosC, sinCr := 1-2*h*h, math.Sqrt(1-h*h)/p.rq
	s := cosC*p.sin0 + y*sinCr*p.cos0
	east, north := x*sinCr, cosC*p.cos0-y*sinCr*p.sin0
	if p.cos0 == 0 && r == 0 {
		return p.lon0, math.Copysign(math.Pi/2, p.sin0)
	}
	return wrap(p.lon0 + math.Atan2(east, north)), p.e.fromAuthalic(s, math.Hypot(east, north))
}

// factors: the areal scale is 1; the meridian's direction by its derivative.
func (p *azimuthalEqualArea) factors(lon, lat float64) (scale, convergence float64) {
	s, c := p.e.authalic(lat)
	sl, cl := math.Sincos(lon - p.lon0)
	k := 1 + p.sin0*s + p.cos0*c*cl
	dk := (p.sin0*c - p.cos0*s*cl) / (2 * k)
	dx := -(dk*c + s) * sl * p.d
	dy := (p.cos0*c + p.sin0*s*cl - dk*(p.cos0*s-p.sin0*c*cl)) / p.d
	if math.IsNaN(dx) {
		return nan, nan
	}
	return 1, -math.Atan2(dx, dy)
}
