package shapefile

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// bits is a layer without NaN, which would not equal itself.
func bits(l *Layer) *Layer {
	c := *l
	c.Rows = append([]Row(nil), l.Rows...)
	whole := func(vss [][]float64) (out [][]float64) {
		for _, vs := range vss {
			vs = slices.Clone(vs)
			for i, v := range vs {
				vs[i] = orNoData(v)
			}
			out = append(out, vs)
		}
		return out
	}
	for i := range c.Rows {
		c.Rows[i].Z, c.Rows[i].M = whole(c.Rows[i].Z), whole(c.Rows[i].M)
	}
	return &c
}

// readSet reads the files of a set as they are on the disk.
func readSet(t interface{ Fatal(...any) }, path string) map[string][]byte {
	files := map[string][]byte{}
	list, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		if files[e.Name()], err = os.ReadFile(filepath.Join(filepath.Dir(path), e.Name())); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

func TestWriteReadsBack(t *testing.T) {
	nan := math.NaN()
	want := &Layer{
		Name: "mains", Type: PolyLineZ, Projection: `LOCAL_CS["plane"]`, Encoding: "UTF-8",
		Fields: []Field{{"ID", 'N', 10, 0}, {"MATERIAL", 'C', 12, 0}, {"LAID", 'D', 8, 0}, {"LIVE", 'L', 1, 0}, {"LENGTH", 'F', 12, 3}},
		Rows: []Row{
			{Number: 1, Parts: []orb.LineString{{{1, 2}, {3, 4}}, {{5, 6}, {7, 8}, {9, 10}}}, Z: [][]float64{{1, nan}, {2, 3, 4}}, M: [][]float64{{nan, nan}, {nan, nan, 7}}, Values: []string{"17", "größe", "20010203", "T", "12.340"}},
			{Number: 2, Null: true, Values: []string{"", "", "", "", ""}},
			{Number: 3, Deleted: true, Parts: []orb.LineString{{{-1, -2}, {-3, -4}}}, Z: [][]float64{{0, 0}}, M: [][]float64{{nan, nan}}, Values: []string{"-5", "x", "", "F", "1e3"}},
		},
	}
	path := filepath.Join(t.TempDir(), "mains.shp")
	if err := Write(path, want); err != nil {
		t.Fatal(err)
	}
	got, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	got.Files = nil
	if got, want := bits(got), bits(want); !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	header := readSet(t, path)["mains.shp"]
	for i, want := range []float64{-3, -4, 9, 10, 0, 4, 7, 7} { // X, Y least and greatest, Z, M: no 0,0 of the null shape
		if got := math.Float64frombits(little.Uint64(header[36+8*i:])); got != want {
			t.Errorf("number %d of the box in the header is %v, want %v", i, got, want)
		}
	}
}

// TestWriteMatchesTheFormat compares written files with those that the tests
// make from the tables of the format without go-shp.
func TestWriteMatchesTheFormat(t *testing.T) {
	for _, l := range everyType() {
		t.Run(l.Type.String(), func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "mains.shp")
			if err := Write(path, l); err != nil {
				t.Fatal(err)
			}
			got, want := readSet(t, path), buildSet(l, true).files()
			if len(got) != len(want) {
				t.Errorf("wrote %d files, want %d", len(got), len(want))
			}
			for name, f := range want {
				b := bytes.Clone(got[name])
				if ext := filepath.Ext(name); ext == ".shp" || ext == ".shx" {
					copy(b[36:100], make([]byte, 64)) // the box, which the tests' files lack
				}
				if name == "mains.dbf" {
					b = bytes.ReplaceAll(b, []byte("?"), []byte(" ")) // how null is written
				}
				if !bytes.Equal(b, f.Data) {
					t.Errorf("%s:\n%q\nwant\n%q", name, b, f.Data)
				}
			}
		})
	}
}

// layers draws layers of every type.
func layers() *rapid.Generator[*Layer] {
	return rapid.Custom(func(t *rapid.T) *Layer {
		kind := rapid.SampledFrom([]Type{Null, Point, PolyLine, Polygon, MultiPoint, PointZ, PolyLineZ, PolygonZ, MultiPointZ, PointM, PolyLineM, PolygonM, MultiPointM}).Draw(t, "type")
		l := &Layer{Name: "mains", Type: kind, Encoding: "UTF-8", Projection: rapid.SampledFrom([]string{"", `LOCAL_CS["plane"]`}).Draw(t, "projection")}
		for i := range rapid.IntRange(0, 5).Draw(t, "fields") {
			f := Field{Name: fmt.Sprintf("F%d", i), Type: rapid.SampledFrom([]byte("CNFDL")).Draw(t, "kind"), Length: rapid.IntRange(1, 255).Draw(t, "length")}
			switch f.Type {
			case 'D':
				f.Length = 8
			case 'L':
				f.Length = 1
			}
			l.Fields = append(l.Fields, f)
		}
		for i := range rapid.IntRange(0, 6).Draw(t, "rows") {
			l.Rows = append(l.Rows, drawRow(t, i+1, kind, l.Fields))
		}
		return l
	})
}

func drawRow(t *rapid.T, number int, kind Type, fields []Field) Row {
	row := Row{Number: number, Deleted: rapid.Bool().Draw(t, "deleted"), Null: kind == Null || rapid.IntRange(0, 5).Draw(t, "null") == 0}
	for _, f := range fields {
		var v string
		switch f.Type {
		case 'C':
			v = trim(rapid.StringOfN(rapid.RuneFrom([]rune("ab ß日€*0?")), 0, -1, f.Length).Draw(t, "text"))
		case 'D':
			v = rapid.SampledFrom([]string{"", "20240229"}).Draw(t, "date")
		case 'L':
			v = rapid.SampledFrom([]string{"", "T", "F"}).Draw(t, "logical")
		default:
			if v = fmt.Sprint(rapid.Int().Draw(t, "number")); len(v) > f.Length {
				v = ""
			}
		}
		row.Values = append(row.Values, v)
	}
	if row.Null {
		return row
	}
	least, most := 1, 3
	if kind.Flat() == Point {
		most = 1
	}
	parts := make([]orb.LineString, rapid.IntRange(least, most).Draw(t, "parts"))
	for i := range parts {
		n := 1
		if kind.Flat() != Point {
			n = rapid.IntRange(1, 9).Draw(t, "points")
		}
		for range n {
			parts[i] = append(parts[i], orb.Point{rapid.Float64Range(-1e7, 1e7).Draw(t, "x"), rapid.Float64Range(-1e7, 1e7).Draw(t, "y")})
		}
	}
	setShape(&row, kind, parts)
	if row.M != nil && rapid.Bool().Draw(t, "no measure") {
		row.M[0][0] = math.NaN()
	}
	return row
}

func TestWriteAndReadAnyLayer(t *testing.T) {
	path := filepath.Join(t.TempDir(), "mains.shp")
	rapid.Check(t, func(t *rapid.T) {
		want := layers().Draw(t, "layer")
		if err := Write(path, want); err != nil {
			t.Fatal(err)
		}
		first := readSet(t, path)
		got, err := Read(path)
		if err != nil {
			t.Fatal(err)
		}
		got.Files = nil
		if got, want := fmt.Sprintf("%+v", bits(got)), fmt.Sprintf("%+v", bits(want)); got != want {
			t.Fatalf("got  %s\nwant %s", got, want)
		}
		if err := Write(path, got); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(readSet(t, path), first) {
			t.Fatal("writing again what was read gives other bytes")
		}
	})
}

func TestWriteRefuses(t *testing.T) {
	line := func() *Layer {
		return &Layer{Type: PolyLine, Fields: []Field{{"ID", 'C', 3, 0}}, Rows: []Row{{Parts: []orb.LineString{{{1, 2}, {3, 4}}}, Values: []string{"abc"}}}}
	}
	tests := []struct {
		change func(*Layer)
		want   string
	}{
		{func(l *Layer) { l.Fields[0].Name = "ELEVENBYTES" }, "field ELEVENBYTES: a name has 1 to 10 bytes of UTF-8, this one 11"},
		{func(l *Layer) { l.Fields[0].Name = "größenmaß" }, "this one 12"},
		{func(l *Layer) { l.Fields[0].Name = "" }, "a name has 1 to 10 bytes"},
		{func(l *Layer) { l.Fields[0].Type = 'M' }, "'M' is no type of field"},
		{func(l *Layer) { l.Fields[0].Length = 256 }, "a length is 1 to 255"},
		{func(l *Layer) { l.Fields[0].Decimals = -1 }, "-1 decimals"},
		{func(l *Layer) { l.Rows[0].Values[0] = "abcd" }, `record 1: field ID: "abcd" has 4 bytes, the field 3`},
		{func(l *Layer) { l.Rows[0].Values[0] = "日本" }, "has 6 bytes, the field 3"},
		{func(l *Layer) { l.Rows[0].Values[0] = "\xff" }, "not text in UTF-8"},
		{func(l *Layer) { l.Rows[0].Values[0] = "a\x00b" }, "not text in UTF-8"},
		{func(l *Layer) { l.Rows[0].Values = nil }, "has 0 values for 1 fields"},
		{func(l *Layer) { l.Rows[0].Parts[0][1][0] = math.NaN() }, "record 1: point 2 of part 1 is at NaN, 4"},
		{func(l *Layer) { l.Rows[0].Parts[0][1][1] = math.Inf(-1) }, "point 2 of part 1 is at 3, -Inf"},
		{func(l *Layer) { l.Rows[0].Parts[0] = nil }, "part 1 has no points"},
		{func(l *Layer) { l.Rows[0].Points = []orb.Point{{1, 2}} }, "a PolyLine has parts"},
		{func(l *Layer) { l.Rows[0].Z = [][]float64{{1, 2}} }, "has Z or M that a PolyLine cannot hold"},
		{func(l *Layer) { l.Type = PolyLineZ }, "part 1 has 2 points and not as many Z"},
		{func(l *Layer) { l.Type, l.Rows[0].M = PolyLineM, [][]float64{{1}} }, "not as many M"},
		{func(l *Layer) { l.Type = Point }, "a point has one and none"},
		{func(l *Layer) { l.Type = MultiPoint }, "a multipoint has points"},
		{func(l *Layer) { l.Type = Null }, "a layer of null shapes can have no other"},
		{func(l *Layer) { l.Type = 31 }, "shapes of MultiPatch cannot be written"},
		{func(l *Layer) { l.Fields, l.Rows = slices.Repeat([]Field{{"A", 'C', 255, 0}}, 129), nil }, "129 fields of 32896 bytes"},
	}
	for _, tt := range tests {
		l := line()
		tt.change(l)
		path := filepath.Join(t.TempDir(), "mains.shp")
		err := Write(path, l)
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("got %v, want %q", err, tt.want)
		}
		if left := readSet(t, path); len(left) > 0 {
			t.Errorf("%s: left %d files", tt.want, len(left))
		}
	}
	if err := Write(filepath.Join(t.TempDir(), "none", "mains.shp"), line()); err == nil || !strings.Contains(err.Error(), "its folder cannot be written to") {
		t.Errorf("got %v", err)
	}
	if err := Write("mains.dbf", line()); err == nil || !strings.Contains(err.Error(), "does not end in .shp") {
		t.Errorf("got %v", err)
	}
}

// TestWriteReplaces replaces a set of more files than the new one has.
func TestWriteReplaces(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"mains.shp", "mains.SHX", "mains.prj", "mains.qix", "mains.txt", "drains.shp"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("old"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	l := sample(PolyLine)
	l.Projection = ""
	if err := Write(filepath.Join(dir, "mains.shp"), l); err != nil {
		t.Fatal(err)
	}
	var names []string
	for name, b := range readSet(t, filepath.Join(dir, "mains.shp")) {
		if string(b) != "old" {
			name += " new"
		}
		names = append(names, name)
	}
	slices.Sort(names)
	want := []string{"drains.shp", "mains.cpg new", "mains.dbf new", "mains.shp new", "mains.shx new", "mains.txt"}
	if !slices.Equal(names, want) {
		t.Errorf("got %q, want %q", names, want)
	}
}
