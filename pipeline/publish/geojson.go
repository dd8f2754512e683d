package publish

import (
	"bufio"

	"github.com/asfound/asfound/internal/crs"
	"github.com/paulmach/orb"
)

// lonLatDecimals are the decimals of a longitude or latitude: about 0.1 mm.
const lonLatDecimals = 9

// writeGeoJSON writes a table as a feature collection after RFC 7946: WGS 84
// longitude and latitude, no crs member. The caution and the coordinate
// operation stand in the foreign member "asfound" before the features.
func (e *edition) writeGeoJSON(w *bufio.Writer, t table) error {
	g := collection{w: w}
	g.begin(e, t.name, origin{crs: e.Survey.Plane, toWGS84: e.toWGS84})
	for r := range t.rows {
		if err := g.feature(t, r, e.lonLat); err != nil {
			return err
		}
	}
	return g.end()
}

// collection writes a feature collection, one feature a line.
type collection struct {
	w       *bufio.Writer
	line    []byte
	members int
}

// origin is a system that features were in before an operation took them to
// WGS 84: undoing that very operation gives them back.
type origin struct {
	source  string // of records; "" for what was in the working plane
	crs     string // definition
	toWGS84 *crs.Operation
}

// begin opens the collection with what a reader of this file alone must know.
func (g *collection) begin(e *edition, name string, origins ...origin) {
	b := append(g.line[:0], `{"type":"FeatureCollection","name":`...)
	b = appendJSONString(b, name)
	b = append(b, ",\n"+`"asfound":{"caution":`...)
	b = appendJSONString(b, caution())
	if e.Banner != "" {
		b = append(b, `,"banner":`...)
		b = appendJSONString(b, e.Banner)
	}
	b = append(b, `,"job":`...)
	b = appendJSONString(b, e.Job)
	b = append(b, `,"version":`...)
	b = appendJSONString(b, e.Version)
	b = append(b, `,"coordinate_operations":[`...)
	for i, o := range origins {
		b = append(appendComma(b, i), `{"source":`...)
		b = appendJSONString(b, o.source)
		b = append(b, `,"crs":`...)
		b = appendJSONString(b, o.crs)
		b = append(b, `,"operation":`...)
		b = appendJSONString(b, o.toWGS84.Name())
		b = append(b, `,"accuracy_m":`...)
		b = appendJSON(b, lengthColumn(""), number(o.toWGS84.AccuracyM()))
		b = append(b, '}')
	}
	b = append(b, "]},\n"+`"features":[`...)
	g.line = b
	g.w.Write(b) // a buffered writer keeps its error until Flush
}

// feature writes a row; toWGS84 takes its coordinates to longitude and latitude.
func (g *collection) feature(t table, r row, toWGS84 func(orb.Point) (orb.Point, error)) error {
	b := g.open()
	for i, c := range t.columns {
		b = appendJSONString(appendComma(b, i), c.name)
		b = append(b, ':')
		b = appendJSON(b, c, r.cells[i])
	}
	return g.close(b, r.lines, toWGS84)
}

// open starts a feature up to its properties.
func (g *collection) open() []byte {
	b := appendComma(g.line[:0], g.members)
	g.members++
	return append(b, "\n"+`{"type":"Feature","properties":{`...)
}

// close ends the properties and writes the geometry.
func (g *collection) close(b []byte, lines orb.MultiLineString, toWGS84 func(orb.Point) (orb.Point, error)) error {
	b = append(b, `},"geometry":`...)
	b, err := appendGeometry(b, lines, toWGS84)
	if err != nil {
		return err
	}
	b = append(b, '}')
	g.line = b
	_, err = g.w.Write(b)
	return err
}

func (g *collection) end() error {
	_, err := g.w.WriteString("\n]}\n")
	return err
}

// appendGeometry writes lines as the simplest geometry that holds them: points
// where no part has two vertices, lines otherwise, null for nothing.
func appendGeometry(b []byte, lines orb.MultiLineString, toWGS84 func(orb.Point) (orb.Point, error)) ([]byte, error) {
	name, parts := simplest(lines)
	if name == "" {
		return append(b, "null"...), nil
	}
	b = append(b, `{"type":"`...)
	b = append(b, name...)
	b = append(b, `","coordinates":`...)
	many := name == "MultiPoint" || name == "MultiLineString"
	if many {
		b = append(b, '[')
	}
	for i, part := range parts {
		b = appendComma(b, i)
		line := len(part) > 1
		if line {
			b = append(b, '[')
		}
		for j, p := range part {
			q, err := toWGS84(p)
			if err != nil {
				return b, err
			}
			b = append(appendComma(b, j), '[')
			b = appendFixed(b, q[0], lonLatDecimals)
			b = append(b, ',')
			b = appendFixed(b, q[1], lonLatDecimals)
			b = append(b, ']')
		}
		if line {
			b = append(b, ']')
		}
	}
	if many {
		b = append(b, ']')
	}
	return append(b, '}'), nil
}

// simplest is the geometry type, in the words of the standards, that parts make
// up, and the parts that belong to it: beside a line, a part of one vertex is
// left out.
func simplest(lines orb.MultiLineString) (name string, parts orb.MultiLineString) {
	if len(lines) == 1 && len(lines[0]) > 1 {
		return "LineString", lines
	}
	var points, strings orb.MultiLineString
	for _, part := range lines {
		switch {
		case len(part) == 1:
			points = append(points, part)
		case len(part) > 1:
			strings = append(strings, part)
		}
	}
	switch {
	case len(strings) > 1:
		return "MultiLineString", strings
	case len(strings) == 1:
		return "LineString", strings
	case len(points) > 1:
		return "MultiPoint", points
	case len(points) == 1:
		return "Point", points
	}
	return "", nil
}
