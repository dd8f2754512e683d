package crs

import (
	"fmt"
	"math"
)

func init() {
	register(method{
		code: 9822, name: "Albers Equal Area",
		wkt1: []string{"Albers_Conic_Equal_Area", "Albers"},
		uses: []param{
			required(originLat, 8821), required(originLon, 8822), required(parallel1, 8823), required(parallel2, 8824),
			{falseEasting, 8826, 0},
			{falseNorthing, 8827, 0},
		},
		build: newAlbers,
	})
}

// albers is the method of Guidance Note 373-07-02 under "Albers Equal Area".
type albers struct {
	e        ellipsoid
	lon0     float64
	n, c     float64
	x0, apex float64 // where the meridians meet
}

func newAlbers(e ellipsoid, v *values) (projection, error) {
	lat1, lat2 := v.rad(parallel1), v.rad(parallel2)
	if math.Abs(lat1+lat2) < 1e-10 {
		return nil, fmt.Errorf("projection Albers standard parallels %v and %v degrees make no cone: they must not be opposite", v[parallel1], v[parallel2])
	}
	m1, m2 := e.parallelRadius(lat1), e.parallelRadius(lat2)
	q1, q2 := e.authalicQ(math.Sin(lat1)), e.authalicQ(math.Sin(lat2))
	p := &albers{e: e, lon0: v.rad(originLon), n: math.Sin(lat1), x0: v[falseEasting]}
	if math.Abs(lat1-lat2) > 1e-10 {
		p.n = (m1*m1 - m2*m2) / (q2 - q1)
	}
	p.c = m1*m1 + p.n*q1
	p.apex = v[falseNorthing] + p.radius(v.rad(originLat))
	return p, nil
}

// radius is the signed radius of a parallel on the map.
func (p *albers) radius(lat float64) float64 {
	return p.e.a * math.Sqrt(p.c-p.n*p.e.authalicQ(math.Sin(lat))) / p.n
}

func (p *albers) forward(lon, lat float64) (x, y float64) {
	r := p.radius(lat)
	s, c := math.Sincos(p.n * wrap(lon-p.lon0))
	return p.x0 + r*s, p.apex - r*c
}

func (p *albers) inverse(x, y float64) (lon, lat float64) {
	dx, dy := x-p.x0, p.apex-y
	sign := math.Copysign(1, p.n)
	theta := math.Atan2(sign*dx, sign*dy)
	r2 := (dx*dx + dy*dy) / (p.e.a * p.e.a)
	return wrap(p.lon0 + theta/p.n), p.e.fromAuthalicQ((p.c - r2*p.n*p.n) / p.n)
}

func (p *albers) factors(lon, lat float64) (scale, convergence float64) {
	if math.IsNaN(lat) {
		return nan, nan
	}
	return 1, p.n * wrap(lon-p.lon0)
}
