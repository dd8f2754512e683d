package publish

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/internal/sortedzip"
	"github.com/asfound/asfound/pipeline/survey"
)

// shapefilesName is the archive of the updated map as shapefiles.
const shapefilesName = "records-updated-shapefiles.zip"

// What became of a feature, in columns whose names a dBase table holds.
var shortColumns = map[string]shapefile.Field{
	"asfound_status":   {Name: "AF_STATUS", Type: 'C', Length: 10},
	"asfound_decision": {Name: "AF_DECIDE", Type: 'C', Length: 10},
	"asfound_finding":  {Name: "AF_FINDING", Type: 'C', Length: 16},
	"asfound_moved_m":  {Name: "AF_MOVED", Type: 'N', Length: 10, Decimals: 4},
	"asfound_u_m":      {Name: "AF_U", Type: 'N', Length: 10, Decimals: 4},
	"asfound_cover_m":  {Name: "AF_COVER", Type: 'N', Length: 10, Decimals: 4},
	"asfound_record":   {Name: "AF_RECORD", Type: 'C', Length: 80},
}

// writeShapefiles writes the updated map as a set of files a layer, each in its
// own system and with its own columns, beside a caution.
func (e *edition) writeShapefiles(path string) (err error) {
	aside, err := os.MkdirTemp(filepath.Dir(path), "shapefiles-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(aside)
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	z := sortedzip.New(out)
	taken := map[string]bool{}
	for _, src := range e.sources() {
		if err := e.writeShapefile(z, aside, &src, taken); err != nil {
			return err
		}
	}
	w, err := z.Create("caution.txt")
	if err != nil {
		return err
	}
	text := strings.Join(slices.Concat([]string{e.Banner, caution()}, e.operations()), "\n")
	if _, err := io.WriteString(w, strings.TrimSpace(text)+"\n"); err != nil {
		return err
	}
	return z.Close()
}

// writeShapefile writes the files of one layer into an archive.
func (e *edition) writeShapefile(z *sortedzip.Writer, aside string, src *sourced, taken map[string]bool) error {
	l, err := shapefileOf(src)
	if err != nil {
		return err
	}
	base := strings.Map(func(r rune) rune {
		if strings.ContainsRune(`/\:*?"<>|`, r) {
			return '_'
		}
		return r
	}, cleanName(src.Name))
	name := base
	for n := 2; name == "" || taken[strings.ToLower(name)]; n++ {
		name = fmt.Sprintf("%s_%d", base, n)
	}
	taken[strings.ToLower(name)] = true
	if err := shapefile.Write(filepath.Join(aside, "layer.shp"), l); err != nil {
		return fmt.Errorf("%s as a shapefile: %w", src.Source, err)
	}
	for _, ext := range []string{".shp", ".shx", ".dbf", ".cpg", ".prj"} {
		data, err := os.ReadFile(filepath.Join(aside, "layer"+ext))
		if err != nil {
			return err
		}
		w, err := z.Create(name + ext)
		if err != nil {
			return err
		}
		if _, err := io.Copy(w, bytes.NewReader(data)); err != nil {
			return err
		}
	}
	return nil
}

// shapefileOf is a layer with short columns of what became of each feature.
func shapefileOf(src *sourced) (*shapefile.Layer, error) {
	l := &shapefile.Layer{Type: shapefile.PolyLine, Projection: wkt1(src.frame.system), Fields: schema(src.Layer)}
	switch src.shape {
	case "POINT":
		l.Type = shapefile.Point
	case "GEOMETRY": // rows of several points, which are no fittings, among them
		l.Type = shapefile.MultiPoint
	}
	if src.z > 0 {
		l.Type += 10
	}
	var added []int
	for k, c := range src.added {
		if f, ok := shortColumns[c.name]; ok {
			f.Name = freeName(f.Name, l.Fields)
			l.Fields, added = append(l.Fields, f), append(added, k)
		}
	}
	err := src.each(func(i int, geom geometry) error {
		row := shapefile.Row{Null: len(geom.parts) == 0}
		if l.Type.Flat() == shapefile.PolyLine {
			row.Parts = geom.parts
		} else {
			geom = together(geom)
			row.Points = geom.parts[0]
		}
		if l.Type.HasZ() && !row.Null {
			row.Z, row.M = geom.z, unmeasured(geom)
			if row.Z == nil {
				row.Z = row.M
			}
		}
		values := src.Features[i].Values
		for a, v := range values {
			row.Values = append(row.Values, dbaseValue(l.Fields[a], v))
		}
		cells := src.cells(i)
		for n, k := range added {
			row.Values = append(row.Values, shortCell(l.Fields[len(values)+n], cells[k]))
		}
		l.Rows = append(l.Rows, row)
		return nil
	})
	return l, err
}

// together is a geometry's points in one part.
func together(g geometry) geometry {
	out := geometry{parts: orb.MultiLineString{slices.Concat(g.parts...)}}
	if g.z != nil {
		out.z = [][]float64{slices.Concat(g.z...)}
	}
	return out
}

// unmeasured are the measures, or heights, of a line that has none.
func unmeasured(g geometry) [][]float64 {
	out := make([][]float64, len(g.parts))
	for p := range out {
		out[p] = make([]float64, len(g.parts[p]))
		for v := range out[p] {
			out[p][v] = math.NaN()
		}
	}
	return out
}

// schema are a layer's columns as a dBase table has them: those that it came
// with, where it came from one; else text and numbers as wide as their values.
func schema(l *survey.Layer) []shapefile.Field {
	var out []shapefile.Field
	for a, f := range l.Fields {
		field := shapefile.Field{Type: 'C', Length: 1}
		for i := range l.Features {
			if v := &l.Features[i].Values[a]; !v.Null {
				field.Length = min(max(field.Length, len(v.Text)), 254)
			}
		}
		if f.Width > 0 {
			field.Length, field.Decimals = max(f.Width, min(field.Length, 254)), f.Decimals
			field.Type = map[survey.FieldKind]byte{survey.FieldNumber: 'N', survey.FieldDate: 'D', survey.FieldBool: 'L'}[f.Kind]
			if field.Type == 0 {
				field.Type = 'C'
			}
		}
		field.Name = freeName(f.Name, out)
		out = append(out, field)
	}
	return out
}

// freeName is a name of ten bytes or fewer that no column before it has.
func freeName(name string, before []shapefile.Field) string {
	base := cleanName(name)
	if base == "" {
		base = "FIELD"
	}
	cut := func(n int) string {
		b := base
		for len(b) > n {
			_, size := utf8.DecodeLastRuneInString(b)
			b = b[:len(b)-size]
		}
		return b
	}
	free := func(name string) bool {
		return !slices.ContainsFunc(before, func(f shapefile.Field) bool { return strings.EqualFold(f.Name, name) })
	}
	name = cut(10)
	for n := 2; !free(name); n++ {
		number := strconv.Itoa(n)
		name = cut(10-len(number)) + number
	}
	return name
}

// dbaseValue is an attribute as a dBase column holds it: cut where it is too long.
func dbaseValue(f shapefile.Field, v survey.Value) string {
	if v.Null {
		return ""
	}
	t := strings.ToValidUTF8(strings.ReplaceAll(v.Text, "\x00", ""), "?")
	for len(t) > f.Length {
		_, size := utf8.DecodeLastRuneInString(t)
		t = t[:len(t)-size]
	}
	return t
}

// shortCell is a cell as a dBase column holds it.
func shortCell(f shapefile.Field, c cell) string {
	if f.Type == 'C' {
		return dbaseValue(f, survey.Value{Text: c.text})
	}
	if math.IsNaN(c.number) {
		return ""
	}
	return strconv.FormatFloat(rounded(c.number, f.Decimals), 'f', f.Decimals, 64)
}
