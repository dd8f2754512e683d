package crs

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// System is a coordinate system: a datum, a prime meridian, and for a projected
// one a method with its parameters and a unit. It never changes after Parse and
// may be used from many goroutines.
type System struct {
	code       int // EPSG; 0 none
	name       string
	definition string
	datum      *datum
	meridian   meridian
	unit       unit // of length for a projected system, of angle for a geographic one
	method     *method
	values     values
	projection projection // nil for a geographic system
	area       [4]float64 // west, south, east, north of its area of use, degrees; all 0 unknown
	notes      []string
}

// newProjected is a projected system on a geographic one. Its name and
// definition are the caller's to set.
func newProjected(base *System, m *method, given values, u unit) (*System, error) {
	v, err := m.complete(given)
	if err != nil {
		return nil, err
	}
	p, err := m.build(base.datum.ellipsoid, &v)
	if err != nil {
		return nil, err
	}
	return &System{datum: base.datum, meridian: base.meridian, method: m, values: v, projection: p, unit: u}, nil
}

// Name is the system's name: EPSG's for a code, its own for a definition.
func (s *System) Name() string { return s.name }

// Code is its EPSG code, 0 if it was not given as one.
func (s *System) Code() int { return s.code }

// Definition is a text that Parse makes the same system of: "EPSG:2236" or WKT.
func (s *System) Definition() string { return s.definition }

// Projected says whether the system has eastings and northings, in UnitM, and
// not longitudes and latitudes.
func (s *System) Projected() bool { return s.projection != nil }

// UnitM is the metres in one unit of a projected system; 0 for a geographic one.
func (s *System) UnitM() float64 {
	if !s.Projected() {
		return 0
	}
	return s.unit.factor
}

// Unit is the name of the unit of its coordinates.
func (s *System) Unit() string { return s.unit.name }

// Datum is the name of its datum or reference frame.
func (s *System) Datum() string { return s.datum.name }

// Method is the name of its projection method, empty for a geographic system.
func (s *System) Method() string {
	if s.method == nil {
		return ""
	}
	return s.method.name
}

// Conformal says whether the scale at a point is the same in every direction,
// which lengths and angles on a working plane rest on.
func (s *System) Conformal() bool { return s.method != nil && s.method.conformal }

// Notes are what a person should know about how the definition was read: a
// height system that was passed over, a rounded unit, a name that contradicts
// the numbers.
func (s *System) Notes() []string { return s.notes }

// Area is the area of use in degrees, where the built-in table has one. West
// may be greater than east: it then spans the 180th meridian.
func (s *System) Area() (west, south, east, north float64, known bool) {
	a := s.area
	return a[0], a[1], a[2], a[3], a != [4]float64{}
}

// Metres is the same projection with its axes in metres. A geographic system
// is returned as it is.
func (s *System) Metres() *System {
	if !s.Projected() || s.unit == metre {
		return s
	}
	return s.in(metre, "metres")
}

// InUnit is the same projection with its axes in a unit of so many metres, as
// where a file's columns say another unit than its system.
func (s *System) InUnit(metres float64) (*System, error) {
	u, err := linear("unit", metres)
	switch {
	case err != nil:
		return nil, err
	case !s.Projected():
		return nil, fmt.Errorf("%s is geographic: its axes are angles, of no length", s.name)
	case s.unit.factor == u.factor:
		return s, nil
	}
	return s.in(u, "the unit "+u.name), nil
}

func (s *System) in(u unit, words string) *System {
	m := *s
	m.code, m.unit = 0, u
	m.name = s.name + " in " + words
	m.definition = m.write()
	return &m
}

// Geographic is the base geographic system: longitudes and latitudes in
// degrees from the system's own prime meridian.
func (s *System) Geographic() *System {
	if !s.Projected() && s.unit == degree {
		return s
	}
	if s.datum.toWGS84 == nil && s.meridian == epsg().meridians[epsg().datumMeridian[s.datum.code]] {
		if g, err := epsg().system(epsg().geoByName[plain(s.datum.short)]); err == nil && g.datum == s.datum && g.unit == degree {
			return g
		}
	}
	g := &System{name: s.datum.short, datum: s.datum, meridian: s.meridian, unit: degree}
	if s.meridian.deg != 0 {
		g.name += " (" + s.meridian.name + ")"
	}
	g.definition = g.write()
	return g
}

// onDatum is the same projection on another geographic system.
func (s *System) onDatum(base *System) (*System, error) {
	if !s.Projected() {
		return base, nil
	}
	p, err := newProjected(base, s.method, s.values, s.unit)
	if err != nil {
		return nil, err
	}
	p.name, p.area, p.notes = s.name+" on "+base.name, s.area, s.notes
	p.definition = p.write()
	return p, nil
}

// InFrame is the same system with its positions in another reference frame,
// named as EPSG names it ("ITRF2014", "NAD83(2011)"): what a receiver's file
// means by "WGS 84" when its corrections came in that frame.
func (s *System) InFrame(name string) (*System, error) {
	base, err := Parse(name)
	if err != nil {
		return nil, fmt.Errorf("frame %q: %w", name, err)
	}
	return s.onDatum(base.Geographic())
}

// UTM is the UTM zone around a position (degrees from Greenwich) on the datum
// of s, in metres; the built-in system of that zone where there is one. Zones
// are the regular six degrees, without the exceptions around Norway.
func UTM(s *System, lon, lat float64) (*System, error) {
	if !(math.Abs(lon) <= 360) || !(math.Abs(lat) <= 90) {
		return nil, fmt.Errorf("position %v, %v: longitude and latitude in degrees are needed to choose a UTM zone", lon, lat)
	}
	zone := int(math.Mod(lon+720+180, 360)/6) + 1
	conversion, letter := 16000+zone, "N"
	if lat < 0 {
		conversion, letter = 16100+zone, "S"
	}
	g := s.Geographic()
	c := epsg()
	for _, code := range slices.Backward(c.codes) { // ETRS89 has twins in other axis orders before
		r := c.projected[code]
		if integer(r[3]) == conversion && integer(r[4]) == 9001 && integer(r[2]) == g.code {
			return c.system(code)
		}
	}
	v := noValues()
	v[originLat], v[originLon], v[scaleFactor], v[falseEasting], v[falseNorthing] = 0, float64(6*zone-183)-g.meridian.deg, 0.9996, 500000, 0
	if lat < 0 {
		v[falseNorthing] = 1e7
	}
	u, err := newProjected(g, methodOf(9807, ""), v, metre)
	if err != nil {
		return nil, err
	}
	u.name = fmt.Sprintf("%s / UTM zone %d%s", g.name, zone, letter)
	u.definition = u.write()
	return u, nil
}

// Factors are the point scale factor (grid distance over distance on the
// ellipsoid) and the meridian convergence (radians, positive where grid north
// lies east of true north) at a point in the system's own coordinates. Where
// the method is not conformal, the scale is the square root of the areal scale.
func (s *System) Factors(p orb.Point) (scale, convergenceRad float64, err error) {
	if !s.Projected() {
		return 0, 0, fmt.Errorf("%s is a geographic system: it has no grid, so no scale factor; use a projected one", s.name)
	}
	lon, lat := s.projection.inverse(p[0]*s.unit.factor, p[1]*s.unit.factor)
	scale, convergenceRad = s.projection.factors(lon, lat)
	if !finite(scale) || !finite(convergenceRad) {
		return 0, 0, s.outside(p)
	}
	return scale, convergenceRad, nil
}

// geodetic is the position of a point: radians from Greenwich.
func (s *System) geodetic(p orb.Point) (lon, lat float64, err error) {
	if s.projection == nil {
		lon, lat = p[0]*s.unit.factor, p[1]*s.unit.factor
		if !(math.Abs(lat) <= math.Pi/2+1e-12) || !(math.Abs(lon) <= 2*math.Pi+1e-12) {
			return 0, 0, s.outside(p)
		}
	} else {
		lon, lat = s.projection.inverse(p[0]*s.unit.factor, p[1]*s.unit.factor)
		if !finite(lon) || !finite(lat) {
			return 0, 0, s.outside(p)
		}
	}
	return lon + s.meridian.deg*radPerDegree, lat, nil
}

// point is the point at a position.
func (s *System) point(lon, lat float64) (orb.Point, error) {
	lon = wrap(lon - s.meridian.deg*radPerDegree)
	if s.projection == nil {
		return orb.Point{lon / s.unit.factor, lat / s.unit.factor}, nil
	}
	x, y := s.projection.forward(lon, lat)
	if !finite(x) || !finite(y) {
		return orb.Point{}, fmt.Errorf("longitude %.9f, latitude %.9f degrees lies outside what %s can project: check the position, or its order (longitude first)",
			lon/radPerDegree, lat/radPerDegree, s.name)
	}
	return orb.Point{x / s.unit.factor, y / s.unit.factor}, nil
}

func (s *System) outside(p orb.Point) error {
	if s.projection == nil {
		return fmt.Errorf("%v, %v are no longitude and latitude in %ss (%s): check the columns, their order and the coordinate system; metres or feet need a projected one",
			p[0], p[1], s.unit.name, s.name)
	}
	return fmt.Errorf("%v, %v lies outside what %s can mean: check the coordinate system and its unit (%s)", p[0], p[1], s.name, s.unit.name)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
