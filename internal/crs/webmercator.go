package crs

import "math"

func init() {
	register(method{
		code: 1024, name: "Popular Visualisation Pseudo Mercator",
		wkt1: []string{"Mercator_Auxiliary_Sphere", "Popular_Visualisation_Pseudo_Mercator"},
		uses: []param{
			{originLat, 8801, 0},
			required(originLon, 8802),
			{falseEasting, 8806, 0},
			{falseNorthing, 8807, 0},
		},
		build: func(e ellipsoid, v *values) (projection, error) {
			return &webMercator{e: e, lon0: v.rad(originLon), x0: v[falseEasting], y0: v[falseNorthing]}, nil
		},
	})
}

// webMercator is the method of Guidance Note 373-07-02 under "Popular
// Visualisation Pseudo-Mercator": the formulas of the sphere on latitudes of
// the ellipsoid. It is not conformal: north-south and east-west scales differ
// by up to 0.7 %.
type webMercator struct {
	e            ellipsoid
	lon0, x0, y0 float64
}

func (m *webMercator) forward(lon, lat float64) (x, y float64) {
	return m.x0 + m.e.a*wrap(lon-m.lon0), m.y0 + m.e.a*math.Asinh(math.Tan(lat))
}

func (m *webMercator) inverse(x, y float64) (lon, lat float64) {
	return wrap(m.lon0 + (x-m.x0)/m.e.a), math.Atan(math.Sinh((y - m.y0) / m.e.a))
}

// factors: east-west a / (nu cos lat), north-south a / (rho cos lat).
func (m *webMercator) factors(_, lat float64) (scale, convergence float64) {
	s, c := math.Sincos(lat)
	w2 := 1 - m.e.e2*s*s
	k, h := math.Sqrt(w2)/c, w2*math.Sqrt(w2)/((1-m.e.e2)*c)
	return math.Sqrt(k * h), 0
}
