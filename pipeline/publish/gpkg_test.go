package publish

import (
	"database/sql"
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"
)

func openGeoPackage(t testing.TB, folder string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", sqliteURI(filepath.Join(folder, "records-updated.gpkg"))+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// ask returns the rows of a query, one string a row with | between columns.
func ask(t testing.TB, db *sql.DB, query string) []string {
	t.Helper()
	rows, err := db.Query(query)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for rows.Next() {
		cells := make([]sql.NullString, len(columns))
		targets := make([]any, len(columns))
		for i := range cells {
			targets[i] = &cells[i]
		}
		if err := rows.Scan(targets...); err != nil {
			t.Fatal(err)
		}
		var words []string
		for _, c := range cells {
			words = append(words, c.String)
		}
		out = append(out, strings.Join(words, "|"))
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

func published(t testing.TB, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

// The tables that the standard asks for, against the standard.
func TestGeoPackageStandard(t *testing.T) {
	var std struct {
		Source        string
		ApplicationID string   `json:"-"`
		ID            int      `json:"application_id"`
		Version       int      `json:"user_version"`
		SRS           []int    `json:"srs_ids"`
		SRSColumns    []string `json:"spatial_ref_sys_columns"`
		Contents      []string `json:"contents_columns"`
		Geometry      []string `json:"geometry_columns_columns"`
		Magic         string   `json:"blob_magic"`
		// Nothing are requirements as queries that find what breaks them.
		Nothing [][2]string `json:"nothing"`
	}
	published(t, "ogc-12-128r18.json", &std)
	for _, folder := range []string{run(t, handful(t)), run(t, nothing())} {
		db := openGeoPackage(t, folder)
		var id, version, known int
		if err := db.QueryRow("PRAGMA application_id").Scan(&id); err != nil || id != std.ID {
			t.Errorf("application id %d, want %d (%s): %v", id, std.ID, std.Source, err)
		}
		if err := db.QueryRow("PRAGMA user_version").Scan(&version); err != nil || version != std.Version {
			t.Errorf("user version %d, want %d (%s): %v", version, std.Version, std.Source, err)
		}
		for _, srs := range std.SRS {
			if err := db.QueryRow("SELECT count(*) FROM gpkg_spatial_ref_sys WHERE srs_id = ?", srs).Scan(&known); err != nil || known != 1 {
				t.Errorf("system %d is not there (%s): %v", srs, std.Source, err)
			}
		}
		for table, columns := range map[string][]string{"gpkg_spatial_ref_sys": std.SRSColumns, "gpkg_contents": std.Contents, "gpkg_geometry_columns": std.Geometry} {
			if got := strings.Join(ask(t, db, "SELECT name FROM pragma_table_info('"+table+"')"), " "); got != strings.Join(columns, " ") {
				t.Errorf("%s has the columns %s, want %s (%s)", table, got, columns, std.Source)
			}
		}
		if got := ask(t, db, "PRAGMA integrity_check"); len(got) != 1 || got[0] != "ok" {
			t.Errorf("the file is broken: %q", got)
		}
		if got := ask(t, db, "PRAGMA foreign_key_check"); len(got) != 0 {
			t.Errorf("references to nothing: %q", got)
		}
		for _, table := range ask(t, db, "SELECT table_name FROM gpkg_contents WHERE data_type = 'features'") {
			if got := ask(t, db, `SELECT DISTINCT substr(geom, 1, 2) FROM "`+table+`" WHERE geom IS NOT NULL`); len(got) > 1 || len(got) == 1 && got[0] != std.Magic {
				t.Errorf("%s: geometry begins with %q (%s)", table, got, std.Source)
			}
		}
		for _, query := range std.Nothing {
			if got := ask(t, db, query[1]); len(got) != 0 {
				t.Errorf("%s: %q (%s)", query[0], got, std.Source)
			}
		}
		checkBlobs(t, db)
	}
}

// Every system that a layer is in stands there as the older WKT that the
// standard wants, and means the system that its EPSG code means.
func TestGeoPackageSystems(t *testing.T) {
	db := openGeoPackage(t, run(t, handful(t)))
	rows := ask(t, db, "SELECT srs_id, organization, definition FROM gpkg_spatial_ref_sys WHERE srs_id > 0")
	if len(rows) < 2 {
		t.Fatalf("systems: %q", rows)
	}
	for _, row := range rows {
		f := strings.SplitN(row, "|", 3)
		if !strings.HasPrefix(f[2], "PROJCS[") && !strings.HasPrefix(f[2], "GEOGCS[") {
			t.Errorf("system %s is defined as %q, no WKT of OGC 01-009", f[0], f[2])
			continue
		}
		if f[1] != "EPSG" {
			continue
		}
		p := orb.Point{500100, 4427700}
		if strings.HasPrefix(f[2], "GEOGCS[") {
			p = orb.Point{-81.1, 40.2}
		}
		q, err := operation(t, "EPSG:"+f[0], f[2]).Apply(p)
		if err != nil || math.Hypot(q[0]-p[0], q[1]-p[1]) > 1e-9 {
			t.Errorf("EPSG:%s has %v where its definition has %v: %v", f[0], p, q, err)
		}
	}
	if text := ask(t, db, "SELECT metadata FROM gpkg_metadata")[0]; !strings.Contains(text, "Working plane to WGS 84: NAD83 to WGS 84: null operation, accurate to about 2 m") {
		t.Errorf("the file does not say the operation: %s", text)
	}
}

func TestGeoPackageLayers(t *testing.T) {
	db := openGeoPackage(t, run(t, handful(t)))
	got := strings.Join(ask(t, db, "SELECT c.table_name, g.geometry_type_name, g.srs_id, g.z, c.last_change || '' FROM gpkg_contents c JOIN gpkg_geometry_columns g USING (table_name) ORDER BY c.table_name"), "\n")
	want := strings.Join([]string{
		"findings|GEOMETRY|26917|0|2026-11-22T23:35:01.000Z", "mains|MULTILINESTRING|26917|2|2026-11-22T23:35:01.000Z",
		"readings|POINT|26917|0|2026-11-22T23:35:01.000Z", "readings_2|LINESTRING|4269|0|2026-11-22T23:35:01.000Z", "unmapped|GEOMETRY|26917|0|2026-11-22T23:35:01.000Z",
		"valves|POINT|26917|1|2026-11-22T23:35:01.000Z",
	}, "\n")
	if got != want {
		t.Errorf("layers are\n%s\nwant\n%s", got, want)
	}
	for query, want := range map[string]string{
		`SELECT fid, ASSET_ID, asfound_status, asfound_decision, asfound_finding, asfound_moved_m FROM mains`:         "1|WM-1|corrected|proposed|P-1|1.2 / 2|WM-2|unchanged|none||0 / 3|X-9|unchanged|none||0 / 5|WM-4|unchanged|none||0",
		`SELECT typeof(DIA_MM), typeof(LEN), typeof(ACTIVE), typeof(LAID), LAID || '', LEN FROM mains`:                "real|text|integer|text|1972-04-01|100.00 / real|text|integer|text|1999-12-31|12345678901234567890 / real|text|null|null||60 / real|text|integer|text|2001-02-03|1e3",
		`SELECT NOTE, "asfound_id_2", "Fid_2" FROM mains WHERE fid < 3`:                                               "=1+1|own|7 / " + hostil + "||8",
		`SELECT big, tags, asfound_id FROM readings_2`:                                                                `9007199254740993|{"a":[1,2.50]}|gis/gas.geojson#X-9`,
		`SELECT status, count(*), count(station_m) FROM readings GROUP BY 1 ORDER BY 1`:                               "ambiguous|1|1 / duplicate|1|0 / unmapped|1|0 / untrusted|1|1 / used|4|4",
		`SELECT finding, verdict, offset_m FROM unmapped`:                                                             "U-1||",
		`SELECT count(*) FROM findings WHERE geom IS NULL`:                                                            "1",
		`SELECT metadata LIKE '%not permission to dig%', reference_scope FROM gpkg_metadata, gpkg_metadata_reference`: "1|geopackage",
		`SELECT count(*) FROM gpkg_contents WHERE description LIKE '%not permission to dig%'`:                         "6",
		`SELECT VALVE, asfound_status, asfound_record, asfound_moved_m FROM valves`:                                   "V1|corrected|WM-1|1.2 / " + hostil + "|unchanged||0",
	} {
		if got := strings.Join(ask(t, db, query), " / "); got != want {
			t.Errorf("%s\ngave %s\nwant %s", query, got, want)
		}
	}
}

// blob reads a geometry back: the header, then what orb makes of the binary.
func blob(t *testing.T, db *sql.DB, query string) (srs int32, z []float64, g orb.Geometry) {
	t.Helper()
	var b []byte
	if err := db.QueryRow(query).Scan(&b); err != nil {
		t.Fatal(err)
	}
	srs = int32(binary.LittleEndian.Uint32(b[4:]))
	body := b[8+[...]int{0, 32}[b[3]>>1&7]:]
	if code := binary.LittleEndian.Uint32(body[1:]); code == wkbLineString+wkbZ { // orb knows no heights
		n := int(binary.LittleEndian.Uint32(body[5:]))
		line := make(orb.LineString, n)
		for i := range line {
			at := func(k int) float64 {
				return math.Float64frombits(binary.LittleEndian.Uint64(body[9+24*i+8*k:]))
			}
			line[i] = orb.Point{at(0), at(1)}
			z = append(z, at(2))
		}
		return srs, z, line
	}
	g, err := wkb.Unmarshal(body)
	if err != nil {
		t.Fatal(err)
	}
	return srs, nil, g
}

// What a correction does not move comes out bit for bit, in the record's own
// system; what it moves comes from the plane.
func TestOwnSystem(t *testing.T) {
	r := handful(t)
	r.Survey.Layers[0].Features[2].Parts = r.Survey.Layers[0].Features[2].Parts[:1] // else a layer of multi-lines
	r.Survey.Layers[0].Features[2].Z = r.Survey.Layers[0].Features[2].Z[:1]
	r.Survey.Records[2].Parts = r.Survey.Records[2].Parts[:1]
	db := openGeoPackage(t, run(t, r))
	source := r.Survey.Layers[0].Features[0].Parts[0]
	srs, z, g := blob(t, db, "SELECT geom FROM mains WHERE fid = 1")
	line := g.(orb.LineString)
	if srs != 26917 || len(line) != 4 || line[0] != source[0] || line[3] != source[2] {
		t.Errorf("system %d, line %v; the ends should be those of %v", srs, line, source)
	}
	if want := r.Corrections[0].Parts[0].Line; line[1] != want[1] || line[2] != want[2] {
		t.Errorf("moved vertices are %v, want %v", line[1:3], want[1:3])
	}
	if z[0] != 10 || z[2] != 11 || z[3] != 12 || math.Abs(z[1]-10.5) > .01 {
		t.Errorf("heights are %v", z)
	}
	if _, _, g := blob(t, db, "SELECT geom FROM mains WHERE fid = 2"); !orb.Equal(g, r.Survey.Layers[0].Features[1].Parts[0]) {
		t.Errorf("an untouched line came out as %v", g)
	}
	srs, _, g = blob(t, db, "SELECT geom FROM readings_2")
	line = g.(orb.LineString)
	if srs != 4269 || line[0] != r.Survey.Layers[1].Features[0].Parts[0][0] {
		t.Errorf("system %d, line %v: its first vertex should not have moved", srs, line)
	}
	want, err := operation(t, utm17, nad83).Apply(orb.Point{500070, 4400020.31})
	if err != nil || line[1] != want {
		t.Errorf("the moved vertex is %v, want %v: %v", line[1], want, err)
	}
}

func TestHeightsBetween(t *testing.T) {
	line := orb.LineString{{0, 0}, {1, 0}, {4, 0}, {5, 0}, {9, 0}}
	for _, c := range []struct {
		z    []float64
		from []int
		want []float64
	}{
		{[]float64{10, 20}, []int{0, -1, -1, 1, -1}, []float64{10, 12, 18, 20, 20}},
		{[]float64{10, 20}, []int{-1, -1, 0, -1, 1}, []float64{10, 10, 10, 12, 20}},
	} {
		for i, got := range heights(c.z, c.from, line) {
			if got != c.want[i] {
				t.Errorf("from %v: height %d is %v, want %v", c.from, i, got, c.want[i])
			}
		}
	}
	if got := heights(nil, []int{-1, -1, -1, -1, -1}, line)[2]; !math.IsNaN(got) {
		t.Errorf("a height out of nothing: %v", got)
	}
}

// tool finds a program of GDAL; without it the test is skipped, or fails where
// ASFOUND_ORACLES=1 asks for it.
func tool(t *testing.T, name string) string {
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

// GDAL reads every spatial file without a complaint and counts the same.
func TestOGRReadsWhatWeWrite(t *testing.T) {
	ogrinfo := tool(t, "ogrinfo")
	counts := regexp.MustCompile(`(?m)^(?:Layer name: (.*)|Feature Count: (\d+))$`)
	want := map[string]map[string]string{
		"a handful": {
			"records-updated.gpkg": "mains 4 readings_2 1 valves 2 findings 8 readings 8 unmapped 1 layer_styles 4", "findings.geojson": "findings 8",
			"records-updated.geojson": "records-updated 5", "resurvey.geojson": "resurvey 2",
		},
		"nothing": {"records-updated.gpkg": "findings 0 readings 0 unmapped 0 layer_styles 1", "findings.geojson": "findings 0", "records-updated.geojson": "records-updated 0"},
	}
	r := handful(t)
	r.Survey.Layers[0].Features[1].Values[2].Text = "50.00" // a number that GDAL cannot hold
	for name, folder := range map[string]string{"a handful": run(t, r), "nothing": run(t, nothing())} {
		for file, layers := range want[name] {
			cmd := exec.Command(ogrinfo, "-so", "-al", "-ro", filepath.Join(folder, file))
			out, err := cmd.CombinedOutput()
			if err != nil || strings.Contains(string(out), "Warning") || strings.Contains(string(out), "ERROR") {
				t.Fatalf("%s: %v\n%s", file, err, out)
			}
			var got []string
			for _, m := range counts.FindAllStringSubmatch(string(out), -1) {
				got = append(got, m[1]+m[2])
			}
			if strings.Join(got, " ") != layers {
				t.Errorf("%s of %s: GDAL counts %q, want %q", file, name, strings.Join(got, " "), layers)
			}
		}
	}
}
