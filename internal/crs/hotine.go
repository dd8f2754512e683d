package crs

import (
	"fmt"
	"math"
)

func init() {
	uses := func(fe, fn int) []param {
		return []param{
			required(originLat, 8811), required(originLon, 8812), required(azimuth, 8813), required(rectified, 8814), required(scaleFactor, 8815),
			{falseEasting, fe, 0},
			{falseNorthing, fn, 0},
		}
	}
	// ESRI leaves the rectified angle out where it is the azimuth.
	adapt := func(v *values) bool {
		if !v.has(rectified) {
			v[rectified] = v[azimuth]
		}
		return true
	}
	register(method{
		code: 9812, name: "Hotine Oblique Mercator (variant A)", conformal: true,
		wkt1: []string{"Hotine_Oblique_Mercator", "Hotine_Oblique_Mercator_Azimuth_Natural_Origin", "Rectified_Skew_Orthomorphic_Natural_Origin"},
		uses: uses(8806, 8807), adapt: adapt,
		build: func(e ellipsoid, v *values) (projection, error) { return newHotine(e, v, false) },
	})
	register(method{
		code: 9815, name: "Hotine Oblique Mercator (variant B)", conformal: true,
		wkt1: []string{"Hotine_Oblique_Mercator_Azimuth_Center", "Rectified_Skew_Orthomorphic_Center"},
		uses: uses(8816, 8817), adapt: adapt,
		build: func(e ellipsoid, v *values) (projection, error) { return newHotine(e, v, true) },
	})
}

// hotine is the method of Guidance Note 373-07-02 under "Hotine Oblique
// Mercator", written with the isometric latitude of its sphere,
// q = ln H + B psi: S = sinh q, T = cosh q.
type hotine struct {
	e          ellipsoid
	a, b       float64 // A and B of the note
	lnH        float64
	sin0, cos0 float64 // of gamma0
	sinC, cosC float64 // of the rectified angle
	lon0, uc   float64
	x0, y0     float64
}

func newHotine(e ellipsoid, v *values, atCentre bool) (projection, error) {
	lat, az, gammaC := v.rad(originLat), v.rad(azimuth), v.rad(rectified)
	if math.Abs(v[originLat]) >= 90 {
		return nil, fmt.Errorf("projection Hotine oblique Mercator with its centre at latitude %v degrees: it cannot be a pole", v[originLat])
	}
	s, c := math.Sincos(lat)
	w2 := 1 - e.e2*s*s
	h := &hotine{e: e, x0: v[falseEasting], y0: v[falseNorthing]}
	h.b = math.Sqrt(1 + e.e2*c*c*c*c/(1-e.e2))
	h.a = e.a * h.b * v[scaleFactor] * math.Sqrt(1-e.e2) / w2
	d := max(h.b*math.Sqrt(1-e.e2)/(c*math.Sqrt(w2)), 1)
	root := math.Copysign(math.Sqrt(d*d-1), lat)
	f := d + root
	h.lnH = math.Log(f) - h.b*e.isometric(lat)
	h.sinC, h.cosC = math.Sincos(gammaC)
	h.sin0 = math.Sin(az) / d
	h.cos0 = math.Sqrt(1 - h.sin0*h.sin0)
	square := math.Abs(math.Cos(az)) < 1e-12 // the initial line runs east and west
	turn := math.Asin(min(max((f-1/f)/2*h.sin0/h.cos0, -1), 1))
	if square {
		turn = math.Copysign(math.Pi/2, lat*math.Sin(az))
	}
	h.lon0 = v.rad(originLon) - turn/h.b
	if atCentre {
		if square {
			h.uc = h.a * turn / h.b
		} else {
			h.uc = h.a / h.b * math.Atan(root/math.Cos(az))
		}
	}
	return h, nil
}

func (h *hotine) forward(lon, lat float64) (x, y float64) {
	sinL, cosL := math.Sincos(h.b * wrap(lon-h.lon0))
	q := h.lnH + h.b*h.e.isometric(lat)
	v := -h.a / h.b * math.Atanh(math.Tanh(q)*h.sin0-sinL*h.cos0/math.Cosh(q))
	u := h.a/h.b*math.Atan2(math.Sinh(q)*h.cos0+sinL*h.sin0, cosL) - h.uc
	return h.x0 + v*h.cosC + u*h.sinC, h.y0 + u*h.cosC - v*h.sinC
}

func (h *hotine) inverse(x, y float64) (lon, lat float64) {
	x, y = x-h.x0, y-h.y0
	q := -h.b / h.a * (x*h.cosC - y*h.sinC)
	sinU, cosU := math.Sincos(h.b / h.a * (y*h.cosC + x*h.sinC + h.uc))
	lat = h.e.fromIsometric((math.Atanh(math.Tanh(q)*h.sin0+sinU*h.cos0/math.Cosh(q)) - h.lnH) / h.b)
	return wrap(h.lon0 - math.Atan2(math.Sinh(q)*h.cos0-sinU*h.sin0, cosU)/h.b), lat
}

// factors are the derivative of u and v along the parallel: the method is
// conformal, so it holds both scale and convergence.
func (h *hotine) factors(lon, lat float64) (scale, convergence float64) {
	sinL, cosL := math.Sincos(h.b * wrap(lon-h.lon0))
	q := h.lnH + h.b*h.e.isometric(lat)
	t := math.Cosh(q)
	u := math.Tanh(q)*h.sin0 - sinL*h.cos0/t
	p := math.Sinh(q)*h.cos0 + sinL*h.sin0
	dv := h.a * h.cos0 * cosL / (t * (1 - u*u))
	du := h.a * (h.sin0*cosL*cosL + p*sinL) / (p*p + cosL*cosL)
	dx, dy := dv*h.cosC+du*h.sinC, du*h.cosC-dv*h.sinC
	return math.Hypot(dx, dy) / (h.e.a * h.e.parallelRadius(lat)), math.Atan2(dy, dx)
}
