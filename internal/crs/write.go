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
