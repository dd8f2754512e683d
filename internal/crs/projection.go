package crs

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// projection is one method with its parameters: radians (longitude from the
// system's prime meridian) to metres and back. A method answers NaN where it
// has no value; the caller turns that into an error that names the point.
type projection interface {
	forward(lon, lat float64) (x, y float64)
	inverse(x, y float64) (lon, lat float64)
	// factors are the scale factor at a point and the meridian convergence,
	// positive where grid north lies east of true north. A method that is not
	// conformal gives the square root of its areal scale, and the direction of
	// the meridian.
	factors(lon, lat float64) (scale, convergence float64)
}

// role is what a parameter does in its method, whatever EPSG, OGC or ESRI
// call it.
type role int

const (
	originLat role = iota
	originLon
	parallel1
	parallel2
	scaleFactor
	azimuth
	rectified // angle from the rectified to the skew grid
	ellipsoidScale
	falseEasting
	falseNorthing
	sphereType // of the auxiliary sphere: ESRI's Web Mercator
	roles
)

// parameterName is one name of a parameter. The first of a role is what
// definitions are written with.
type parameterName struct {
	role role
	code int    // EPSG
	name string // as EPSG and WKT2 have it
	wkt1 string // as WKT1 has it
}

var parameterNames = []parameterName{
	{originLat, 8801, "Latitude of natural origin", "latitude_of_origin"},
	{originLat, 8811, "Latitude of projection centre", "latitude_of_center"},
	{originLat, 8821, "Latitude of false origin", "latitude_of_origin"},
	{originLat, 0, "Latitude of centre", "latitude_of_centre"},
	{originLon, 8802, "Longitude of natural origin", "central_meridian"},
	{originLon, 8812, "Longitude of projection centre", "longitude_of_center"},
	{originLon, 8822, "Longitude of false origin", "central_meridian"},
	{originLon, 8833, "Longitude of origin", "central_meridian"},
	{originLon, 0, "Longitude of origin", "longitude_of_origin"},
	{originLon, 0, "Longitude of centre", "longitude_of_centre"},
	{parallel1, 8823, "Latitude of 1st standard parallel", "standard_parallel_1"},
	{parallel1, 8832, "Latitude of standard parallel", "latitude_of_origin"}, // on its own: originLat
	{parallel2, 8824, "Latitude of 2nd standard parallel", "standard_parallel_2"},
	{scaleFactor, 8805, "Scale factor at natural origin", "scale_factor"},
	{scaleFactor, 8815, "Scale factor on initial line", "scale_factor"},
	{scaleFactor, 8815, "Scale factor at projection centre", "scale_factor"},
	{azimuth, 8813, "Azimuth of initial line", "azimuth"},
	{azimuth, 8813, "Azimuth at projection centre", "azimuth"},
	{rectified, 8814, "Angle from Rectified to Skew Grid", "rectified_grid_angle"},
	{rectified, 8814, "Angle from Rectified to Skew Grid", "xy_plane_rotation"},
	{ellipsoidScale, 1038, "Ellipsoid scaling factor", "ellipsoid_scaling_factor"},
	{falseEasting, 8806, "False easting", "false_easting"},
	{falseEasting, 8816, "Easting at projection centre", "false_easting"},
	{falseEasting, 8826, "Easting at false origin", "false_easting"},
	{falseNorthing, 8807, "False northing", "false_northing"},
	{falseNorthing, 8817, "Northing at projection centre", "false_northing"},
	{falseNorthing, 8827, "Northing at false origin", "false_northing"},
	{sphereType, 0, "Auxiliary sphere type", "auxiliary_sphere_type"},
}

// kind says in what a parameter is measured.
func (r role) kind() byte {
	switch r {
	case scaleFactor, ellipsoidScale, sphereType:
		return 'n' // a number
	case falseEasting, falseNorthing:
		return 'l' // a length
	}
	return 'a' // an angle
}

// values are the parameters of a projection by role: degrees, metres, one.
// What is not given is NaN.
type values [roles]float64

func noValues() (v values) {
	for r := range v {
		v[r] = math.NaN()
	}
	return v
}

func (v *values) has(r role) bool { return !math.IsNaN(v[r]) }

// ordered has the smaller standard parallel first: their order means nothing.
func (v values) ordered() values {
	if v[parallel1] > v[parallel2] {
		v[parallel1], v[parallel2] = v[parallel2], v[parallel1]
	}
	return v
}

// rad is an angle in radians.
func (v *values) rad(r role) float64 { return v[r] * radPerDegree }

// method is a projection method. A file of this package defines it and
// registers it in init; nothing else needs to know of it.
type method struct {
	code      int      // EPSG
	name      string   // as EPSG has it
	wkt1      []string // PROJECTION names of WKT1; methods may share one
	uses      []param
	conformal bool
	// adapt turns parameters as WKT1 writes them into the method's own, and
	// says whether they are this method's at all; nil where nothing is special.
	adapt func(v *values) bool
	build func(e ellipsoid, v *values) (projection, error)
}

// param is a parameter of a method.
type param struct {
	role     role
	code     int     // EPSG code, for writing
	fallback float64 // where it is not given; NaN if it must be
}

// required is a parameter that a definition must give.
func required(r role, code int) param { return param{r, code, math.NaN()} }

var methods []*method

func register(m method) { methods = append(methods, &m) }

func (m *method) param(r role) (param, bool) {
	i := slices.IndexFunc(m.uses, func(p param) bool { return p.role == r })
	if i < 0 {
		return param{}, false
	}
	return m.uses[i], true
}

// complete fills in what may be left out and says what is wrong with the rest.
func (m *method) complete(v values) (values, error) {
	for r := range roles {
		p, used := m.param(r)
		switch {
		case !used && v.has(r) && !neutral(r, v[r]):
			return v, fmt.Errorf("parameter %q (%v) is none of the method %q: take it out or name the method that has it", nameOf(r, 0).name, v[r], m.name)
		case used && !v.has(r):
			if math.IsNaN(p.fallback) {
				return v, fmt.Errorf("method %q needs the parameter %q: add it", m.name, nameOf(r, p.code).name)
			}
			v[r] = p.fallback
		case !used:
			v[r] = math.NaN()
		}
		if used && math.IsInf(v[r], 0) {
			return v, fmt.Errorf("parameter %q of the method %q is %v: give a finite number", nameOf(r, p.code).name, m.name, v[r])
		}
	}
	for _, r := range []role{originLat, parallel1, parallel2} {
		if math.Abs(v[r]) > 90 {
			return v, fmt.Errorf("parameter %q is %v degrees: a latitude lies between -90 and 90", nameOf(r, 0).name, v[r])
		}
	}
	for _, r := range []role{scaleFactor, ellipsoidScale} {
		if v[r] <= 0 || v[r] > 10 {
			return v, fmt.Errorf("parameter %q is %v: a scale factor is near 1", nameOf(r, 0).name, v[r])
		}
	}
	return v, nil
}

// neutral says whether a parameter that a method has no use for says nothing
// (writers add them): a scale of 1, an origin at 0.
func neutral(r role, v float64) bool {
	switch r {
	case scaleFactor, ellipsoidScale:
		return v == 1
	}
	return v == 0
}

func nameOf(r role, code int) parameterName {
	for _, n := range parameterNames {
		if n.role == r && (code == 0 || n.code == code) {
			return n
		}
	}
	return parameterName{}
}

// roleOf finds a parameter by EPSG code (0 none) or by any of its names.
func roleOf(code int, name string) (role, bool) {
	key := plain(name)
	for _, n := range parameterNames {
		if code != 0 && n.code == code || plain(n.name) == key || plain(n.wkt1) == key {
			return n.role, true
		}
	}
	return 0, false
}

// methodOf finds a method by EPSG code (0 none) or by its EPSG name.
func methodOf(code int, name string) *method {
	for _, m := range methods {
		if code != 0 && m.code == code || code == 0 && plain(m.name) == plain(name) {
			return m
		}
	}
	return nil
}

// methodOfWKT1 finds the method of a WKT1 PROJECTION that its parameters fit.
func methodOfWKT1(name string, given values) (*method, values, error) {
	var first error
	for _, m := range methods {
		if !slices.ContainsFunc(m.wkt1, func(n string) bool { return plain(n) == plain(name) }) {
			continue
		}
		v := given
		if m.adapt != nil && !m.adapt(&v) {
			continue
		}
		v, err := m.complete(v)
		if err == nil {
			return m, v, nil
		}
		if first == nil {
			first = err
		}
	}
	if first == nil {
		first = unknownMethod(name)
	}
	return nil, given, first
}

func unknownMethod(name string) error {
	var known []string
	for _, m := range methods {
		known = append(known, m.name)
	}
	slices.Sort(known)
	return fmt.Errorf("projection method %q is not known: convert the data to a system of one of the methods %s", name, strings.Join(known, ", "))
}

// plain is a name without case, spaces and punctuation, for comparing. The
// plus sign stays: CH1903 and CH1903+ are two datums.
func plain(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '+' || r > 127 {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// wrap brings an angle into (-pi, pi].
func wrap(a float64) float64 {
	if a > -math.Pi && a <= math.Pi {
		return a
	}
	a = math.Remainder(a, 2*math.Pi)
	if a == -math.Pi {
		return math.Pi
	}
	return a
}
