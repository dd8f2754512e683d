package read

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// TestSameRecordsInEveryFormat reads one map of every kind of row: several parts,
// heights, no geometry, a line without length, an id that is missing, that comes
// twice and that no double holds, a row twice.
func TestSameRecordsInEveryFormat(t *testing.T) {
	const big = "9007199254740993" // 2^53 + 1
	heights := [][]float64{{101.5, 0}}
	rows := []one{
		{[]orb.LineString{straight(0)}, heights, []string{big, "W", "D-1", "1.25"}},
		{[]orb.LineString{straight(10), straight(20)}, [][]float64{{1, 2}, {3, 4}}, []string{"W2", "W", "Ü-2", "9999"}},
		{nil, nil, []string{"W3", "W", "D-1", ""}},
		{[]orb.LineString{{{500000, 4427700}, {500000, 4427700}}}, heights, []string{"W4", "W", "D-1", ""}},
		{[]orb.LineString{straight(30)}, heights, []string{"", "G", "unknown", "deep"}},
		{[]orb.LineString{straight(40)}, heights, []string{"W2", "W", "D-1", ""}},
		{[]orb.LineString{straight(40)}, heights, []string{"W2", "W", "D-1", ""}},
	}
	want := ""
	for _, format := range []string{"shp", "zip", "geojson", "gpkg"} {
		src := RecordsSource{
			ID: Column{Name: "ID"}, Utility: Column{Name: "KIND", Values: map[string]string{"W": "water", "G": "gas"}}, Sheet: Column{Name: "SHEET"},
			Cover: Column{Name: "COVER", Missing: []float64{9999}},
		}
		src.File = makers[format](t, t.TempDir(), shapefile.PolyLineZ, []string{"ID", "KIND", "SHEET", "COVER"}, rows)
		src.Name = "map"
		s, err := readOne(src)
		if err != nil {
			t.Errorf("%s: %v", format, err)
			continue
		}
		got := dump(s, true)
		for _, f := range s.Layers[0].Features[:2] {
			got += fmt.Sprintf("Z %v\n", f.Z)
		}
		for _, id := range []string{"map#" + big, "map#5", "map#W2#2"} {
			if !slices.ContainsFunc(s.Records, func(r survey.Record) bool { return r.Key() == id }) {
				t.Errorf("%s: no record %s", format, id)
			}
		}
		if src := s.Sources[0]; src.Rows != 7 || src.Used != 4 || src.Duplicates != 1 || src.Rejected != 2 {
			t.Errorf("%s: %+v", format, src)
		}
		if want == "" {
			want = got
		} else if got != want {
			t.Errorf("%s:\n%s\nwant, as from a shapefile:\n%s", format, got, want)
		}
	}
}

// TestSameAreasInEveryFormat reads an area with a hole, one without geometry and
// one without extent.
func TestSameAreasInEveryFormat(t *testing.T) {
	const x, y = 500000, 4427700
	hole := square(x, y, 10)
	slices.Reverse(hole)
	rows := []one{
		{[]orb.LineString{square(x, y, 50), hole}, nil, []string{"water; gas", "T1"}},
		{nil, nil, []string{"water", "T2"}},
		{[]orb.LineString{{{x, y}, {x + 1, y}, {x + 2, y}, {x, y}}}, nil, []string{"water", "T3"}},
		{[]orb.LineString{square(x+100, y, 5)}, [][]float64{{1, 1, 1, 1, 1}}, []string{"gas", "T4"}},
	}
	want := ""
	for _, format := range []string{"shp", "zip", "geojson", "gpkg"} {
		for _, kind := range []shapefile.Type{shapefile.Polygon, shapefile.PolygonZ} {
			src := AreasSource{File: makers[format](t, t.TempDir(), kind, []string{"UTIL", "TICKET"}, rows), Utility: Column{Name: "UTIL"}, Ticket: Column{Name: "TICKET"}}
			src.Name = "swept"
			s, err := Files(t.Context(), Options{Plane: auto, MaxRejectShare: 1, Areas: []AreasSource{src}, Records: []RecordsSource{lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", straight(0)))}})
			if err != nil {
				t.Fatal(err)
			}
			got := dump(&survey.Survey{Areas: s.Areas, Rejects: s.Rejects, Sources: s.Sources[1:]}, true)
			if want == "" {
				want = got
			}
			if got != want || len(s.Areas) != 2 {
				t.Errorf("%s %v:\n%s\nwant, as from a shapefile:\n%s", format, kind, got, want)
			}
		}
	}
}

// pointsInEveryFormat writes three points: with a height, at height 0 and without
// one; the fourth has no position and the fifth is the first again.
func pointsInEveryFormat(t *testing.T) map[string]File {
	t.Helper()
	at := func(i int) []orb.LineString { return []orb.LineString{{{500000 + float64(i), 4427700}}} }
	stamp := func(i int) []string { return []string{fmt.Sprintf("2026-06-12T14:00:0%dZ", i)} }
	rows := []one{
		{at(1), [][]float64{{101.5}}, stamp(1)},
		{at(2), [][]float64{{0}}, stamp(2)},
		{at(3), nil, stamp(3)},
		{nil, nil, stamp(4)},
		{at(1), [][]float64{{101.5}}, stamp(1)},
	}
	files := map[string]File{}
	for _, format := range []string{"shp", "geojson", "gpkg"} {
		files[format] = makers[format](t, t.TempDir(), shapefile.PointZ, []string{"TIME"}, rows)
	}
	var gpx, csv strings.Builder
	csv.WriteString("TIME,E,N,ELEV\n")
	for _, r := range rows {
		height, lat, e := "", "", ""
		if r.z != nil {
			height = fmt.Sprint(r.z[0][0])
		}
		if r.parts != nil {
			p := degreesOf(t, r.parts[0][0])
			lat, e = fmt.Sprintf(`lat="%.12f" lon="%.12f"`, p[1], p[0]), fmt.Sprintf("%v,%v", r.parts[0][0][0], r.parts[0][0][1])
		} else {
			lat, e = `lat=""`, ","
		}
		fmt.Fprintf(&csv, "%s,%s,%s\n", r.values[0], e, height)
		if height != "" {
			height = "<ele>" + height + "</ele>"
		}
		fmt.Fprintf(&gpx, "<wpt %s>%s<time>%s</time></wpt>", lat, height, r.values[0])
	}
	for ext, text := range map[string]string{"gpx": "<gpx>" + gpx.String() + "</gpx>", "csv": csv.String()} {
		path := filepath.Join(t.TempDir(), "points."+ext)
		writeText(t, path, text)
		files[ext] = File{Path: path, CRS: map[string]string{"gpx": "EPSG:4269", "csv": "EPSG:26917"}[ext]}
	}
	return files
}

// degreesOf is a position of UTM zone 17N as longitude and latitude.
func degreesOf(t *testing.T, p orb.Point) orb.Point {
	t.Helper()
	utm := system(t, "EPSG:26917")
	to, err := (&plane{system: utm}).projection(utm.Geographic(), 0)
	if err != nil {
		t.Fatal(err)
	}
	q, err := to.operation.Inverse().Apply(p)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

// pointSources are those files as sources of readings.
func pointSources(t *testing.T) (o Options, formats []string) {
	o = input{field: map[string]string{"f/r.csv": "TIME\n"}}.options(t)
	o.MaxRejectShare = 1
	template := o.Field[0]
	o.Field = nil
	files := pointsInEveryFormat(t)
	for _, format := range []string{"csv", "geojson", "gpkg", "gpx", "shp"} {
		s := template
		s.File = files[format]
		s.Name = "f/" + format
		s.Latitude, s.Longitude, s.Time = Column{}, Column{}, Column{Name: "TIME"}
		switch format {
		case "csv":
			s.Easting, s.Northing, s.Elevation = Column{Name: "E"}, Column{Name: "N"}, Column{Name: "ELEV"}
		case "gpx":
			s.Time = Column{}
		}
		o.Field = append(o.Field, s)
		formats = append(formats, format)
	}
	return o, formats
}

// TestHeightsInEveryFormat: a point's height is an elevation where it is given,
// also where that is 0, and unknown where it is not.
func TestHeightsInEveryFormat(t *testing.T) {
	all, formats := pointSources(t)
	for i, format := range formats {
		o := all
		o.Field = all.Field[i : i+1]
		s, err := Files(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, tr := range s.Traces {
			for _, m := range tr.Readings {
				if m.Duplicate == nil {
					got = append(got, fmt.Sprint(m.ElevationM))
				}
			}
		}
		if !reflect.DeepEqual(got, []string{"101.5", "0", "NaN"}) {
			t.Errorf("%s: elevations %v", format, got)
		}
	}
}

// TestDuplicatesInEveryFormat hands the same readings in in every format at once:
// each file has one reading twice, one row without a position, and but for the
// first file all that is left was there before.
func TestDuplicatesInEveryFormat(t *testing.T) {
	o, formats := pointSources(t)
	s, err := Files(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	for i, format := range formats {
		src := s.Sources[i+1]
		used := 0
		if i == 0 {
			used = 3
		}
		if src.Rows != 5 || src.Used != used || src.Duplicates != 4-used || src.Rejected != 1 || src.SetAside != "" {
			t.Errorf("%s: %+v", format, src)
		}
		if i > 0 && !strings.Contains(strings.Join(src.Notes, "\n"), "= f/csv row 1") {
			t.Errorf("%s does not say of what it is the duplicate: %q", format, src.Notes)
		}
	}
	if len(s.Rejects) != len(formats) {
		t.Errorf("rejects %+v", s.Rejects)
	}
}

// TestByteOrderMarks puts one before every format of text.
func TestByteOrderMarks(t *testing.T) {
	const mark = "\ufeff"
	dir := t.TempDir()
	for name, text := range map[string]string{
		"r.csv":     "LINE,LAT\n1,40\n",
		"r.geojson": `{"type":"Feature","properties":{"LINE":"1","LAT":"40"},"geometry":{"type":"Point","coordinates":[-81,40]}}`,
		"r.gpx":     `<?xml version="1.0" encoding="UTF-8"?><gpx><wpt lat="40" lon="-81"><LINE>1</LINE><LAT>40</LAT></wpt></gpx>`,
	} {
		path := filepath.Join(dir, name)
		writeText(t, path, mark+text)
		g, err := Look(path, "")
		if err != nil || g.Rows != 1 || !slices.Contains(g.Columns, "LINE") || !slices.Contains(g.Columns, "LAT") {
			t.Errorf("%s: %v %+v", name, err, g)
		}
	}
	log, err := parseNMEA(strings.NewReader(mark + sentence("GNGGA,140000.00,4000.0000,N,08100.0000,W,4,12,0.7,250.0,M,-33.0,M,1.0,0000")))
	if err != nil || len(log.positions) != 1 {
		t.Errorf("NMEA: %v", err)
	}
}

// TestEmptyGeometries are rows without a position, not faults: one that has no
// geometry, and one that has an empty one.
func TestEmptyGeometries(t *testing.T) {
	empty := func(typed uint32) string { // a point that is no number, a line of no points
		b := binary.LittleEndian.AppendUint32([]byte{'G', 'P', 0, 1, 0, 0, 0, 0, 1}, typed)
		if typed == wkbPoint {
			for range 2 {
				b = binary.LittleEndian.AppendUint64(b, math.Float64bits(math.NaN()))
			}
		} else {
			b = binary.LittleEndian.AppendUint32(b, 0)
		}
		return "x'" + hex.EncodeToString(b) + "'"
	}
	flagged := "x'" + hex.EncodeToString([]byte{'G', 'P', 0, 1 | 1<<4, 0, 0, 0, 0, 1, 2, 0, 0, 0, 0, 0, 0, 0}) + "'"
	dir := t.TempDir()
	pkg := filepath.Join(dir, "e.gpkg")
	makeGeoPackage(t, pkg, "layer", "GEOMETRY", "create table layer (fid integer primary key, geom blob); insert into layer (geom) values (null), ("+
		empty(wkbPoint)+"), ("+empty(wkbLine)+"), ("+empty(wkbMultiLine)+"), ("+flagged+"), ("+gpkgOf(shapefile.PolyLine, one{parts: []orb.LineString{straight(0)}})+");")
	geo := filepath.Join(dir, "e.geojson")
	feature := func(geometry string) string {
		return `{"type":"Feature","properties":{},"geometry":` + geometry + "}\n"
	}
	writeText(t, geo, feature("null")+feature(`{"type":"LineString","coordinates":[]}`)+feature(`{"type":"MultiLineString","coordinates":[]}`)+
		feature(`{"type":"MultiLineString","coordinates":[[]]}`)+feature(`{"type":"LineString","coordinates":[[-81,40]]}`)+feature(geoJSONOf(shapefile.PolyLine, one{parts: []orb.LineString{{{-81, 40}, {-81, 41}}}})))
	for _, path := range []string{pkg, geo} {
		s, err := readOne(RecordsSource{File: File{Path: path, Name: "map"}, Utility: Column{Fixed: "water"}})
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		if src := s.Sources[0]; src.Rows != 6 || src.Used != 1 || src.Rejected != 5 || len(s.Rejects) != 5 {
			t.Errorf("%s: %+v %+v", path, src, s.Rejects)
		}
	}
	if _, err := os.Stat(pkg + "-journal"); err == nil {
		t.Error("reading left a file behind")
	}
}

// TestUTF16OnlyInTables: RFC 8259 has JSON in UTF-8, and the others are not met
// in UTF-16. It is an error there, not a file without rows.
func TestUTF16OnlyInTables(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"r.geojson": `{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[-81,40]}}`,
		"r.gpx":     `<?xml version="1.0" encoding="UTF-16"?><gpx><wpt lat="40" lon="-81"></wpt></gpx>`,
	} {
		path := filepath.Join(dir, name)
		writeText(t, path, utf16Text(text))
		if g, err := Look(path, ""); err == nil {
			t.Errorf("%s: %d rows", name, g.Rows)
		}
	}
	if log, err := parseNMEA(strings.NewReader(utf16Text(sentence("GNGGA,140000.00,4000.0000,N,08100.0000,W,4,12,0.7,250.0,M,-33.0,M,1.0,0000")))); err == nil {
		t.Errorf("NMEA: %d positions", len(log.positions))
	}
}

// TestMemoryOfEveryFormat holds what a layer takes in memory against the size of
// its file. XML and JSON are wordy; values of a table are shorter than what keeps
// them.
func TestMemoryOfEveryFormat(t *testing.T) {
	const n = 8_000
	var geo, gpx, sql strings.Builder
	rows := make([]one, n)
	for i := range n {
		at, stamp := 500000+float64(i)/8, fmt.Sprintf("2026-06-12T14:%02d:%02dZ", i/60%60, i%60)
		rows[i] = one{parts: []orb.LineString{{{at, 4427700}}}, values: []string{stamp, "remark of this row"}}
		fmt.Fprintf(&geo, `{"type":"Feature","properties":{"TIME":%q,"REMARK":"remark of this row"},"geometry":{"type":"Point","coordinates":[%v,4427700]}}`+"\n", stamp, at)
		fmt.Fprintf(&gpx, `<trkpt lat="40.%06d" lon="-81"><ele>1.5</ele><time>%s</time><cmt>remark of this row</cmt></trkpt>`+"\n", i, stamp)
		fmt.Fprintf(&sql, "insert into readings values (null, %s, '%s', 'remark of this row');", gpkgOf(shapefile.Point, rows[i]), stamp)
	}
	dir := t.TempDir()
	shp := writeShp(t, dir, shapefile.Point, []string{"TIME", "REMARK"}, rows).Path
	paths := []string{shp, filepath.Join(dir, "r.geojson"), filepath.Join(dir, "r.gpx"), filepath.Join(dir, "r.gpkg")}
	writeText(t, paths[1], geo.String())
	writeText(t, paths[2], "<gpx><trk><trkseg>"+gpx.String()+"</trkseg></trk></gpx>")
	makeGeoPackage(t, paths[3], "readings", "POINT", "create table readings (fid integer primary key, geom point, TIME text, REMARK text); begin;"+sql.String()+"commit;")
	csv := filepath.Join(dir, "r.csv")
	writeText(t, csv, "TIME,E,N,REMARK\n"+rowsOf(rows))
	inUse := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	for _, path := range paths {
		var size int64
		for _, p := range []string{path, strings.TrimSuffix(path, ".shp") + ".dbf"} {
			if info, err := os.Stat(p); err == nil {
				size += info.Size()
			}
		}
		before := inUse()
		l, err := readAnyLayer(File{Path: path}, whole)
		if err != nil || len(l.features) != n {
			t.Fatal(path, err)
		}
		used := inUse() - before
		t.Logf("%s: %.1f times the file", filepath.Ext(path), float64(used)/float64(size))
		if used > 6*uint64(size) {
			t.Errorf("%s: %d bytes in use for a file of %d", filepath.Ext(path), used, size)
		}
		runtime.KeepAlive(l)
	}
	// Rows of text are not held: what is left of them is readings.
	src := FieldSource{File: File{Path: csv, Name: "r.csv", CRS: "EPSG:26917"}, Time: Column{Name: "TIME"}, Remark: Column{Name: "REMARK"}}
	src.Easting, src.Northing = Column{Name: "E"}, Column{Name: "N"}
	before := inUse()
	s, err := Files(t.Context(), Options{Plane: auto, Records: []RecordsSource{lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", straight(0)))}, Field: []FieldSource{src}})
	info, statErr := os.Stat(csv)
	if err != nil || statErr != nil || s.Sources[1].Used != n {
		t.Fatal(err, statErr, s.Sources)
	}
	used := inUse() - before
	t.Logf(".csv: %.1f times the file", float64(used)/float64(info.Size()))
	if used > 6*uint64(info.Size()) {
		t.Errorf(".csv: %d bytes in use for a file of %d", used, info.Size())
	}
	runtime.KeepAlive(s)
}

// rowsOf are points as rows of text.
func rowsOf(rows []one) string {
	var b strings.Builder
	for _, r := range rows {
		fmt.Fprintf(&b, "%s,%v,%v,%s\n", r.values[0], r.parts[0][0][0], r.parts[0][0][1], r.values[1])
	}
	return b.String()
}
