package crs

import (
	"fmt"
	"math"
)

var nan = math.NaN()

// masRad is a milliarcsecond in radians.
const masRad = radPerDegree / 3600 / 1000

// helmert is a similarity transformation between geocentric coordinates, with
// 7 parameters or, with rates, 14 (Guidance Note 373-07-02 under "Helmert
// 7-parameter transformations" and their time-dependent forms): metres,
// milliarcseconds in the position vector convention, parts per billion, and the
// same a year.
type helmert struct {
	code      int
	name      string
	accuracyM float64 // 0 by definition; NaN not stated
	t, r      [3]float64
	s         float64
	tRate     [3]float64
	rRate     [3]float64
	sRate     float64
	epoch     float64 // reference epoch of the parameters, decimal year; 0 where they do not change
}

func (h *helmert) timeDependent() bool { return h.epoch != 0 }

func (h *helmert) isNull() bool {
	return h.fixed() == [7]float64{} && !h.timeDependent()
}

// fixed are the seven parameters without rates.
func (h *helmert) fixed() [7]float64 {
	return [7]float64{h.t[0], h.t[1], h.t[2], h.r[0], h.r[1], h.r[2], h.s}
}

// at is the transformation with its parameters brought to an epoch.
func (h *helmert) at(epoch float64) helmert {
	f := *h
	if h.timeDependent() {
		dt := epoch - h.epoch
		for i := range f.t {
			f.t[i] += h.tRate[i] * dt
			f.r[i] += h.rRate[i] * dt
		}
		f.s += h.sRate * dt
	}
	return f
}

// helmertShift is a Helmert transformation at an epoch between the geographic
// coordinates of two ellipsoids.
type helmertShift struct {
	from, to  ellipsoid
	t, r      [3]float64 // m, rad
	scale     float64
	backwards bool
}

func newHelmertShift(h helmert, from, to ellipsoid, backwards bool) *helmertShift {
	return &helmertShift{
		from: from, to: to, t: h.t, backwards: backwards, scale: 1 + h.s*1e-9,
		r: [3]float64{h.r[0] * masRad, h.r[1] * masRad, h.r[2] * masRad},
	}
}

// apply transforms one position. Backwards, the rotation is transposed, as
// PROJ does; for arc seconds that differs from the reversed signs of EPSG by
// less than a millimetre.
func (s *helmertShift) apply(g geodetic) geodetic {
	x, y, z := s.from.geocentric(g)
	t, r := s.t, s.r
	if s.backwards {
		x, y, z = (x-t[0])/s.scale, (y-t[1])/s.scale, (z-t[2])/s.scale
		return s.to.geodetic(x+r[2]*y-r[1]*z, -r[2]*x+y+r[0]*z, r[1]*x-r[0]*y+z)
	}
	return s.to.geodetic(
		t[0]+s.scale*(x-r[2]*y+r[1]*z),
		t[1]+s.scale*(r[2]*x+y-r[0]*z),
		t[2]+s.scale*(-r[1]*x+r[0]*y+z),
	)
}

// geodetic is a position: radians from Greenwich, height above the ellipsoid.
type geodetic struct{ lon, lat, h float64 }

// geocentric is Guidance Note 373-07-02 under "Geographic/Geocentric".
func (el *ellipsoid) geocentric(g geodetic) (x, y, z float64) {
	sLat, cLat := math.Sincos(g.lat)
	sLon, cLon := math.Sincos(g.lon)
	nu := el.primeVertical(sLat)
	return (nu + g.h) * cLat * cLon, (nu + g.h) * cLat * sLon, ((1-el.e2)*nu + g.h) * sLat
}

// geodetic undoes geocentric: Bowring's formula (the same place of the
// guidance note), twice, which leaves nothing to rounding within 10,000 km of
// the ground.
func (el *ellipsoid) geodetic(x, y, z float64) geodetic {
	b := el.a * (1 - el.f)
	p := math.Sqrt(x*x + y*y)
	s, c := z*el.a, p*b // of the reduced latitude, times its length
	for range 2 {
		l := math.Sqrt(s*s + c*c)
		s, c = s/l, c/l
		s, c = z+el.e2/(1-el.e2)*b*s*s*s, p-el.e2*el.a*c*c*c
		s *= 1 - el.f
	}
	s /= 1 - el.f
	l := math.Sqrt(s*s + c*c)
	g := geodetic{lon: math.Atan2(y, x), lat: math.Atan2(s, c)}
	s, c = s/l, c/l
	g.h = p*c + z*s - el.a*math.Sqrt(1-el.e2*s*s)
	return g
}

// parseHelmert reads a line of the embedded table.
func parseHelmert(r []string) (h *helmert, source, target int, err error) {
	h = &helmert{code: integer(r[0]), name: r[1], accuracyM: decimal(r[4])}
	if r[4] == "" {
		h.accuracyM = nan
	}
	sign := 1.0
	if r[5] == "CF" {
		sign = -1
	}
	if _, err := fmt.Sscan(r[6], &h.t[0], &h.t[1], &h.t[2]); err != nil {
		return nil, 0, 0, err
	}
	if _, err := fmt.Sscan(r[7], &h.r[0], &h.r[1], &h.r[2]); err != nil {
		return nil, 0, 0, err
	}
	h.s = decimal(r[8])
	if len(r) > 10 {
		if _, err := fmt.Sscan(r[9], &h.tRate[0], &h.tRate[1], &h.tRate[2], &h.rRate[0], &h.rRate[1], &h.rRate[2], &h.sRate); err != nil {
			return nil, 0, 0, err
		}
		h.epoch = decimal(r[10])
	}
	for i := range h.r {
		h.r[i] *= sign
		h.rRate[i] *= sign
	}
	return h, integer(r[2]), integer(r[3]), nil
}
