package read

import (
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// makeGeoPackage makes the tables that the standard asks for, and what else the
// statements say.
func makeGeoPackage(t testing.TB, path, table, geometry, statements string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	_, err = db.Exec(fmt.Sprintf(`
		create table gpkg_spatial_ref_sys (srs_name text, srs_id integer primary key, organization text, organization_coordsys_id integer, definition text, description text);
		create table gpkg_contents (table_name text primary key, data_type text, identifier text, srs_id integer);
		create table gpkg_geometry_columns (table_name text, column_name text, geometry_type_name text, srs_id integer, z tinyint, m tinyint);
		insert into gpkg_spatial_ref_sys values ('x', 26917, 'EPSG', 26917, 'undefined', ''), ('y', 4269, 'epsg', 4269, '', '');
		insert into gpkg_contents values ('%[1]s', 'features', '%[1]s', 26917);
		insert into gpkg_geometry_columns values ('%[1]s', 'geom', '%[2]s', 26917, 2, 2);
		%[3]s`, table, geometry, statements))
	if err != nil {
		t.Fatal(err)
	}
}

// gpkgPoint is a point as an SQL literal.
func gpkgPoint(t testing.TB, x, y string) string {
	t.Helper()
	b := []byte{'G', 'P', 0, 1, 0, 0, 0, 0, 1, 1, 0, 0, 0}
	for _, s := range []string{x, y} {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	return "x'" + hex.EncodeToString(b) + "'"
}

// wkbLine is a line of well-known binary.
func wkbLineOf(order binary.AppendByteOrder, typed uint32, numbers ...float64) []byte {
	b := []byte{1}
	if order == binary.BigEndian {
		b[0] = 0
	}
	b = order.AppendUint32(b, typed)
	width := []int{2, 3, 3, 4}[typed/1000]
	b = order.AppendUint32(b, uint32(len(numbers)/width))
	for _, v := range numbers {
		b = order.AppendUint64(b, math.Float64bits(v))
	}
	return b
}

func TestWKB(t *testing.T) {
	little, big := binary.LittleEndian, binary.BigEndian
	line := wkbLineOf(little, wkbLine, 0, 1, 2, 3)
	multi := append(wkbLineOf(big, wkbMultiLine)[:5], 0, 0, 0, 2)
	multi = append(append(multi, line...), wkbLineOf(big, 1000+wkbLine, 4, 5, 6, 7, 8, 9)...)
	polygon := append(little.AppendUint32([]byte{1}, wkbPolygon), 1, 0, 0, 0)
	polygon = append(polygon, wkbLineOf(little, wkbLine, 0, 0, 0, 1, 1, 1, 0, 0)[5:]...)
	nan := math.NaN()
	emptyPoint := append(little.AppendUint32([]byte{1}, wkbPoint), wkbLineOf(little, wkbLine, nan, nan)[9:]...)
	for _, c := range []struct {
		name  string
		data  []byte
		kind  shape
		parts []orb.LineString
		err   string
	}{
		{"line", line, shapeLines, []orb.LineString{{{0, 1}, {2, 3}}}, ""},
		{"line M", wkbLineOf(big, 2000+wkbLine, 0, 1, 9, 2, 3, 9), shapeLines, []orb.LineString{{{0, 1}, {2, 3}}}, ""},
		{"line ZM", wkbLineOf(big, 3000+wkbLine, 0, 1, 9, 9, 2, 3, 9, 9), shapeLines, []orb.LineString{{{0, 1}, {2, 3}}}, ""},
		{"lines", multi, shapeLines, []orb.LineString{{{0, 1}, {2, 3}}, {{4, 5}, {7, 8}}}, ""},
		{"polygon", polygon, shapePolygons, []orb.LineString{{{0, 0}, {0, 1}, {1, 1}, {0, 0}}}, ""},
		{"empty point", emptyPoint, "", nil, ""},
		{"empty line", wkbLineOf(little, wkbLine), "", nil, ""},
		{"cut", line[:len(line)-1], "", nil, "cut short"},
		{"nothing", nil, "", nil, "cut short"},
		{"four thousand million points", append(little.AppendUint32([]byte{1}, wkbLine), 255, 255, 255, 255), "", nil, "cut short"},
		{"four thousand million lines", append(little.AppendUint32([]byte{1}, wkbMultiLine), 255, 255, 255, 255), "", nil, "cut short"},
		{"curve", little.AppendUint32([]byte{1}, 8), "", nil, "type 8"},
	} {
		var f survey.Feature
		kind, err := parseWKB(c.data, &f)
		switch {
		case c.err != "":
			if err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("%s: %v, want %q", c.name, err, c.err)
			}
		case err != nil || kind != c.kind || !reflect.DeepEqual(f.Parts, c.parts):
			t.Errorf("%s: %q %v %v", c.name, kind, f.Parts, err)
		}
	}
}

func TestGeoPackage(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "net.gpkg")
	blob := func(wkb []byte) string {
		return "x'" + hex.EncodeToString(append([]byte{'G', 'P', 0, 1, 0, 0, 0, 0}, wkb...)) + "'"
	}
	line := blob(wkbLineOf(binary.LittleEndian, 1000+wkbLine, 500000, 4427700, 5, 500100, 4427700, 6))
	makeGeoPackage(t, path, "mains", "LINESTRING", `
		create table mains (fid integer primary key, geom linestring, id text, laid date, big integer, ratio double, ok boolean, note text, odd blob, calc as (zeroblob(999999999)));
		insert into mains (geom, id, laid, big, ratio, ok, note, odd) values (`+line+`, 'W1', '1972-03-12', 9007199254740993, 0.1, 1, 'it''s', x'00ff'), (null, 'W2', null, null, null, null, null, null), (x'00', 'W3', '', 0, 1e300, 0, '', null);
		create table "gas ""lines""" (fid integer primary key, geom linestring, id text);
		insert into "gas ""lines""" values (1, `+line+`, 'G1');
		insert into gpkg_contents values ('gas "lines"', 'features', 'g', 4269);
		insert into gpkg_geometry_columns values ('gas "lines"', 'geom', 'LINESTRING', 4269, 0, 0);
		create view looping as with recursive r(n) as (select 1 union all select n + 1 from r) select n from r;
		insert into gpkg_contents values ('looping', 'features', 'l', 4269);`)
	if err := os.Chmod(path, 0o444); err != nil {
		t.Fatal(err)
	}
	src := RecordsSource{File: File{Path: path, Name: "gis/net.gpkg", Layer: "Mains"}, ID: Column{Name: "id"}, Utility: Column{Fixed: "water"}, Installed: Column{Name: "laid"}}
	s, err := readOne(src)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "geopackage", dump(s, true))
	var got []string
	for _, v := range s.Layers[0].Features[0].Values {
		got = append(got, v.Text)
	}
	if want := []string{"1", "W1", "1972-03-12", "9007199254740993", "0.1", "1", "it's", "00ff"}; !reflect.DeepEqual(got, want) {
		t.Errorf("values %q, want %q", got, want)
	}
	if z := s.Layers[0].Features[0].Z; !reflect.DeepEqual(z, [][]float64{{5, 6}}) {
		t.Errorf("Z %v", z)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 {
		t.Errorf("reading left files behind: %v %v", left, err)
	}
	for layer, want := range map[string]string{
		"": `it holds 2 layers: name one with layer, of gas "lines", mains`, "pipes": `it has no layer "pipes"`, "looping": "is a view",
	} {
		src.Layer = layer
		if _, err := readOne(src); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("layer %q: %v, want %q", layer, err, want)
		}
	}
	src.Layer = `gas "lines"`
	src.Installed = Column{}
	src.CRS = "EPSG:26917"
	if s, err = readOne(src); err != nil || s.Records[0].Key() != `gis/net.gpkg:gas "lines"#G1` {
		t.Errorf("a second layer: %v", err)
	}
	writeText(t, filepath.Join(dir, "text.gpkg"), "no database at all, but long enough to be looked at as one")
	src.Path = filepath.Join(dir, "text.gpkg")
	if _, err := readOne(src); err == nil || !strings.Contains(err.Error(), "it is no GeoPackage") {
		t.Error("text as a GeoPackage:", err)
	}
}

// TestGeoPackageOfGDAL reads what the general-purpose converter writes, and
// compares it with the shapefile that it came from.
func TestGeoPackageOfGDAL(t *testing.T) {
	tool, err := exec.LookPath("ogr2ogr")
	if err != nil {
		if os.Getenv("ASFOUND_ORACLES") == "1" {
			t.Fatal("ogr2ogr is not installed")
		}
		t.Skip("ogr2ogr is not installed (Debian: gdal-bin)")
	}
	src := lines(t, "EPSG:26917", shapefile.PolyLineZ,
		row1("A,W,D-1,1972,CI,pipe,150,36,", straight(0), straight(3)), row1("B,G,Ü,1980,PE,wire,63,,", straight(10)), shapefile.Row{Null: true, Values: []string{"C"}})
	want, err := readOne(src)
	if err != nil {
		t.Fatal(err)
	}
	for ext, srs := range map[string][]string{".gpkg": {"-a_srs", "EPSG:26917"}, ".geojson": {"-s_srs", "EPSG:26917", "-t_srs", "EPSG:4326"}} {
		out := src
		out.Path, out.Layer = filepath.Join(t.TempDir(), "pipes"+ext), map[string]string{".gpkg": "pipes"}[ext]
		if msg, err := exec.Command(tool, append(srs, out.Path, src.Path)...).CombinedOutput(); err != nil {
			t.Fatalf("ogr2ogr: %v %s", err, msg)
		}
		got, err := Files(t.Context(), Options{Plane: "EPSG:26917", Records: []RecordsSource{out}})
		if err != nil {
			t.Fatal(err)
		}
		for i := range want.Records {
			w, g := want.Records[i], got.Records[i]
			w.Source, w.Layer, w.Feature = g.Source, g.Layer, g.Feature
			for p := range w.Parts { // longitudes and latitudes have 7 decimals in GeoJSON: a centimetre
				for v := range w.Parts[p] {
					if d := math.Hypot(w.Parts[p][v][0]-g.Parts[p][v][0], w.Parts[p][v][1]-g.Parts[p][v][1]); d > 0.02 {
						t.Errorf("%s: record %s vertex %d is %v m away", ext, w.ID, v, d)
					}
				}
			}
			if w.ID != g.ID || w.Utility != g.Utility || w.Sheet != g.Sheet || w.Installed != g.Installed || w.DiameterM != g.DiameterM || len(w.Parts) != len(g.Parts) {
				t.Errorf("%s: record %+v, want %+v", ext, g, w)
			}
		}
		if s := got.Sources[0]; s.Rows != 3 || s.Used != 2 || s.Rejected != 1 {
			t.Errorf("%s: %+v", ext, s)
		}
	}
}

// TestDamagedGeoPackage damages bytes of a file, and cuts it short: an error or
// rows, never a fault. (Fuzzing is of no use here: instrumented, the database
// takes seconds for one file.)
func TestDamagedGeoPackage(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "seed.gpkg")
	var inserts strings.Builder
	for i := range 40 {
		fmt.Fprintf(&inserts, "insert into readings values (%d, %s, '%s');", i+1, gpkgPoint(t, "-81", "40"), strings.Repeat("x", 10*i))
	}
	makeGeoPackage(t, path, "readings", "POINT", "create table readings (fid integer primary key, geom point, a text);"+inserts.String())
	sound, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	tries := 300
	if os.Getenv("ASFOUND_SLOW") == "1" {
		tries = 20_000
	}
	random := rand.New(rand.NewSource(1))
	failed := 0
	for range tries {
		data := slices.Clone(sound)
		for range 1 + random.Intn(4) {
			// Headers of pages hold most of what can be wrong.
			at := random.Intn(len(data)/4096)*4096 + random.Intn(120)
			if random.Intn(2) == 0 {
				at = random.Intn(len(data))
			}
			data[at] = byte(random.Intn(256))
		}
		if random.Intn(8) == 0 {
			data = data[:random.Intn(len(data))]
		}
		writeText(t, path, string(data))
		l, err := readGeoPackage(path, "", whole)
		if err != nil {
			failed++
			continue
		}
		checkLayer(t, l)
	}
	if failed == 0 || failed == tries {
		t.Errorf("%d of %d damaged files are errors: the damage tests nothing", failed, tries)
	}
}

func FuzzWKB(f *testing.F) {
	f.Add(wkbLineOf(binary.LittleEndian, wkbLine, 0, 1, 2, 3))
	f.Add(wkbLineOf(binary.BigEndian, 3000+wkbLine, 0, 1, 2, 3))
	f.Fuzz(func(t *testing.T, data []byte) {
		l := &layerFile{}
		feature := survey.Feature{Row: 1}
		kind, err := parseWKB(data, &feature)
		if err == nil {
			l.add(feature, kind, "")
			l.settle()
			checkLayer(t, l)
		}
	})
}
