package crs

import (
	"fmt"
	"math"
	"strings"
)

// projectedWKT1 reads PROJCS in the dialects of OGC/GDAL and of ESRI. They
// differ in the names of methods and parameters, which every method lists, and
// ESRI leaves out what can be left out.
func projectedWKT1(n *node) (*System, error) {
	g := n.child("GEOGCS")
	if g == nil {
		return nil, fmt.Errorf("PROJCS has no GEOGCS")
	}
	base, err := geographicWKT(g)
	if err != nil {
		return nil, err
	}
	un := n.child("UNIT")
	if un == nil {
		return nil, fmt.Errorf("PROJCS has no UNIT: add the unit of its eastings and northings")
	}
	u, err := unitOf(un, linear)
	if err != nil {
		return nil, err
	}
	m, v, err := conversionWKT1(n, base.unit, u)
	if err != nil {
		return nil, err
	}
	if err := checkAxes(n, m, v); err != nil {
		return nil, err
	}
	s, err := newProjected(base, m, v, u)
	if err != nil {
		return nil, err
	}
	s.name, s.notes = n.text(0), base.notes
	s.noteUnit(un)
	if v := n.child(verticalKeywords...); v != nil {
		s.noteHeights(v)
	}
	return s, nil
}

// conversionWKT1 is the method of a PROJCS with its parameters: angles come in
// the unit of the geographic system, lengths in that of the projected one.
func conversionWKT1(n *node, angle, length unit) (*method, values, error) {
	v := noValues()
	projection := n.child("PROJECTION")
	if projection == nil {
		return nil, v, fmt.Errorf("PROJCS has no PROJECTION")
	}
	for _, p := range n.children("PARAMETER") {
		r, known := roleOf(0, p.text(0))
		if !known {
			return nil, v, fmt.Errorf("parameter %q of the method %q is not known: give the system's EPSG code, or the parameter's name in OGC's or ESRI's WKT", clip(p.text(0)), clip(projection.text(0)))
		}
		x, err := p.number(1)
		if err != nil {
			return nil, v, err
		}
		if v.has(r) && v[r] != x {
			return nil, v, fmt.Errorf("parameter %q is given twice", clip(p.text(0)))
		}
		switch r.kind() {
		case 'a':
			if angle != degree {
				x *= angle.factor / radPerDegree
			}
		case 'l':
			x *= length.factor
		}
		v[r] = x
	}
	if ext := n.child("EXTENSION"); ext != nil {
		if !pseudoMercator(ext.text(1)) {
			return nil, v, fmt.Errorf("EXTENSION[%q] changes the projection in a way that is not known: give the system's EPSG code", clip(ext.text(1)))
		}
		m := methodOf(1024, "")
		v, err := m.complete(v)
		return m, v, err
	}
	return methodOfWKT1(projection.text(0), v)
}

// pseudoMercator recognises how GDAL writes Web Mercator in WKT1: Mercator_1SP,
// with an EXTENSION that puts it on a sphere without a shift.
func pseudoMercator(extension string) bool {
	has := func(s string) bool { return strings.Contains(" "+extension+" ", " "+s+" ") }
	return has("+proj=merc") && has("+a=6378137") && has("+b=6378137") && has("+nadgrids=@null")
}

// checkAxes refuses axes that do not point east and north: points are x to
// the east and y to the north whatever the order of the axes. Around a pole
// axes follow meridians, so they may be named by any direction.
func checkAxes(n *node, m *method, v values) error {
	for _, a := range n.children("AXIS") {
		switch dir := axisDirection(a); {
		case dir == "east" || dir == "north" || dir == "up" || dir == "":
		case strings.HasPrefix(m.name, "Polar") || v.has(originLat) && math.Abs(v[originLat]) == 90:
		default:
			return fmt.Errorf("axis %q points %s: only axes to the east and north are known; transform the data to such a system first", clip(a.text(0)), clip(dir))
		}
	}
	return nil
}

// noteUnit says where the unit's name or the system's name contradicts its
// number.
func (s *System) noteUnit(n *node) {
	stated, err := n.number(1)
	if err == nil && stated != s.unit.factor && math.Abs(stated-s.unit.factor) > 1e-14*s.unit.factor {
		s.note("unit %q of %v m taken for the %s", clip(n.text(0)), stated, s.unit.name)
	}
	survey := func(name string) bool {
		p := plain(name)
		return strings.Contains(p, "ftus") || strings.Contains(p, "usfoot") || strings.Contains(p, "usft") || strings.Contains(p, "surveyfoot") || strings.Contains(p, "surveyfeet") || p == "footus"
	}
	if s.unit == foot && (survey(n.text(0)) || survey(s.name)) {
		s.note("the name says US survey foot, the number says international foot (0.3048 m): went by the number")
	}
	if s.unit == surveyFoot && strings.Contains(plain(n.text(0)), "international") {
		s.note("the name says international foot, the number says US survey foot (1200/3937 m): went by the number")
	}
}
