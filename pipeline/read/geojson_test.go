package read

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

func TestGeoJSONKeepsValues(t *testing.T) {
	l, err := parseGeoJSON(strings.NewReader("\ufeff"+`{
		"type": "FeatureCollection", "name": "mains", "features": [
		{"type": "Feature", "id": 9007199254740993, "bbox": [1, 2, 3, 4],
		 "properties": {"big": 9007199254740993, "text": "a\"b\u00e9", "on": true, "mixed": 1.50, "tags": {"a": [1, 2.50, null]}, "half": "\ud800", "none": null},
		 "geometry": {"type": "LineString", "coordinates": [[-81, 40, 12.5], [-81.001, 40]]}},
		{"properties": {"mixed": "x", "late": 1e3}, "geometry": {"type": "MultiLineString", "coordinates": [[[-81, 40], [-81, 41]], [[-80, 40], [-80, 41, 7]]]}, "type": "Feature"},
		{"type": "Feature", "properties": null, "geometry": null},
		{"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [-81, 40]}},
		{"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates": [[-81], [1, "x"]]}}
	]}`), whole)
	if err != nil {
		t.Fatal(err)
	}
	var fields []string
	for _, f := range l.fields {
		fields = append(fields, fmt.Sprintf("%s:%d", f.Name, f.Kind))
	}
	const text, number, truth, raw = survey.FieldText, survey.FieldNumber, survey.FieldBool, survey.FieldJSON
	if want := []survey.Field{
		{Name: "big", Kind: number},
		{Name: "text", Kind: text},
		{Name: "on", Kind: truth},
		{Name: "mixed", Kind: raw},
		{Name: "tags", Kind: raw},
		{Name: "half", Kind: raw},
		{Name: "none", Kind: text},
		{Name: "id", Kind: number},
		{Name: "late", Kind: number},
	}; !reflect.DeepEqual(l.fields, want) {
		t.Errorf("fields %v", fields)
	}
	var got []string
	for _, v := range l.features[0].Values {
		got = append(got, v.Text)
	}
	if want := []string{"9007199254740993", "a\"bé", "true", "1.50", `{"a": [1, 2.50, null]}`, `"\ud800"`, "", "9007199254740993", ""}; !reflect.DeepEqual(got, want) {
		t.Errorf("values %q, want %q", got, want)
	}
	if v := l.features[1].Values[3].Text; v != `"x"` {
		t.Errorf("a mixed value came out as %s", v)
	}
	var r row
	if l.rowOf(1, &r); r.values[3] != "x" {
		t.Errorf("as a cell it is %q", r.values[3])
	}
	if z := l.features[0].Z; len(z) != 1 || z[0][0] != 12.5 || !math.IsNaN(z[0][1]) {
		t.Errorf("Z %v", z)
	}
	if z := l.features[1].Z; len(z) != 2 || len(z[0]) != 2 || !math.IsNaN(z[0][1]) || z[1][1] != 7 {
		t.Errorf("Z of the second part only: %v", z)
	}
	if l.shape != shapeLines || l.crs != "EPSG:4326" || !l.features[2].Deleted || l.damage[2] != "" ||
		l.damage[3] != "its geometry is of the kind points in a layer of lines" || !strings.Contains(l.damage[4], "coordinates cannot be read") {
		t.Errorf("shape %q, crs %q, damage %v", l.shape, l.crs, l.damage)
	}
}

func TestGeoJSONForms(t *testing.T) {
	const feature = `{"type":"Feature","properties":{"a":1},"geometry":{"type":"LineString","coordinates":[[0,0],[1,1]]}}`
	for _, c := range []struct {
		name, text string
		rows       int
		crs        string
		err        string
	}{
		{"one feature", feature, 1, "EPSG:4326", ""},
		{"a feature a line", feature + "\n" + feature + "\n", 2, "EPSG:4326", ""},
		{"no features", `{"type":"FeatureCollection","features":[]}`, 0, "EPSG:4326", ""},
		{"old crs", `{"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::26917"}},"type":"FeatureCollection","features":[` + feature + `]}`, 1, "EPSG:26917", ""},
		{"old crs of today", `{"type":"FeatureCollection","features":[],"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}}}`, 0, "EPSG:4326", ""},
		{"empty", "", 0, "", "the file is empty"},
		{"no object", "[1]", 0, "", "an object was expected"},
		{"a geometry alone", `{"type":"LineString","coordinates":[[0,0],[1,1]]}`, 0, "", `a Feature was expected, not "LineString"`},
		{"features no list", `{"features":{}}`, 0, "", "should be a list"},
		{"cut short", `{"type":"FeatureCollection","features":[` + feature[:50], 0, "", "the file is cut short"},
		{"cut after a feature", `{"type":"FeatureCollection","features":[` + feature, 0, "", "the file is cut short"},
		{"garbage after", feature + "x", 0, "", "invalid character"},
		{"nested without end", `{"type":"Feature","properties":{"a":` + strings.Repeat("[", 20000), 0, "", "exceeded max depth"},
	} {
		l, err := parseGeoJSON(strings.NewReader(c.text), whole)
		switch {
		case c.err != "":
			if err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("%s: %v, want %q", c.name, err, c.err)
			}
		case err != nil:
			t.Errorf("%s: %v", c.name, err)
		case len(l.features) != c.rows || l.crs != c.crs:
			t.Errorf("%s: %d rows in %s", c.name, len(l.features), l.crs)
		}
	}
}

// TestSameReadingsInEveryFormat reads one campaign from CSV, GeoJSON points,
// GPX, a GeoPackage and a shapefile: all but the place of a reading is the same.
func TestSameReadingsInEveryFormat(t *testing.T) {
	const text = "LINE,TIME,LAT,LON,DEPTH_IN,FIX,CREW\n" +
		"1,2026-06-12T14:00:00Z,40.00001,-80.9999,36.5,4,A\n1,2026-06-12T14:00:09Z,40.00002,-80.9998,-1,5,A\n2,2026-06-12T14:01:09Z,40.00003,-80.9997,30,dgps,B\n"
	want := tracesOf(t, input{field: map[string]string{"f/r.csv": text}}.options(t))
	rows := strings.Split(strings.TrimSpace(text), "\n")[1:]
	var geo, gpx, sql strings.Builder
	for _, row := range rows {
		v := strings.Split(row, ",")
		fmt.Fprintf(&geo, `{"type":"Feature","geometry":{"type":"Point","coordinates":[%s,%s]},"properties":{"LINE":%s,"TIME":"%s","DEPTH_IN":%s,"FIX":"%s","CREW":"%s"}}`+"\n", v[3], v[2], v[0], v[1], v[4], v[5], v[6])
		fmt.Fprintf(&gpx, `<trkpt lat="%s" lon="%s"><time>%s</time><fix>%s</fix><extensions><x:LINE>%s</x:LINE><x:DEPTH_IN>%s</x:DEPTH_IN><x:CREW>%s</x:CREW></extensions></trkpt>`, v[2], v[3], v[1], v[5], v[0], v[4], v[6])
		fmt.Fprintf(&sql, `insert into readings values (null, %s, %s, '%s', %s, '%s', '%s');`, gpkgPoint(t, v[3], v[2]), v[0], v[1], v[4], v[5], v[6])
	}
	for ext, write := range map[string]func(path string){
		".geojson": func(path string) { writeText(t, path, geo.String()) },
		".gpx": func(path string) {
			writeText(t, path, `<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1" xmlns:x="urn:x"><trk><name>walk</name><trkseg>`+gpx.String()+`</trkseg></trk></gpx>`)
		},
		".gpkg": func(path string) {
			makeGeoPackage(t, path, "readings", "POINT", `create table readings (fid integer primary key, geom point, LINE integer, TIME datetime, DEPTH_IN double, FIX text, CREW text);`+sql.String())
		},
		".shp": func(path string) { writePoints(t, path, rows) },
	} {
		o := input{field: map[string]string{"f/r.csv": text}}.options(t)
		s := &o.Field[0]
		s.Path = filepath.Join(t.TempDir(), "r"+ext)
		s.Latitude, s.Longitude, s.CRS = Column{}, Column{}, "EPSG:4269"
		if ext == ".gpx" {
			s.Fix.Name, s.Time = "fix", Column{} // the time is GPX's own
		}
		write(s.Path)
		if got := tracesOf(t, o); got != want {
			t.Errorf("%s:\n%s\nwant:\n%s", ext, got, want)
		}
	}
}

// writePoints writes rows of LINE,TIME,LAT,LON,DEPTH_IN,FIX,CREW as a shapefile.
func writePoints(t *testing.T, path string, rows []string) {
	t.Helper()
	l := &shapefile.Layer{Name: "r", Type: shapefile.PointZ}
	for _, name := range []string{"LINE", "TIME", "DEPTH_IN", "FIX", "CREW"} {
		l.Fields = append(l.Fields, shapefile.Field{Name: name, Type: 'C', Length: 25})
	}
	for i, row := range rows {
		v := strings.Split(row, ",")
		var p orb.Point
		if _, err := fmt.Sscan(v[3]+" "+v[2], &p[0], &p[1]); err != nil {
			t.Fatal(err)
		}
		nan := [][]float64{{math.NaN()}}
		l.Rows = append(l.Rows, shapefile.Row{Number: i + 1, Points: []orb.Point{p}, Z: nan, M: nan, Values: []string{v[0], v[1], v[4], v[5], v[6]}})
	}
	if err := shapefile.Write(path, l); err != nil {
		t.Fatal(err)
	}
}

// tracesOf shows the traces of a job without rows.
func tracesOf(t *testing.T, o Options) string {
	t.Helper()
	s, err := Files(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	if src := s.Sources[1]; src.SetAside != "" || src.Rejected > 0 {
		t.Errorf("%s: %+v %v", src.Name, src, s.Rejects)
	}
	return dump(&survey.Survey{Traces: s.Traces}, false)
}

func writeText(t testing.TB, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestPointRows tells rows without one point.
func TestPointRows(t *testing.T) {
	o := input{field: map[string]string{"f/r.csv": "TIME\n"}}.options(t)
	s := &o.Field[0]
	s.Path = filepath.Join(t.TempDir(), "r.geojson")
	s.CRS = ""
	o.MaxRejectShare = 1
	point := func(geometry string) string {
		return `{"type":"Feature","properties":{"TIME":"2026-06-12T14:00:00Z"},"geometry":` + geometry + "}\n"
	}
	writeText(t, s.Path, point(`{"type":"Point","coordinates":[-81,40,250.5]}`)+point("null")+
		point(`{"type":"MultiPoint","coordinates":[[-81,40],[-81,41]]}`)+point(`{"type":"LineString","coordinates":[[-81,40],[-81,41]]}`)+
		point(`{"type":"Point","coordinates":[]}`)+point(`{"type":"Point","coordinates":[-81,140]}`))
	got, err := Files(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "point-rows", dump(got, true))
}

func FuzzGeoJSON(f *testing.F) {
	for _, seed := range []string{
		`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"a":[1,{"b":"\""}]},"geometry":{"type":"MultiPolygon","coordinates":[[[[0,0],[1,0],[1,1],[0,0]]]]}}]}`,
		`{"type":"Feature","properties":null,"geometry":null}`, `{"features":[`, `{"a":`, "[]", "",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := parseGeoJSON(strings.NewReader(text), whole)
		if err != nil {
			return
		}
		checkLayer(t, l)
	})
}

// checkLayer checks what every reader of layers owes.
func checkLayer(t *testing.T, l *layerFile) {
	t.Helper()
	for i := range l.features {
		f := &l.features[i]
		if f.Row != i+1 || len(f.Values) != len(l.fields) || f.Z != nil && len(f.Z) != len(f.Parts) {
			t.Fatalf("feature %d: %+v of %d fields", i, f, len(l.fields))
		}
		for p := range f.Z {
			if len(f.Z[p]) != len(f.Parts[p]) {
				t.Fatalf("feature %d part %d: %d heights of %d", i, p, len(f.Z[p]), len(f.Parts[p]))
			}
		}
		var r row
		l.pointRow(i, &r)
		if len(r.values) != len(l.fields) {
			t.Fatalf("feature %d has %d values as a row", i, len(r.values))
		}
	}
}
