package crs

import (
	"fmt"
	"strings"
)

// write is the system as WKT2:2019, in which every parameter has its own unit,
// so that reading it back loses nothing.
func (s *System) write() string {
	var b strings.Builder
	base := "GEOGCRS"
	if s.Projected() {
		base = "BASEGEOGCRS"
		fmt.Fprintf(&b, "PROJCRS[%s,", quote(s.name))
	}
	name := s.name
	if s.Projected() {
		name = s.datum.short
	}
	el := s.datum.ellipsoid
	fmt.Fprintf(&b, `%s[%s,DATUM[%s,ELLIPSOID[%s,%s,%s,LENGTHUNIT["metre",1]]],PRIMEM[%s,%s,ANGLEUNIT["degree",%s]]`,
		base, quote(name), quote(s.datum.name), quote(el.name), number(el.a), number(el.invF), quote(s.meridian.name), number(s.meridian.deg), number(degree.factor))
	if !s.Projected() {
		u := fmt.Sprintf("ANGLEUNIT[%s,%s]", quote(s.unit.name), number(s.unit.factor))
		fmt.Fprintf(&b, `,CS[ellipsoidal,2],AXIS["longitude",east],AXIS["latitude",north],%s]`, u)
		return s.boundText(b.String())
	}
	fmt.Fprintf(&b, `],CONVERSION[%s,METHOD[%s,ID["EPSG",%d]]`, quote(s.name), quote(s.method.name), s.method.code)
	for _, p := range s.method.uses {
		u := `SCALEUNIT["unity",1]`
		switch p.role.kind() {
		case 'a':
			u = fmt.Sprintf(`ANGLEUNIT["degree",%s]`, number(degree.factor))
		case 'l':
			u = `LENGTHUNIT["metre",1]`
		}
		fmt.Fprintf(&b, `,PARAMETER[%s,%s,%s,ID["EPSG",%d]]`, quote(nameOf(p.role, p.code).name), number(s.values[p.role]), u, p.code)
	}
	fmt.Fprintf(&b, `],CS[Cartesian,2],AXIS["easting",east],AXIS["northing",north],LENGTHUNIT[%s,%s]]`, quote(s.unit.name), number(s.unit.factor))
	return s.boundText(b.String())
}

// WKT1 is the system in the older WKT of OGC 01-009, as GeoPackage and .prj
// files want it. Lengths are in the system's own unit, which may cost a last
// digit that Definition keeps.
func (s *System) WKT1() string {
	el := s.datum.ellipsoid
	name, u := s.name, s.unit
	if s.Projected() {
		name, u = s.datum.short, degree
	}
	shift := ""
	if h := s.datum.toWGS84; h != nil {
		shift = fmt.Sprintf(",TOWGS84[%s,%s,%s,%s,%s,%s,%s]", number(h.t[0]), number(h.t[1]), number(h.t[2]),
			number(h.r[0]/1000), number(h.r[1]/1000), number(h.r[2]/1000), number(h.s/1000))
	}
	geographic := fmt.Sprintf(`GEOGCS[%s,DATUM[%s,SPHEROID[%s,%s,%s]%s],PRIMEM[%s,%s],UNIT[%s,%s]`,
		quote(name), quote(strings.ReplaceAll(strings.TrimSuffix(s.datum.name, " ensemble"), " ", "_")), quote(el.name), number(el.a), number(el.invF), shift,
		quote(s.meridian.name), number(s.meridian.deg), quote(u.name), number(u.factor))
	if !s.Projected() {
		return geographic + `,AXIS["Longitude",EAST],AXIS["Latitude",NORTH]]`
	}
	var b strings.Builder
	fmt.Fprintf(&b, "PROJCS[%s,%s],PROJECTION[%s]", quote(s.name), geographic, quote(s.method.wkt1[0]))
	for _, p := range s.method.uses {
		v := s.values[p.role]
		if p.role.kind() == 'l' {
			v /= s.unit.factor
		}
		fmt.Fprintf(&b, ",PARAMETER[%s,%s]", quote(nameOf(p.role, p.code).wkt1), number(v))
	}
	fmt.Fprintf(&b, `,UNIT[%s,%s],AXIS["Easting",EAST],AXIS["Northing",NORTH]]`, quote(s.unit.name), number(s.unit.factor))
	return b.String()
}

// boundText wraps a definition in its own transformation to WGS 84, where it
// has one.
func (s *System) boundText(def string) string {
	h := s.datum.toWGS84
	if h == nil {
		return def
	}
	wgs, _ := epsg().system(4326)
	var b strings.Builder
	fmt.Fprintf(&b, `BOUNDCRS[SOURCECRS[%s],TARGETCRS[%s],ABRIDGEDTRANSFORMATION[%s,METHOD["Position Vector transformation (geog2D domain)",ID["EPSG",9606]]`, def, wgs.write(), quote(h.name))
	for i, axis := range []string{"X", "Y", "Z"} {
		fmt.Fprintf(&b, `,PARAMETER["%s-axis translation",%s,LENGTHUNIT["metre",1],ID["EPSG",%d]]`, axis, number(h.t[i]), 8605+i)
	}
	for i, axis := range []string{"X", "Y", "Z"} {
		fmt.Fprintf(&b, `,PARAMETER["%s-axis rotation",%s,ANGLEUNIT["milliarc-second",%s],ID["EPSG",%d]]`, axis, number(h.r[i]), number(masRad), 8608+i)
	}
	fmt.Fprintf(&b, `,PARAMETER["Scale difference",%s,SCALEUNIT["parts per billion",0.000000001],ID["EPSG",8611]]]]`, number(h.s))
	return b.String()
}

func quote(s string) string { return `"` + strings.ReplaceAll(s, `"`, `""`) + `"` }
