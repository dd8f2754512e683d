package shapefile

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// These tests hold the package against GDAL's own reader and writer of the
// format.

// tool finds a program of GDAL; without it the test is skipped, or fails where
// ASFOUND_ORACLES=1 asks for it.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("ASFOUND_ORACLES") == "1" {
			t.Fatalf("%s is not installed, and ASFOUND_ORACLES=1 asks for it", name)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// run runs a program, which must have nothing to complain about.
func run(t testing.TB, name string, args ...string) string {
	t.Helper()
	var out, complaints bytes.Buffer
	cmd := exec.Command(tool(t, name), args...)
	cmd.Stdout, cmd.Stderr = &out, &complaints
	if err := cmd.Run(); err != nil || complaints.Len() > 0 {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, &complaints)
	}
	return out.String()
}

// makeWithGDAL makes a set from rows of id, name and WKT.
func makeWithGDAL(t *testing.T, rows [][]string, options ...string) string {
	t.Helper()
	dir := t.TempDir()
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.WriteAll(append([][]string{{"id", "name", "WKT"}}, rows...))
	source, made := filepath.Join(dir, "source.csv"), filepath.Join(dir, "mains.shp")
	if err := os.WriteFile(source, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	args := []string{"-f", "ESRI Shapefile", made, source, "-oo", "GEOM_POSSIBLE_NAMES=WKT", "-oo", "KEEP_GEOM_COLUMNS=NO", "-oo", "AUTODETECT_TYPE=YES", "-a_srs", "EPSG:26910"}
	run(t, "ogr2ogr", append(args, options...)...)
	return made
}

// xyzm are the numbers of a shape point by point, those of a dimension that has
// only no-data left out.
func xyzm(r *Row, kind Type) (ns []float64) {
	for i, part := range partsOf(r, kind) {
		for k, p := range part {
			ns = append(ns, p[0], p[1])
			for _, vs := range [][][]float64{r.Z, r.M} {
				if vs != nil && vs[i][k] == vs[i][k] {
					ns = append(ns, vs[i][k])
				}
			}
		}
	}
	return ns
}

var decimal = regexp.MustCompile(`-?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?`)

func numbersIn(wkt string) (ns []float64) {
	for _, s := range decimal.FindAllString(wkt, -1) {
		v, _ := strconv.ParseFloat(s, 64)
		ns = append(ns, v)
	}
	return ns
}

// TestReadsWhatGDALWrites has it write every type, Z with and without M.
func TestReadsWhatGDALWrites(t *testing.T) {
	const (
		point = "POINT %s (500000.5 5400000.25%s)"
		multi = "MULTIPOINT %s ((1 2%[2]s),(3 4%[2]s),(5 6%[2]s))"
		line  = "MULTILINESTRING %s ((1 2%[2]s,3 4%[2]s),(5 6%[2]s,7 8%[2]s,9 -1%[2]s))"
		area  = "POLYGON %s ((0 0%[2]s,0 9%[2]s,9 9%[2]s,9 0%[2]s,0 0%[2]s),(1 1%[2]s,2 1%[2]s,2 2%[2]s,1 1%[2]s))"
	)
	tests := []struct {
		shpt, wkt, dims string
		want            Type
	}{
		{"POINT", point, "", Point},
		{"POINTZ", point, "Z", PointZ},
		{"POINTM", point, "M", PointM},
		{"POINTZM", point, "ZM", PointZ},
		{"ARC", line, "", PolyLine},
		{"ARCZ", line, "Z", PolyLineZ},
		{"ARCM", line, "M", PolyLineM},
		{"ARCZM", line, "ZM", PolyLineZ},
		{"POLYGON", area, "", Polygon},
		{"POLYGONZ", area, "Z", PolygonZ},
		{"POLYGONM", area, "M", PolygonM},
		{"POLYGONZM", area, "ZM", PolygonZ},
		{"MULTIPOINT", multi, "", MultiPoint},
		{"MULTIPOINTZ", multi, "Z", MultiPointZ},
		{"MULTIPOINTM", multi, "M", MultiPointM},
		{"MULTIPOINTZM", multi, "ZM", MultiPointZ},
	}
	for _, tt := range tests {
		t.Run(tt.shpt, func(t *testing.T) {
			more := map[string]string{"": "", "Z": " 7.5", "M": " 80", "ZM": " 7.5 80"}[tt.dims]
			wkt := fmt.Sprintf(tt.wkt, tt.dims, more)
			made := makeWithGDAL(t, [][]string{{"1", "größe", wkt}, {"2", "", ""}, {"3", "x", wkt}}, "-lco", "SHPT="+tt.shpt, "-lco", "ENCODING=UTF-8")
			l, err := Read(made)
			if err != nil {
				t.Fatal(err)
			}
			if l.Type != tt.want || len(l.Rows) != 3 || l.Encoding != "UTF-8" || !strings.Contains(l.Projection, "UTM_Zone_10N") || len(l.Files) != 5 || l.Notes != nil {
				t.Fatalf("read %v, %d rows, %s, files %v, notes %q", l.Type, len(l.Rows), l.Encoding, l.Files, l.Notes)
			}
			for i, id := range []string{"1", "2", "3"} {
				if v := l.Rows[i].Values; v[0] != id || v[1] != []string{"größe", "", "x"}[i] {
					t.Errorf("row %d has values %q", i+1, v)
				}
			}
			if !l.Rows[1].Null || l.Rows[0].Null {
				t.Errorf("the second row alone should be null")
			}
			for _, i := range []int{0, 2} {
				if got, want := xyzm(&l.Rows[i], l.Type), numbersIn(wkt); !slices.Equal(got, want) {
					t.Errorf("row %d: got %v, want %v", i+1, got, want)
				}
			}
		})
	}
}

// TestReadsGDALsEncodings has it write text in encodings that it knows (in more
// of them with ASFOUND_SLOW=1).
func TestReadsGDALsEncodings(t *testing.T) {
	texts := map[string]string{"UTF-8": "größe 日本 ł", "ISO-8859-1": "größe é", "CP1252": "größe “é” €", "CP437": "größe ½", "CP932": "日本 水道", "LDID/201": "Труба"}
	if slow() {
		maps.Copy(texts, map[string]string{
			"CP1250": "łódź", "CP1251": "Труба", "CP850": "größe ø", "CP852": "łódź", "CP866": "Труба", "ISO-8859-2": "łódź", "ISO-8859-15": "größe €",
			"CP936": "你好 水管", "CP949": "가스관", "CP950": "中水管", "LDID/87": "größe", "LDID/3": "größe €", "LDID/38": "Труба", "LDID/19": "日本",
		})
	}
	for encoding, text := range texts {
		t.Run(encoding, func(t *testing.T) {
			made := makeWithGDAL(t, [][]string{{"1", text, "POINT (1 2)"}, {"2", "plain", "POINT (1 2)"}}, "-lco", "ENCODING="+encoding)
			l, err := Read(made)
			if err != nil {
				t.Fatal(err)
			}
			if got := l.Rows[0].Values[1]; got != text {
				t.Errorf("read %q as %s, want %q (notes %q)", got, l.Encoding, text, l.Notes)
			}
		})
	}
}

// TestReadsGDALsDeletions deletes a row with SQL, which leaves it in the files.
func TestReadsGDALsDeletions(t *testing.T) {
	made := makeWithGDAL(t, [][]string{{"1", "a", "POINT (1 2)"}, {"2", "b", "POINT (3 4)"}, {"3", "c", "POINT (5 6)"}})
	run(t, "ogrinfo", "-q", made, "-dialect", "SQLite", "-sql", "DELETE FROM mains WHERE id = 2", "--config", "SHAPE_REWIND_ON_WRITE", "NO")
	l, err := Read(made)
	if err != nil {
		t.Fatal(err)
	}
	var alive []string
	for _, r := range l.Rows {
		if !r.Deleted {
			alive = append(alive, fmt.Sprint(r.Values[0], r.Points))
		}
	}
	if want := []string{"1[[1 2]]", "3[[5 6]]"}; !slices.Equal(alive, want) {
		t.Errorf("got %v, want %v", alive, want)
	}
}

// TestGDALReadsWhatIsWritten has it read every type.
func TestGDALReadsWhatIsWritten(t *testing.T) {
	for _, l := range everyType() {
		t.Run(l.Type.String(), func(t *testing.T) {
			l.Projection = `PROJCS["NAD_1983_UTM_Zone_10N",GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",500000.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-123.0],PARAMETER["Scale_Factor",0.9996],PARAMETER["Latitude_Of_Origin",0.0],UNIT["Meter",1.0]]`
			path := filepath.Join(t.TempDir(), "mains.shp")
			if err := Write(path, l); err != nil {
				t.Fatal(err)
			}
			if l.Type == PolyLineZ || slow() {
				checkAbout(t, l, run(t, "ogrinfo", "-so", "-al", path))
			}
			out := run(t, "ogr2ogr", "-f", "CSV", "/vsistdout/", path, "-lco", "GEOMETRY=AS_WKT")
			got, err := csv.NewReader(strings.NewReader(out)).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			if len(got) != 4 {
				t.Fatalf("ogr2ogr reads %d rows:\n%s", len(got)-1, out)
			}
			for i, k := range []int{0, 1, 3} { // row 3 is deleted
				want := l.Rows[k]
				if ns := numbersIn(got[i+1][0]); !slices.Equal(ns, xyzm(&want, l.Type)) {
					t.Errorf("row %d: ogr2ogr reads %q, want %v", k+1, got[i+1][0], xyzm(&want, l.Type))
				}
				name := got[i+1][2]
				if name != want.Values[1] {
					t.Errorf("row %d: ogr2ogr reads the name %q, want %q", k+1, name, want.Values[1])
				}
			}
		})
	}
}

// checkAbout checks what ogrinfo says of a layer as a whole.
func checkAbout(t *testing.T, l *Layer, about string) {
	t.Helper()
	x, y := newSpan(), newSpan()
	for i := range l.Rows {
		for _, part := range partsOf(&l.Rows[i], l.Type) {
			for _, p := range part {
				x.add(p[0])
				y.add(p[1])
			}
		}
	}
	extent := fmt.Sprintf("Extent: (%f, %f) - (%f, %f)", x[0], y[0], x[1], y[1])
	for _, want := range []string{extent, "ID: Integer (4.0)", "NAME: String (6.0)", "ON: String (1.0)", `ID["EPSG",26910]`} {
		if !strings.Contains(about, want) {
			t.Errorf("ogrinfo does not say %q:\n%s", want, about)
		}
	}
}

// TestNullsForGDAL writes a null of each type of field.
func TestNullsForGDAL(t *testing.T) {
	l := &Layer{Type: Point, Fields: []Field{{"C", 'C', 5, 0}, {"N", 'N', 5, 0}, {"F", 'F', 9, 2}, {"D", 'D', 8, 0}, {"L", 'L', 1, 0}}, Rows: []Row{
		{Points: []orb.Point{{1, 2}}, Values: []string{"ab", "-12", "3.25", "20240229", "T"}},
		{Points: []orb.Point{{1, 2}}, Values: []string{"", "", "", "", ""}},
	}}
	path := filepath.Join(t.TempDir(), "mains.shp")
	if err := Write(path, l); err != nil {
		t.Fatal(err)
	}
	// The mark of an unknown logical is "?"; GDAL 3.6 passes it on.
	got := strings.ReplaceAll(run(t, "ogr2ogr", "-f", "CSV", "/vsistdout/", path), "?", "")
	if want := "C,N,F,D,L\nab,\"-12\",3.25,2024/02/29,T\n,,,,\n"; got != want {
		t.Errorf("ogr2ogr reads %q, want %q", got, want)
	}
}
