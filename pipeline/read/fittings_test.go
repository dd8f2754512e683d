package read

import (
	"archive/zip"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// valves writes points with a Z as a shapefile of fittings. A row is "ID,KIND,SHEET".
func valves(t testing.TB, rows ...shapefile.Row) FittingsSource {
	t.Helper()
	text := func(name string) shapefile.Field { return shapefile.Field{Name: name, Type: 'C', Length: 20} }
	l := &shapefile.Layer{
		Name: "valves", Type: shapefile.PointZ, Projection: system(t, "EPSG:26917").Definition(),
		Fields: []shapefile.Field{text("ID"), text("KIND"), text("SHEET")},
	}
	for i, r := range rows {
		r.Number = i + 1
		l.Rows = append(l.Rows, r)
	}
	path := filepath.Join(t.TempDir(), "valves.shp")
	if err := shapefile.Write(path, l); err != nil {
		t.Fatal(err)
	}
	return FittingsSource{
		File: File{Path: path, Name: "gis/valves.shp", At: "asfound.yaml:9"},
		ID:   Column{Name: "ID"}, Sheet: Column{Name: "SHEET"},
		Utility: Column{Name: "KIND", Values: map[string]string{"W": "water", "G": "gas"}},
	}
}

func valve(values string, x, y, z float64) shapefile.Row {
	return shapefile.Row{Points: []orb.Point{{x, y}}, Z: [][]float64{{z}}, M: [][]float64{{math.NaN()}}, Values: strings.Split(values, ",")}
}

func readFittingsOf(t testing.TB, src FittingsSource) *survey.Survey {
	t.Helper()
	o := input{}.options(t)
	o.Fittings = []FittingsSource{src}
	s, err := Files(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestFittings reads every kind of row. The layer keeps all of them, bit for bit.
func TestFittings(t *testing.T) {
	const x, y = 500000.123456789, 4427700.987654321
	src := valves(t,
		valve("V3,W,D-1", x+20, y, 101.25),
		valve("V1,W,D-1", x, y, 0.1),
		valve("V1,G,unknown", x+1, y, 100), // the same id
		valve(",W,D-1", x+2, y, 100),
		valve("V1,W,D-1", x, y, 0.1),    // wholly the same
		valve("V9,W,D-2", x+20, y, 100), // at the same place
		shapefile.Row{Null: true, Values: []string{"V5", "W", "D-1"}},
		valve("V6,W,D-1", 1e300, y, 100),
	)
	s := readFittingsOf(t, src)
	golden(t, "fittings", dump(s, true))
	l := s.PointLayers[0]
	if l.Source != "gis/valves.shp" || l.Name != "valves" || len(l.Features) != 8 || len(l.Fields) != 3 {
		t.Fatalf("layer %s %s of %d features", l.Source, l.Name, len(l.Features))
	}
	for _, f := range s.Fittings {
		as := l.Features[f.Feature]
		if len(as.Parts) != 1 || len(as.Parts[0]) != 1 || as.Parts[0][0] != f.Point {
			t.Errorf("%s: %v, as the layer has it %v", f.ID, f.Point, as.Parts)
		}
	}
	if f := l.Features[1]; f.Parts[0][0] != (orb.Point{x, y}) || !reflect.DeepEqual(f.Z, [][]float64{{0.1}}) || f.Values[0].Text != "V1" {
		t.Errorf("feature %+v", f)
	}
}

// TestFittingsInEveryFormat reads one point with its height from a shapefile, an
// archive, GeoJSON and a GeoPackage of which lines are records.
func TestFittingsInEveryFormat(t *testing.T) {
	src := valves(t, valve("V1,W,D-1", 500000.25, 4427700.5, 101.25), valve("V2,G,D-2", 500010.25, 4427700.5, 99.5))
	want := readFittingsOf(t, src)

	archive := src
	archive.Path, archive.Name, archive.Layer = filepath.Join(t.TempDir(), "gis.zip"), "gis.zip", "valves"
	zipped(t, archive.Path, src.Path)

	geo := src
	geo.Path, geo.Name, geo.CRS = filepath.Join(t.TempDir(), "v.geojson"), "v.geojson", "EPSG:26917"
	writeText(t, geo.Path, `{"type":"FeatureCollection","features":[`+
		`{"type":"Feature","geometry":{"type":"Point","coordinates":[500000.25,4427700.5,101.25]},"properties":{"ID":"V1","KIND":"W","SHEET":"D-1"}},`+
		`{"type":"Feature","geometry":{"type":"Point","coordinates":[500010.25,4427700.5,99.5]},"properties":{"ID":"V2","KIND":"G","SHEET":"D-2"}}]}`)

	pkg := src
	pkg.Path, pkg.Name, pkg.Layer = filepath.Join(t.TempDir(), "net.gpkg"), "net.gpkg", "Valves"
	point := func(x, y, z float64) string {
		b := []byte{'G', 'P', 0, 1, 0, 0, 0, 0, 1}
		b = binary.LittleEndian.AppendUint32(b, 1001)
		for _, v := range []float64{x, y, z} {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
		return "x'" + hex.EncodeToString(b) + "'"
	}
	line := "x'" + hex.EncodeToString(append([]byte{'G', 'P', 0, 1, 0, 0, 0, 0}, wkbLineOf(binary.LittleEndian, wkbLine, 500000, 4427700, 500100, 4427700)...)) + "'"
	makeGeoPackage(t, pkg.Path, "valves", "POINT", `
		create table valves (fid integer primary key, geom point, ID text, KIND text, SHEET text);
		insert into valves values (1, `+point(500000.25, 4427700.5, 101.25)+`, 'V1', 'W', 'D-1'), (2, `+point(500010.25, 4427700.5, 99.5)+`, 'V2', 'G', 'D-2');
		create table mains (fid integer primary key, geom linestring, ID text);
		insert into mains values (1, `+line+`, 'W1');
		insert into gpkg_contents values ('mains', 'features', 'mains', 26917);
		insert into gpkg_geometry_columns values ('mains', 'geom', 'LINESTRING', 26917, 0, 0);`)

	for _, c := range []struct {
		src FittingsSource
		key string
	}{{archive, "gis.zip:valves#V1"}, {geo, "v.geojson#V1"}, {pkg, "net.gpkg:Valves#V1"}} {
		got := readFittingsOf(t, c.src)
		if len(got.Fittings) != 2 || got.Fittings[0].Key() != c.key {
			t.Fatalf("%s: %+v %+v", c.src.Name, got.Fittings, got.Rejects)
		}
		for i, g := range got.Fittings {
			w := want.Fittings[i]
			g.Source = w.Source
			gf, wf := got.PointLayers[0].Features[g.Feature], want.PointLayers[0].Features[w.Feature]
			if g != w || !reflect.DeepEqual(gf.Parts, wf.Parts) || !reflect.DeepEqual(gf.Z, wf.Z) {
				t.Errorf("%s: %+v %v %v, want %+v %v %v", c.src.Name, g, gf.Parts, gf.Z, w, wf.Parts, wf.Z)
			}
		}
	}

	// Records and fittings may be layers of one file.
	o := Options{Plane: auto, Records: []RecordsSource{{File: pkg.File, Utility: Column{Fixed: "water"}, ID: Column{Name: "ID"}}}, Fittings: []FittingsSource{pkg}}
	o.Records[0].Layer = "mains"
	s, err := Files(t.Context(), o)
	if err != nil || len(s.Records) != 1 || len(s.Fittings) != 2 || len(s.Sources) != 2 {
		t.Errorf("two layers of one file: %v %+v", err, s)
	}
}

// zipped puts a shapefile's set into an archive.
func zipped(t testing.TB, archive, path string) {
	t.Helper()
	f, err := os.Create(archive)
	if err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(f)
	for _, ext := range []string{".shp", ".shx", ".dbf", ".prj", ".cpg"} {
		data, err := os.ReadFile(strings.TrimSuffix(path, ".shp") + ext)
		if ext == ".cpg" && errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		w, err := z.Create("gis/" + strings.TrimSuffix(filepath.Base(path), ".shp") + ext)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(z.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
}

// TestFittingsSetAside: what makes a file of records stop the run sets one of
// fittings aside, and the rest is read.
func TestFittingsSetAside(t *testing.T) {
	good := valves(t, valve("V1,W,D-1", 500000, 4427700, 1))
	cut := valves(t, valve("V1,W,D-1", 500000, 4427700, 1), valve("V2,W,D-1", 500000, 4427701, 1))
	data, err := os.ReadFile(cut.Path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(cut.Path, data[:len(data)-30], 0o644); err != nil {
		t.Fatal(err)
	}
	noProjection := valves(t, valve("V1,W,D-1", 500000, 4427700, 1))
	if err := os.Remove(strings.TrimSuffix(noProjection.Path, ".shp") + ".prj"); err != nil {
		t.Fatal(err)
	}
	change := func(src FittingsSource, by func(*FittingsSource)) FittingsSource { by(&src); return src }
	pipes := lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", straight(0)))
	for _, c := range []struct {
		name string
		src  FittingsSource
		rows int
		want string
	}{
		{"missing", change(good, func(s *FittingsSource) { s.Path += "x.shp" }), 0, "it cannot be read: "},
		{"cut short", cut, 0, "it cannot be read: "},
		{"no crs", noProjection, 1, `add "crs"`},
		{"no column", change(good, func(s *FittingsSource) { s.ID.Name = "VALVE" }), 1, `no column is called "VALVE": there are ID, KIND, SHEET`},
		{"lines", change(good, func(s *FittingsSource) { s.Path = pipes.Path }), 1, "it holds lines where points are wanted"},
		{"a layer that is not there", change(good, func(s *FittingsSource) { s.Layer = "hydrants" }), 0, `no layer "hydrants"`},
		{"none usable", valves(t, shapefile.Row{Null: true, Values: []string{"V", "", ""}}), 1, "none of its rows holds a fitting that can be used: the row has no geometry"},
	} {
		s := readFittingsOf(t, c.src)
		src := s.Sources[1]
		if !strings.Contains(src.SetAside, c.want) || src.Rows != c.rows || src.Rejected != c.rows || len(s.Rejects) != c.rows || len(s.Fittings)+len(s.PointLayers) > 0 || !s.Warnings() || len(s.Records) != 2 {
			t.Errorf("%s: %+v, %d fittings, want %q", c.name, src, len(s.Fittings), c.want)
		}
	}
	// A point in many without a position is common: its row is rejected.
	rows := []shapefile.Row{valve("V1,W,D-1", 500000, 4427700, 1)}
	for range 9 {
		rows = append(rows, shapefile.Row{Null: true, Values: []string{"V", "", ""}})
	}
	if s := readFittingsOf(t, valves(t, rows...)); s.Warnings() || len(s.Fittings) != 1 || len(s.Rejects) != 9 {
		t.Errorf("%d fittings, %d rejects: %+v", len(s.Fittings), len(s.Rejects), s.Sources[1])
	}
	epoch := change(good, func(s *FittingsSource) { s.CRS, s.Frame = "EPSG:26917", "ITRF2014" })
	o := input{}.options(t)
	o.Fittings = []FittingsSource{epoch}
	if _, err := Files(t.Context(), o); err == nil || !strings.Contains(err.Error(), "gis/valves.shp (named in asfound.yaml:9): ") {
		t.Error("a frame that needs an epoch:", err)
	}
}

// TestFittingOrder shuffles rows: fittings, ids and accounts stay what they are.
func TestFittingOrder(t *testing.T) {
	var rows []shapefile.Row
	for i := range 12 {
		rows = append(rows, valve(fmt.Sprintf("V%d,W,D-1", i/3), 500000+float64(i), 4427700, 1))
	}
	rows = append(rows, rows[4], rows[5])
	want := ""
	for i := range 5 {
		rand.New(rand.NewSource(int64(i))).Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
		got := repeated.ReplaceAllString(dump(readFittingsOf(t, valves(t, rows...)), false), "")
		if i == 0 {
			want = got
		}
		if got != want || strings.Count(got, "fitting gis/valves.shp#") != 12 || !strings.Contains(got, "V1#3") {
			t.Fatalf("order %d:\n%s\nwant:\n%s", i, got, want)
		}
	}
}

// TestExposuresOfFittings tells which fittings exposures name in vain.
func TestExposuresOfFittings(t *testing.T) {
	row := func(fitting string) string {
		return "TH" + fitting + ",,40.0,-80.9999,,,36,,WTR," + fitting + ",S,,,,,\n"
	}
	o := input{exposures: map[string]string{"f/h.csv": holesHeader + row("") + row("V1") + row("V2") + row("V7")}}.options(t)
	o.Fittings = []FittingsSource{valves(t, valve("V1,W,D-1", 500000, 4427700, 1), valve("V2,W,D-1", 500001, 4427700, 1), valve("V2,G,D-1", 500002, 4427700, 1))}
	s, err := Files(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Join(s.Sources[1].Notes, "\n")
	want := "names a fitting that no file of fittings has (1 row: [\"V7\"])\nnames a fitting whose id stands on several (1 row: [\"V2\"])"
	if got != want {
		t.Errorf("notes:\n%s\nwant:\n%s", got, want)
	}
}
