package crs

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// maxDefinition is more than any definition takes; longer input is no
// definition.
const maxDefinition = 1 << 20

var epsgCode = regexp.MustCompile(`(?i)^(?:epsg|urn:ogc:def:crs:epsg|https?://www\.opengis\.net/def/crs/epsg)[:/]+(?:[0-9.]*[:/])?([0-9]{1,9})$`)

// Parse reads a definition of a coordinate system:
//
//   - "EPSG:2236" (also as OGC URN or URL) of the built-in tables;
//   - WKT1 in the dialects of OGC/GDAL and ESRI, the text of a .prj;
//   - WKT2 of 2015 and 2019: GEOGCRS, GEODCRS, PROJCRS, and those in a
//     COMPOUNDCRS or BOUNDCRS;
//   - the EPSG name of a system or frame: "NAD83(2011)", "ITRF2014".
//
// A definition's numbers decide, not its names. Heights that follow the
// horizontal system are passed over and noted. What is not known is an error
// that names it.
func Parse(def string) (*System, error) {
	def = strings.TrimSpace(strings.Trim(strings.TrimSpace(def), "\x00\ufeff"))
	switch {
	case def == "":
		return nil, errors.New("no coordinate system is given: name one, such as EPSG:2236")
	case len(def) > maxDefinition:
		return nil, fmt.Errorf("coordinate system: %d bytes are no definition", len(def))
	}
	if m := epsgCode.FindStringSubmatch(def); m != nil {
		code, _ := strconv.Atoi(m[1])
		return epsg().system(code)
	}
	if strings.ContainsAny(def, "[(") && !strings.HasPrefix(def, "+") {
		if s, err := byName(def); err == nil {
			return s, nil
		}
		return fromWKT(def)
	}
	return byName(def)
}

func fromWKT(def string) (*System, error) {
	ns, err := parseWKT(def)
	if err != nil {
		return nil, fmt.Errorf("coordinate system: %w", err)
	}
	s, err := systemOf(ns[0])
	if err == nil {
		err = s.tied()
	}
	if err != nil {
		return nil, fmt.Errorf("coordinate system %q: %w", clip(ns[0].text(0)), err)
	}
	s.definition = def
	for _, n := range ns[1:] {
		if !n.is(verticalKeywords...) {
			return nil, fmt.Errorf("coordinate system %q is followed by %s[: keep one definition", clip(ns[0].text(0)), clip(n.keyword))
		}
		s.noteHeights(n)
	}
	return s, nil
}

// byName finds a system of the tables by its EPSG name.
func byName(name string) (*System, error) {
	if len(name) < 100 {
		if code := epsg().named(plain(name)); code != 0 {
			return epsg().system(code)
		}
	}
	return nil, fmt.Errorf("coordinate system %q is not known: give an EPSG code (EPSG:2236), the WKT of a .prj, or the EPSG name of a system or frame (ITRF2014)", clip(name))
}

func clip(s string) string {
	if len(s) > 80 {
		return s[:80] + "..."
	}
	return s
}
