package crs

import (
	"fmt"
	"math"
	"strings"
)

// systemOf builds the system of a WKT element of either generation.
func systemOf(n *node) (*System, error) {
	switch {
	case n.is("PROJCS"):
		return projectedWKT1(n)
	case n.is("PROJCRS", "PROJECTEDCRS"):
		return projectedWKT2(n)
	case n.is("GEOGCS", "GEOGCRS", "GEOGRAPHICCRS", "GEODCRS", "GEODETICCRS", "BASEGEOGCRS", "BASEGEODCRS"):
		return geographicWKT(n)
	case n.is("COMPD_CS", "COMPOUNDCRS"):
		return compoundWKT(n)
	case n.is("BOUNDCRS"):
		return boundWKT(n)
	case n.is("GEOCCS"):
		return nil, fmt.Errorf("a geocentric system (X, Y, Z) has no place on a map: give the geographic or projected one")
	case n.is("LOCAL_CS", "ENGCRS", "ENGINEERINGCRS"):
		return nil, fmt.Errorf("a local (engineering) system is tied to no datum: transform the data to a projected system first")
	case n.is(verticalKeywords...):
		return nil, fmt.Errorf("a height system alone says nothing of positions: give the horizontal one")
	}
	return nil, fmt.Errorf("WKT keyword %s is not known: a definition begins with PROJCS, GEOGCS, PROJCRS, GEOGCRS or a compound of these", clip(n.keyword))
}

// compoundWKT takes the horizontal part and notes the heights that it passes
// over.
func compoundWKT(n *node) (*System, error) {
	var s *System
	for _, a := range n.args[min(1, len(n.args)):] {
		switch {
		case a.is(verticalKeywords...), a.is("BOUNDCRS") && a.child("SOURCECRS") != nil && a.child("SOURCECRS").child(verticalKeywords...) != nil:
			if s != nil {
				s.noteHeights(a)
			}
		case a.keyword == "", a.is("ID", "AUTHORITY", "USAGE", "SCOPE", "AREA", "BBOX", "REMARK"):
		case s == nil:
			h, err := systemOf(a)
			if err != nil {
				return nil, err
			}
			s = h
		default:
			return nil, fmt.Errorf("compound system holds %s[%q]: only a horizontal system with heights is known", clip(clip(a.keyword)), clip(a.text(0)))
		}
	}
	if s == nil {
		return nil, fmt.Errorf("compound system has no horizontal part")
	}
	s.name = n.text(0)
	return s, nil
}

var verticalKeywords = []string{"VERTCS", "VERT_CS", "VERTCRS", "VERTICALCRS"}

func (s *System) noteHeights(vertical *node) {
	s.note("height system %q passed over: only positions are used", clip(vertical.text(0)))
}

// boundWKT is a system with its own transformation to WGS 84.
func boundWKT(n *node) (*System, error) {
	source, target, op := n.child("SOURCECRS"), n.child("TARGETCRS"), n.child("ABRIDGEDTRANSFORMATION")
	if source == nil || len(source.args) != 1 || target == nil || len(target.args) != 1 || op == nil {
		return nil, fmt.Errorf("BOUNDCRS needs one SOURCECRS, one TARGETCRS and an ABRIDGEDTRANSFORMATION")
	}
	s, err := systemOf(source.args[0])
	if err != nil {
		return nil, err
	}
	to, err := systemOf(target.args[0])
	if err != nil {
		return nil, err
	}
	if to.datum != epsg().datums[6326] {
		return nil, fmt.Errorf("BOUNDCRS leads to %s: only WGS 84 is known there", to.datum.name)
	}
	h, err := abridged(op)
	if err != nil {
		return nil, err
	}
	return s.bound(h), nil
}

// bound is the system with a transformation to WGS 84 that its own definition
// gives.
//
// A null one on a known datum says nothing: writers add it to be polite, and
// the table of null operations knows how good it is.
func (s *System) bound(h *helmert) *System {
	if h.isNull() && s.datum.code != 0 {
		return s
	}
	d := *s.datum
	d.toWGS84 = h
	b := *s
	b.datum, b.code = &d, 0
	b.note("transformation to WGS 84 taken from the definition itself")
	return &b
}

func (s *System) note(format string, args ...any) {
	s.notes = append(s.notes, fmt.Sprintf(format, args...))
}

// geographicWKT reads GEOGCS of WKT1 and GEOGCRS of WKT2: they differ in the
// names of their parts.
func geographicWKT(n *node) (*System, error) {
	u := degree
	var err error
	if un := angleUnit(n); un != nil {
		if u, err = unitOf(un, angular); err != nil {
			return nil, err
		}
	}
	if cs := n.child("CS"); cs != nil && strings.EqualFold(cs.text(0), "cartesian") {
		return nil, fmt.Errorf("a geocentric system (X, Y, Z) has no place on a map: give the geographic or projected one")
	}
	d, err := datumOf(n)
	if err != nil {
		return nil, err
	}
	m, err := meridianOf(n, u)
	if err != nil {
		return nil, err
	}
	s := &System{name: n.text(0), datum: d, meridian: m, unit: u}
	if k := epsg().datums[d.code]; k != nil && k.ellipsoid != d.ellipsoid {
		s.note("ellipsoid %q (1/%s) differs from that of %s (1/%s) in its last digits: went by the definition", d.ellipsoid.name, number(d.ellipsoid.invF), d.name, number(k.ellipsoid.invF))
	}
	if dn := n.child("DATUM"); dn != nil && dn.child("EXTENSION") != nil {
		s.note("grid %q that the definition names is not used: hand it over as a file", clip(dn.child("EXTENSION").text(1)))
	}
	for _, a := range n.children("AXIS") {
		if dir := axisDirection(a); dir != "north" && dir != "east" && dir != "up" && dir != "" {
			return nil, fmt.Errorf("axis %q points %s: only axes to the east and north are known; change the signs of the data", clip(a.text(0)), clip(dir))
		}
	}
	if tw := n.child("TOWGS84"); tw != nil { // before WKT1 was settled
		return s.withTOWGS84(tw)
	}
	if dn := n.child("DATUM"); dn != nil && dn.child("TOWGS84") != nil {
		return s.withTOWGS84(dn.child("TOWGS84"))
	}
	return s, nil
}

func (s *System) withTOWGS84(n *node) (*System, error) {
	if len(n.args) != 3 && len(n.args) != 7 {
		return nil, fmt.Errorf("TOWGS84 has %d numbers: 3 or 7 are needed", len(n.args))
	}
	h := &helmert{name: "TOWGS84 of the definition", accuracyM: math.NaN()}
	var v [7]float64
	for i := range n.args {
		x, err := n.number(i)
		if err != nil {
			return nil, err
		}
		v[i] = x
	}
	// Metres, arc seconds as position vector, parts per million.
	h.t = [3]float64{v[0], v[1], v[2]}
	h.r = [3]float64{v[3] * 1000, v[4] * 1000, v[5] * 1000}
	h.s = v[6] * 1000
	return s.bound(h), nil
}

// angleUnit is the unit of a geographic system, wherever WKT1 and WKT2 put it.
func angleUnit(n *node) *node {
	if u := n.child("UNIT", "ANGLEUNIT"); u != nil {
		return u
	}
	for _, a := range n.children("AXIS") {
		if u := a.child("UNIT", "ANGLEUNIT"); u != nil {
			return u
		}
	}
	return nil
}

// unitOf reads a UNIT with make, which is linear or angular.
func unitOf(n *node, make func(string, float64) (unit, error)) (unit, error) {
	f, err := n.number(1)
	if err != nil {
		return unit{}, err
	}
	return make(n.text(0), f)
}

// axisDirection is the direction of an AXIS of either generation, lower case.
func axisDirection(a *node) string {
	if len(a.args) < 2 {
		return ""
	}
	dir := a.args[1]
	if dir.keyword != "" {
		return strings.ToLower(dir.keyword)
	}
	return strings.ToLower(dir.value)
}

// datumOf finds the datum by its name, and checks it by its ellipsoid.
func datumOf(n *node) (*datum, error) {
	dn := n.child("DATUM", "ENSEMBLE", "GEODETICDATUM", "TRF")
	if dn == nil {
		return nil, fmt.Errorf("%s[%q] names no DATUM", clip(n.keyword), clip(n.text(0)))
	}
	el := dn.child("SPHEROID", "ELLIPSOID")
	if el == nil {
		return nil, fmt.Errorf("datum %q has no SPHEROID", clip(dn.text(0)))
	}
	a, err := el.number(1)
	if err != nil {
		return nil, err
	}
	invF, err := el.number(2)
	if err != nil {
		return nil, err
	}
	if u := el.child("UNIT", "LENGTHUNIT"); u != nil {
		lu, err := unitOf(u, linear)
		if err != nil {
			return nil, err
		}
		a *= lu.factor
	}
	if !(a > 1e6 && a < 1e8) || invF != 0 && !(invF > 100) {
		return nil, fmt.Errorf("ellipsoid %q (%v, 1/%v) is not the Earth: semi-major axis in metres and inverse flattening are needed", clip(el.text(0)), a, invF)
	}
	own := newEllipsoid(el.text(0), a, invF)
	d := findDatum(dn, own)
	switch {
	case d == nil: // tied reports it, unless the definition ties it to WGS 84 itself
		return &datum{name: dn.text(0), short: n.text(0), ellipsoid: own}, nil
	case d.ellipsoid.same(own):
		return d, nil
	case d.ellipsoid.near(own): // its numbers are trusted
		rounded := *d
		rounded.ellipsoid = own
		return &rounded, nil
	}
	return nil, fmt.Errorf("datum %q lies on %s (%s, 1/%s), but the definition puts it on %q (%s, 1/%s): one of the two is wrong; give the EPSG code of the data's system",
		clip(dn.text(0)), d.ellipsoid.name, number(d.ellipsoid.a), number(d.ellipsoid.invF), clip(el.text(0)), number(a), number(invF))
}

// tied refuses a datum that neither the tables know nor the definition ties to
// WGS 84: its positions could be compared with nothing.
func (s *System) tied() error {
	if s.datum.code == 0 && s.datum.toWGS84 == nil {
		return fmt.Errorf("datum %q is not known: name the data's system by its EPSG code, or correct the datum's name to EPSG's", clip(s.datum.name))
	}
	return nil
}

// findDatum looks a datum up by its names, then by its EPSG code. Of several
// with one name the one of the stated code is meant, or of the stated
// ellipsoid.
func findDatum(n *node, el ellipsoid) *datum {
	c := epsg()
	named := c.datumByName[datumKey(n.text(0))]
	for _, d := range named {
		if d.code == n.epsgID() && d.ellipsoid.same(el) {
			return d
		}
	}
	for _, close := range []func(ellipsoid) bool{el.same, el.near} {
		for _, d := range named {
			if close(d.ellipsoid) {
				return d
			}
		}
	}
	if len(named) > 0 {
		return named[0]
	}
	return c.datums[n.epsgID()]
}

// meridianOf is the prime meridian of a geographic system. The standard counts
// it in the unit of the system, common writers always in degrees: a known
// meridian's value tells which.
func meridianOf(n *node, u unit) (meridian, error) {
	pm := n.child("PRIMEM", "PRIMEMERIDIAN")
	if pm == nil {
		return epsg().meridians[8901], nil
	}
	v, err := pm.number(1)
	if err != nil {
		return meridian{}, err
	}
	if pu := pm.child("UNIT", "ANGLEUNIT"); pu != nil {
		if u, err = unitOf(pu, angular); err != nil {
			return meridian{}, err
		}
		if u != degree {
			v *= u.factor / radPerDegree
		}
		return meridian{pm.text(0), v}, nil
	}
	for _, deg := range []float64{v, v * u.factor / radPerDegree} {
		for code := 8901; code <= 8914; code++ {
			if m := epsg().meridians[code]; math.Abs(m.deg-deg) < 1e-6 {
				return m, nil
			}
		}
	}
	if u != degree {
		return meridian{}, fmt.Errorf("prime meridian %q at %v: degrees or %ss? Give a system in degrees, or a known meridian", clip(pm.text(0)), v, u.name)
	}
	if math.Abs(v) > 180 {
		return meridian{}, fmt.Errorf("prime meridian %q at %v degrees: it lies between -180 and 180", clip(pm.text(0)), v)
	}
	return meridian{pm.text(0), v}, nil
}
