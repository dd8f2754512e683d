package read

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/paulmach/orb"
)

// one is a feature that a test writes in every format: parts with heights, and
// values by the columns of the layer.
type one struct {
	parts  []orb.LineString // nil null; of one point for points
	z      [][]float64      // nil none
	values []string
}

// makers write a layer of lines or polygons in UTM zone 17N, and say how it is
// named. All values are texts.
var makers = map[string]func(t *testing.T, dir string, kind shapefile.Type, columns []string, rows []one) File{
	"shp": writeShp,
	"zip": func(t *testing.T, dir string, kind shapefile.Type, columns []string, rows []one) File {
		f := writeShp(t, dir, kind, columns, rows)
		path := filepath.Join(dir, "set.zip")
		zipped(t, path, f.Path)
		return File{Path: path}
	},
	"geojson": func(t *testing.T, dir string, kind shapefile.Type, columns []string, rows []one) File {
		var b strings.Builder
		for _, r := range rows {
			fmt.Fprintf(&b, `{"type":"Feature","properties":{`)
			for i, c := range columns {
				fmt.Fprintf(&b, `%s%q:%q`, strings.Repeat(",", min(i, 1)), c, r.values[i])
			}
			fmt.Fprintf(&b, "},\"geometry\":%s}\n", geoJSONOf(kind, r))
		}
		path := filepath.Join(dir, "layer.geojson")
		writeText(t, path, b.String())
		return File{Path: path, CRS: "EPSG:26917"}
	},
	"gpkg": func(t *testing.T, dir string, kind shapefile.Type, columns []string, rows []one) File {
		sql := "create table layer (fid integer primary key, geom blob"
		for _, c := range columns {
			sql += ", " + c + " text"
		}
		sql += ");"
		for _, r := range rows {
			sql += "insert into layer values (null, " + gpkgOf(kind, r)
			for _, v := range r.values {
				sql += ", '" + v + "'"
			}
			sql += ");"
		}
		path := filepath.Join(dir, "layer.gpkg")
		makeGeoPackage(t, path, "layer", "GEOMETRY", sql)
		return File{Path: path}
	},
}

func writeShp(t *testing.T, dir string, kind shapefile.Type, columns []string, rows []one) File {
	t.Helper()
	l := &shapefile.Layer{Name: "layer", Type: kind, Projection: system(t, "EPSG:26917").Definition()}
	for _, c := range columns {
		l.Fields = append(l.Fields, shapefile.Field{Name: c, Type: 'C', Length: 30})
	}
	for i, r := range rows {
		row := shapefile.Row{Number: i + 1, Values: r.values, Null: r.parts == nil}
		if kind.Flat() == shapefile.Point && !row.Null {
			row.Points = r.parts[0]
		} else {
			row.Parts = r.parts
		}
		for k, part := range r.parts {
			if !kind.HasZ() {
				continue
			}
			z, m := slices.Repeat([]float64{math.NaN()}, len(part)), slices.Repeat([]float64{math.NaN()}, len(part))
			if r.z != nil {
				z = r.z[k]
			}
			row.Z, row.M = append(row.Z, z), append(row.M, m)
		}
		l.Rows = append(l.Rows, row)
	}
	path := filepath.Join(dir, "layer.shp")
	if err := shapefile.Write(path, l); err != nil {
		t.Fatal(err)
	}
	return File{Path: path}
}

// geoJSONOf is a geometry: a line or point where there is one part, a polygon of
// its rings.
func geoJSONOf(kind shapefile.Type, r one) string {
	if r.parts == nil {
		return "null"
	}
	var parts []string
	for k, part := range r.parts {
		var points []string
		for i, p := range part {
			text := fmt.Sprintf("[%v,%v", p[0], p[1])
			if r.z != nil {
				text += fmt.Sprintf(",%v", r.z[k][i])
			}
			points = append(points, text+"]")
		}
		parts = append(parts, strings.Join(points, ","))
	}
	switch all := "[" + strings.Join(parts, "],[") + "]"; {
	case kind.Flat() == shapefile.Point:
		return `{"type":"Point","coordinates":` + parts[0] + "}"
	case kind.Flat() == shapefile.Polygon:
		return `{"type":"Polygon","coordinates":[` + all + "]}"
	case len(parts) == 1:
		return `{"type":"LineString","coordinates":` + all + "}"
	default:
		return `{"type":"MultiLineString","coordinates":[` + all + "]}"
	}
}

// gpkgOf is the same as an SQL literal of a GeoPackage's geometry.
func gpkgOf(kind shapefile.Type, r one) string {
	if r.parts == nil {
		return "null"
	}
	little := binary.LittleEndian
	dims := uint32(0)
	if r.z != nil {
		dims = 1000
	}
	points := func(b []byte, k int, counted bool) []byte {
		if counted {
			b = little.AppendUint32(b, uint32(len(r.parts[k])))
		}
		for i, p := range r.parts[k] {
			b = little.AppendUint64(little.AppendUint64(b, math.Float64bits(p[0])), math.Float64bits(p[1]))
			if r.z != nil {
				b = little.AppendUint64(b, math.Float64bits(r.z[k][i]))
			}
		}
		return b
	}
	head := func(b []byte, code uint32) []byte { return little.AppendUint32(append(b, 1), dims+code) }
	b := []byte{'G', 'P', 0, 1, 0, 0, 0, 0}
	switch {
	case kind.Flat() == shapefile.Point:
		b = points(head(b, wkbPoint), 0, false)
	case kind.Flat() == shapefile.Polygon:
		b = little.AppendUint32(head(b, wkbPolygon), uint32(len(r.parts)))
		for k := range r.parts {
			b = points(b, k, true)
		}
	case len(r.parts) == 1:
		b = points(head(b, wkbLine), 0, true)
	default:
		b = little.AppendUint32(head(b, wkbMultiLine), uint32(len(r.parts)))
		for k := range r.parts {
			b = points(head(b, wkbLine), k, true)
		}
	}
	return "x'" + hex.EncodeToString(b) + "'"
}
