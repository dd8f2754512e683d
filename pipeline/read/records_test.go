package read

import (
	"archive/zip"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// lines writes a layer of lines with all attributes that records have.
func lines(t testing.TB, crsDefinition string, kind shapefile.Type, rows ...shapefile.Row) RecordsSource {
	t.Helper()
	text := func(name string) shapefile.Field { return shapefile.Field{Name: name, Type: 'C', Length: 20} }
	l := &shapefile.Layer{
		Name: "pipes", Type: kind, Projection: system(t, crsDefinition).Definition(),
		Fields: []shapefile.Field{text("ID"), text("KIND"), text("SHEET"), text("YR"), text("MATL"), text("COND"), text("DIA_MM"), text("DEPTH"), text("GROUND")},
	}
	for i, r := range rows {
		r.Number = i + 1
		for len(r.Values) < len(l.Fields) {
			r.Values = append(r.Values, "")
		}
		for _, part := range r.Parts {
			if kind.HasZ() {
				r.Z, r.M = append(r.Z, make([]float64, len(part))), append(r.M, make([]float64, len(part)))
			}
		}
		l.Rows = append(l.Rows, r)
	}
	path := filepath.Join(t.TempDir(), "pipes.shp")
	if err := shapefile.Write(path, l); err != nil {
		t.Fatal(err)
	}
	return RecordsSource{
		File: File{Path: path, Name: "gis/pipes.shp", At: "asfound.yaml:4"},
		ID:   Column{Name: "ID"}, Utility: Column{Name: "KIND", Values: map[string]string{"W": "water", "G": "gas"}},
		Sheet: Column{Name: "SHEET"}, Installed: Column{Name: "YR"}, Material: Column{Name: "MATL"},
		Conductor: Column{Name: "COND"}, Diameter: Column{Name: "DIA_MM", Factor: 0.001},
	}
}

func row1(values string, parts ...orb.LineString) shapefile.Row {
	return shapefile.Row{Parts: parts, Values: strings.Split(values, ",")}
}

// straight is a line of 100 m to the east, at a distance to the north.
func straight(north float64) orb.LineString {
	return orb.LineString{{500000, 4427700 + north}, {500100, 4427700 + north}}
}

func readOne(src RecordsSource) (*survey.Survey, error) {
	return Files(context.Background(), Options{Plane: auto, Records: []RecordsSource{src}, PlaceholderSheets: []string{"unknown", "N/A", "-"}})
}

func TestRecords(t *testing.T) {
	point := orb.LineString{{500000, 4427700}, {500000, 4427700}}
	src := lines(t, "EPSG:26917", shapefile.PolyLineZ,
		row1("A,W,D-1,1972,CI,pipe,150,36,", straight(0)),
		row1("B,G,unknown,12/3/1972,PE,wire,63,n/a,", straight(10)),
		row1("B,G, n/a ,1972.0,PE,wire,0,-1,", straight(5)), // the same id, another line
		row1(",W,D-1,19720312,CI,rope,-5,36,", straight(20)),
		row1("C,W,D-2,72,CI,pipe,150,36,", point),
		shapefile.Row{Null: true, Values: []string{"D"}},
		row1("E,W,D-2,1972 or 1974,CI,none,150,36,", straight(30), point, straight(40)),
		row1("A,W,D-1,1972,CI,pipe,150,36,", straight(0)), // wholly the first row
		row1("F,X,D-2,,,,,,", straight(0)),                // on the first row's line
		shapefile.Row{Deleted: true, Parts: []orb.LineString{straight(50)}, Values: []string{"G"}},
	)
	src.Cover = Column{Name: "DEPTH", Factor: 0.0254, Missing: []float64{-1}}
	s, err := readOne(src)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "records", dump(s, true))
	if len(s.Layers) != 1 || len(s.Layers[0].Features) != 10 {
		t.Fatalf("the layer has not all rows: %d", len(s.Layers[0].Features))
	}
	for i := range s.Records {
		r := &s.Records[i]
		f := s.Layers[r.Layer].Features[r.Feature]
		if len(f.Parts) != len(r.Parts) || len(f.Z) != len(r.Parts) {
			t.Errorf("%s: %d parts, %d in the layer with %d of Z", r.Key(), len(r.Parts), len(f.Parts), len(f.Z))
		}
	}
	if v := s.Layers[0].Features[1].Values[7]; v != (survey.Value{Text: "n/a"}) {
		t.Errorf("an attribute came out as %+v", v)
	}
}

// TestCover converts what a record says of its depth to cover. The arithmetic
// is the definition of each: no published values are needed.
func TestCover(t *testing.T) {
	for _, c := range []struct {
		name    string
		columns func(*RecordsSource)
		values  string // DIA_MM, DEPTH, GROUND
		want    float64
		note    string
	}{
		{"cover", func(s *RecordsSource) { s.Cover = Column{Name: "DEPTH"} }, ",1.2,", 1.2, ""},
		{"to the centre", func(s *RecordsSource) { s.DepthToCentre = Column{Name: "DEPTH"} }, "200,1.2,", 1.1, ""},
		{"to the centre, no diameter", func(s *RecordsSource) { s.DepthToCentre = Column{Name: "DEPTH"} }, ",1.2,", math.NaN(), "no diameter"},
		{"to the invert", func(s *RecordsSource) { s.DepthToInvert = Column{Name: "DEPTH"} }, "200,1.2,", 1.0, ""},
		{"to the invert, no depth", func(s *RecordsSource) { s.DepthToInvert = Column{Name: "DEPTH"} }, "200,,", math.NaN(), "no depth"},
		{"invert elevation", func(s *RecordsSource) { s.InvertElevation, s.Ground = Column{Name: "DEPTH"}, Column{Name: "GROUND"} }, "200,250.5,252", 1.3, ""},
		{"crown elevation", func(s *RecordsSource) { s.CrownElevation, s.Ground = Column{Name: "DEPTH"}, Column{Name: "GROUND"} }, ",250.5,252", 1.5, ""},
		{"crown without ground", func(s *RecordsSource) { s.CrownElevation, s.Ground = Column{Name: "DEPTH"}, Column{Name: "GROUND"} }, ",250.5,", math.NaN(), "elevation of the line or of the ground"},
		{"above the ground", func(s *RecordsSource) { s.DepthToInvert = Column{Name: "DEPTH"} }, "200,0.1,", math.NaN(), "above the ground"},
		{"nothing", func(s *RecordsSource) {}, "200,1,", math.NaN(), ""},
	} {
		src := lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W,,,,,"+c.values, straight(0)))
		c.columns(&src)
		s, err := readOne(src)
		if err != nil {
			t.Fatal(err)
		}
		notes := strings.Join(s.Sources[0].Notes, "\n")
		if got := s.Records[0].CoverM; math.Abs(got-c.want) > 1e-12 || math.IsNaN(got) != math.IsNaN(c.want) {
			t.Errorf("%s: cover %v, want %v", c.name, got, c.want)
		}
		if (c.note == "") != !strings.Contains(notes, "no cover") || !strings.Contains(notes, c.note) {
			t.Errorf("%s: notes %q, want %q", c.name, notes, c.note)
		}
	}
}

func TestYearIn(t *testing.T) {
	for text, want := range map[string]int{
		"1972": 1972, "1972.0": 1972, "12/3/1972": 1972, "1972-03-12": 1972, "19720312": 1972, "c. 1972": 1972,
		"1972-03-12T00:00:00Z": 1972, "20261231235959": 2026,
		"72": 0, "1072": 0, "1972/1974": 0, "unknown": 0, "0": 0, "9999": 0, "12345": 0, "1972.5": 1972,
	} {
		if got := yearIn(text); got != want {
			t.Errorf("%q: %d, want %d", text, got, want)
		}
	}
}

// TestPlane chooses the working plane by the records.
func TestPlane(t *testing.T) {
	degrees := lines(t, "EPSG:4269", shapefile.PolyLine, row1("A,W", orb.LineString{{-81.001, 40}, {-81, 40}}))
	feet := lines(t, "EPSG:3734", shapefile.PolyLine, row1("B,W", orb.LineString{{2245346.3, 414486.4}, {2245446.3, 414486.4}}))
	feet.Name = "gis/feet.shp"
	equalArea := lines(t, "EPSG:5070", shapefile.PolyLine, row1("C,W", orb.LineString{{-214479.9, 1777731.3}, {-214379.9, 1777731.3}}))
	equalArea.Name = "gis/albers.shp"
	for _, c := range []struct {
		name, plane string
		records     []RecordsSource
		want        string
	}{
		{"geographic", auto, []RecordsSource{degrees}, "UTM zone 17N"},
		{"geographic before feet", auto, []RecordsSource{degrees, feet}, "Ohio North"},
		{"not conformal", auto, []RecordsSource{equalArea}, "UTM zone 14N"},
		{"named", "EPSG:26917", []RecordsSource{feet}, "UTM zone 17N"},
		{"named in feet", "EPSG:3734", []RecordsSource{degrees}, "Ohio North"},
	} {
		s, err := Files(context.Background(), Options{Plane: c.plane, Records: c.records})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := system(t, s.Plane); !strings.Contains(got.Name(), c.want) || got.UnitM() != 1 {
			t.Errorf("%s: plane %s, unit %v m, want %s in metres", c.name, got.Name(), got.UnitM(), c.want)
		}
		for i := range s.Records {
			// 100 US survey feet or metres, or 0.001 degrees of longitude at
			// 40 N: 85.39 m on GRS 80 (a cos(lat) / sqrt(1 - e2 sin2(lat))).
			want := map[string]float64{"A": 85.394, "B": 100 * 1200.0 / 3937, "C": 100}[s.Records[i].ID]
			p := s.Records[i].Parts[0]
			got := math.Hypot(p[1][0]-p[0][0], p[1][1]-p[0][1])
			tolerance := 0.01 * want // the equal-area plane stretches one way and shrinks the other
			if s.Records[i].ID != "C" {
				got /= s.Records[i].Scale
				tolerance = 0.0005 * want
			}
			if math.Abs(got-want) > tolerance {
				t.Errorf("%s: record %s is %v m long, want %v", c.name, s.Records[i].ID, got, want)
			}
		}
	}
}

func TestRecordsThatStopTheRun(t *testing.T) {
	good := lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", straight(0)))
	cut := lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", straight(0)), row1("B,W", straight(10)))
	data, err := os.ReadFile(cut.Path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(cut.Path, data[:len(data)-30], 0o644); err != nil {
		t.Fatal(err)
	}
	degenerate := lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", orb.LineString{{1, 1}, {1, 1}}))
	noProjection := lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", straight(0)))
	if err := os.Remove(strings.TrimSuffix(noProjection.Path, ".shp") + ".prj"); err != nil {
		t.Fatal(err)
	}
	points := filepath.Join(t.TempDir(), "valves.shp")
	err = shapefile.Write(points, &shapefile.Layer{
		Name: "valves", Type: shapefile.Point, Projection: system(t, "EPSG:26917").Definition(),
		Fields: []shapefile.Field{{Name: "ID", Type: 'C', Length: 5}}, Rows: []shapefile.Row{{Number: 1, Points: []orb.Point{{500000, 4427700}}, Values: []string{"V"}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	change := func(src RecordsSource, by func(*RecordsSource)) RecordsSource { by(&src); return src }
	for _, c := range []struct {
		name string
		src  RecordsSource
		want string
	}{
		{"missing", change(good, func(s *RecordsSource) { s.Path += "x.shp" }), "records gis/pipes.shp (named in asfound.yaml:4): "},
		{"cut short", cut, "records gis/pipes.shp (named in asfound.yaml:4): "},
		{"no line", degenerate, "none of its rows holds a line"},
		{"points", change(good, func(s *RecordsSource) { s.Path = points }), "it holds points where lines are wanted"},
		{"no crs", noProjection, `add "crs"`},
		{"no column", change(good, func(s *RecordsSource) { s.Sheet.Name = "DRAWING" }), `no column is called "DRAWING": there are ID, KIND`},
		{"format", change(good, func(s *RecordsSource) { s.Path = "mains.dwg" }), "no such file"},
	} {
		s, err := readOne(c.src)
		if err == nil || s != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	if _, err := Files(context.Background(), Options{Plane: auto}); err == nil {
		t.Error("a job without records has a plane")
	}
	if _, err := Files(context.Background(), Options{Plane: "EPSG:4269", Records: []RecordsSource{good}}); err == nil || !strings.Contains(err.Error(), "geographic") {
		t.Error("a geographic plane:", err)
	}
}

// TestArchive reads a layer of an archive of two.
func TestArchive(t *testing.T) {
	src := lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", straight(0)))
	want, err := readOne(src)
	if err != nil {
		t.Fatal(err)
	}
	archive := filepath.Join(t.TempDir(), "gis.zip")
	f, err := os.Create(archive)
	if err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(f)
	for _, name := range []string{"pipes", "other"} {
		for _, ext := range []string{".shp", ".shx", ".dbf", ".prj", ".cpg"} {
			w, err := z.Create("gis/" + name + ext)
			if err != nil {
				t.Fatal(err)
			}
			data, err := os.ReadFile(strings.TrimSuffix(src.Path, ".shp") + ext)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := w.Write(data); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := errors.Join(z.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
	src.Path, src.Name = archive, "gis.zip"
	if _, err := readOne(src); err == nil || !strings.Contains(err.Error(), "2 layers") {
		t.Error("an archive of two layers:", err)
	}
	src.Layer = "roads"
	if _, err := readOne(src); err == nil || !strings.Contains(err.Error(), `no layer "roads": there are`) {
		t.Error("a layer that is not there:", err)
	}
	src.Layer = "pipes"
	got, err := readOne(src)
	if err != nil {
		t.Fatal(err)
	}
	if g, w := got.Records[0], want.Records[0]; g.Key() != "gis.zip:pipes#A" || compareParts(g.Parts, w.Parts) != 0 {
		t.Errorf("%+v, want %+v", g, w)
	}
}

// TestSiblings names every file of a set with its digest.
func TestSiblings(t *testing.T) {
	s, err := readOne(lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", straight(0))))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range s.Sources[0].Siblings {
		if len(f.SHA256) != 64 || f.Bytes == 0 {
			t.Errorf("%+v", f)
		}
		names = append(names, f.Name)
	}
	if got := strings.Join(names, " "); got != "gis/pipes.cpg gis/pipes.dbf gis/pipes.prj gis/pipes.shx" {
		t.Error(got)
	}
}
