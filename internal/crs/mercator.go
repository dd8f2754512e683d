package crs

func init() {
	register(method{
		code: 9804, name: "Mercator (variant A)", conformal: true,
		wkt1: []string{"Mercator_1SP", "Mercator"},
		uses: []param{
			{originLat, 8801, 0},
			required(originLon, 8802),
			{scaleFactor, 8805, 1},
			{falseEasting, 8806, 0},
			{falseNorthing, 8807, 0},
		},
		adapt: func(v *values) bool { return !v.has(parallel1) },
		build: func(e ellipsoid, v *values) (projection, error) {
			return newMercator(e, v, v[scaleFactor]), nil
		},
	})
	register(method{
		code: 9805, name: "Mercator (variant B)", conformal: true,
		wkt1: []string{"Mercator_2SP", "Mercator"},
		uses: []param{
			required(parallel1, 8823), required(originLon, 8802),
			{falseEasting, 8806, 0},
			{falseNorthing, 8807, 0},
		},
		build: func(e ellipsoid, v *values) (projection, error) {
			return newMercator(e, v, e.parallelRadius(v.rad(parallel1))), nil
		},
	})
}

// mercator is the method of Guidance Note 373-07-02 under "Mercator". The
// latitude of natural origin plays no part: it is the equator.
type mercator struct {
	e      ellipsoid
	lon0   float64
	ak     float64 // scale on the equator times a
	x0, y0 float64
}

func newMercator(e ellipsoid, v *values, k float64) *mercator {
	return &mercator{e: e, lon0: v.rad(originLon), ak: e.a * k, x0: v[falseEasting], y0: v[falseNorthing]}
}

func (m *mercator) forward(lon, lat float64) (x, y float64) {
	return m.x0 + m.ak*wrap(lon-m.lon0), m.y0 + m.ak*m.e.isometric(lat)
}

func (m *mercator) inverse(x, y float64) (lon, lat float64) {
	return wrap(m.lon0 + (x-m.x0)/m.ak), m.e.fromIsometric((y - m.y0) / m.ak)
}

func (m *mercator) factors(_, lat float64) (scale, convergence float64) {
	return m.ak / (m.e.a * m.e.parallelRadius(lat)), 0
}
