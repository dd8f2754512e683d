package publish

import (
	"fmt"
	"math"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// writeGeoPackage writes records-updated.gpkg: a layer a source of records
// or fittings in its own system, and findings, readings and unmapped lines in the
// working plane.
func (e *edition) writeGeoPackage(path string) error {
	g, err := createGeoPackage(path, e.dataTime())
	if err != nil {
		return err
	}
	if err := e.fill(g); err != nil {
		g.abandon()
		return err
	}
	return g.finish()
}

func (e *edition) fill(g *geopackage) error {
	text := strings.Join(append([]string{e.Banner, caution()}, e.operations()...), "\n")
	if err := g.describe(strings.TrimSpace(text)); err != nil {
		return err
	}
	tables := []table{e.findings("findings"), e.readings(), e.findings("unmapped", survey.KindUnmapped)}
	for _, t := range tables {
		g.tables[t.name] = true // the fixed names come before those of layers
	}
	sources := e.sources()
	for i := range sources {
		if err := e.writeSource(g, &sources[i]); err != nil {
			return err
		}
	}
	for _, t := range tables {
		if err := e.writeTable(g, t); err != nil {
			return err
		}
	}
	return g.writeStyles()
}

// dataTime stands where the standard wants a time of change: that of the
// newest reading, since a run's own time would make every file different.
func (e *edition) dataTime() string {
	newest := e.lastReading()
	if newest.IsZero() {
		return "1970-01-01T00:00:00.000Z"
	}
	return newest.UTC().Format("2006-01-02T15:04:05.000Z")
}

// writeSource writes one source of the map as it came in, with corrected features
// where there are any.
func (e *edition) writeSource(g *geopackage, src *sourced) error {
	out := layer{
		table:  g.name(src.Name),
		system: src.frame.system,
		description: fmt.Sprintf("%s of %s in their own coordinate system. Corrected vertices: %s. %s",
			src.what, oneLine(src.Source), src.frame.fromPlane.Name(), survey.Caution),
		names:    uniqueNames(src.Fields, src.added, "fid", "geom"),
		geometry: src.shape, z: src.z,
	}
	for a := range src.Fields {
		out.types = append(out.types, sqlType(src.Layer, a))
	}
	for _, c := range src.added {
		out.names = append(out.names, c.name)
		out.types = append(out.types, c.sqlType())
	}
	values := make([]any, len(out.names))
	return g.write(out, func(yield func(feature) error) error {
		return src.each(func(i int, geom geometry) error {
			for a := range src.Fields {
				values[a] = sqlValue(out.types[a], src.Features[i].Values[a])
			}
			for k, v := range src.cells(i) {
				values[len(src.Fields)+k] = src.added[k].sqlValue(v)
			}
			return yield(feature{int64(i + 1), geom, values})
		})
	})
}

// writeTable writes a table as a layer in the working plane.
func (e *edition) writeTable(g *geopackage, t table) error {
	out := layer{
		table: t.name, system: e.plane, geometry: "GEOMETRY",
		description: "In the working plane of the job, " + e.plane.Name() + ". " + survey.Caution,
	}
	if t.name == "readings" {
		out.geometry = "POINT"
	}
	for _, c := range t.columns {
		out.names = append(out.names, c.name)
		out.types = append(out.types, c.sqlType())
	}
	values := make([]any, len(out.names))
	return g.write(out, func(yield func(feature) error) error {
		fid := int64(0)
		for r := range t.rows {
			fid++
			for i, c := range t.columns {
				values[i] = c.sqlValue(r.cells[i])
			}
			if err := yield(feature{fid, geometry{parts: r.lines}, values}); err != nil {
				return err
			}
		}
		return nil
	})
}

func (c column) sqlType() string {
	return [...]string{kindText: "TEXT", kindNumber: "DOUBLE", kindInteger: "INTEGER", kindBool: "BOOLEAN"}[c.kind]
}

// sqlValue is a cell as the driver takes it.
func (c column) sqlValue(v cell) any {
	switch {
	case c.unknown(v):
		return nil
	case c.kind == kindText:
		return strings.ToValidUTF8(v.text, "\uFFFD")
	case c.kind == kindNumber:
		return rounded(v.number, c.decimals)
	}
	return int64(math.Round(v.number))
}
