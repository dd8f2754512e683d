package config

import (
	"archive/zip"
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/shapefile"
)

// job writes files beside a config and loads it. What is wrong comes without
// the folder.
func job(t *testing.T, text string, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	mains := `{"type": "Feature", "properties": {"ID": "W1"}, "geometry": {"type": "LineString", "coordinates": [[-81, 40], [-81, 41]]}}`
	for name, text := range map[string]string{"mains.geojson": mains, "good.csv": "LINE,LAT,LON\n"} {
		if _, given := files[name]; !given {
			writeText(t, filepath.Join(dir, name), text)
		}
	}
	for name, text := range files {
		writeText(t, filepath.Join(dir, name), text)
	}
	return loadIn(t, dir, text)
}

func loadIn(t *testing.T, dir, text string) string {
	t.Helper()
	writeText(t, filepath.Join(dir, "job.yaml"), text)
	_, err := Load(filepath.Join(dir, "job.yaml"))
	var ps Problems
	if err != nil && !errors.As(err, &ps) {
		t.Fatal(err)
	}
	return strings.ReplaceAll(ps.Error(), dir+string(filepath.Separator), "")
}

func writeText(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

const fieldOf = `records: [{path: mains.geojson, utility: water}]
field:
  - path: %s
    crs: EPSG:4269
    columns: {%s}
`

// TestColumnsOfPoints maps columns that are there, and one that is not, in every
// format of readings.
func TestColumnsOfPoints(t *testing.T) {
	point := func(properties string) string {
		return fmt.Sprintf(`{"type": "Feature", "properties": {%s}, "geometry": {"type": "Point", "coordinates": [-81, 40]}}`, properties)
	}
	var late strings.Builder // a member that only the last of many features has
	for range 300 {
		late.WriteString(point(`"RUN": "1"`) + "\n")
	}
	late.WriteString(point(`"WHEN": "2026-06-12T14:00:00Z"`))
	gpx := `<gpx><wpt lat="40" lon="-81"><time>2026-06-12T14:00:00Z</time><extensions><probe>1</probe></extensions></wpt></gpx>`
	utf16 := "\xff\xfe" + strings.Join(strings.Split("RUN,LAT,LON\n", ""), "\x00") + "\x00"
	for _, c := range []struct{ name, file, text, columns, want string }{
		{"CSV", "r.csv", "RUN,LAT,LON\n", "trace: RUN, latitude: LAT, longitude: LON", ""},
		{"CSV, without case", "r.csv", "run,lat,lon\n", "trace: RUN, latitude: LAT, longitude: LON", ""},
		{"CSV, wrong", "r.csv", "RUN,LAT,LON\n", "trace: RUM, latitude: LAT, longitude: LON", `r.csv has no column "RUM": did you mean RUN?`},
		{"CSV in UTF-16, wrong", "r.csv", utf16, "trace: RUM, latitude: LAT, longitude: LON", `r.csv has no column "RUM": did you mean RUN?`},
		{"CSV after sep=, wrong", "r.csv", "sep=;\nRUN;LAT;LON\n", "trace: RUM, latitude: LAT, longitude: LON", `r.csv has no column "RUM": did you mean RUN?`},
		{"CSV in Windows-1252", "r.csv", "STRA\xdfE,LAT,LON\n", "trace: STRAßE, latitude: LAT, longitude: LON", ""},
		{"CSV of another kind", "r.csv", "Dear office,\n", "trace: RUN, latitude: LAT, longitude: LON", ""},
		{"GeoJSON", "r.geojson", point(`"RUN": "1"`), "trace: RUN", ""},
		{"GeoJSON, wrong", "r.geojson", point(`"RUN": "1"`), "trace: RUM", `r.geojson has no column "RUM": did you mean RUN?`},
		{"GeoJSON, late", "r.geojson", late.String(), "trace: RUN, time: WHEN", ""},
		{"GeoJSON, late and wrong", "r.geojson", late.String(), "trace: RUN, time: WEN", `r.geojson has no column "WEN": did you mean WHEN?`},
		{"GeoJSON, broken", "r.geojson", `{"type": "FeatureCollection", "features": [`, "trace: RUM", ""},
		{"GPX", "r.gpx", gpx, "time: time, fix: fix, remark: probe", ""},
		{"GPX, wrong", "r.gpx", gpx, "time: tine, fix: fix", `r.gpx has no column "tine": did you mean time?`},
		{"GPX, broken", "r.gpx", gpx[:60], "time: tine", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			want := c.want
			if want != "" {
				want = "job.yaml:5: " + want
			}
			if got := job(t, fmt.Sprintf(fieldOf, c.file, c.columns), map[string]string{c.file: c.text}); got != want {
				t.Errorf("got %q, want %q", got, want)
			}
		})
	}
}

// TestColumnsOfLines does the same in every format of records.
func TestColumnsOfLines(t *testing.T) {
	dir := t.TempDir()
	layer := &shapefile.Layer{
		Type: shapefile.PolyLine, Fields: []shapefile.Field{{Name: "ASSET", Type: 'C', Length: 8}},
		Rows: []shapefile.Row{{Number: 1, Parts: []orb.LineString{{{0, 0}, {1, 1}}}, Values: []string{"W1"}}},
	}
	if err := shapefile.Write(filepath.Join(dir, "mains.shp"), layer); err != nil {
		t.Fatal(err)
	}
	var archive bytes.Buffer
	z := zip.NewWriter(&archive)
	if err := z.AddFS(os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	writeText(t, filepath.Join(dir, "set.zip"), archive.String())
	db, err := sql.Open("sqlite", filepath.Join(dir, "map.gpkg"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err = db.Exec(`
		create table gpkg_spatial_ref_sys (srs_id integer primary key, organization text, organization_coordsys_id integer, definition text);
		create table gpkg_contents (table_name text, data_type text);
		create table gpkg_geometry_columns (table_name text, column_name text, srs_id integer);
		insert into gpkg_spatial_ref_sys values (26917, 'EPSG', 26917, '');
		insert into gpkg_contents values ('mains', 'features'), ('valves', 'features');
		insert into gpkg_geometry_columns values ('mains', 'geom', 26917), ('valves', 'geom', 26917);
		CREATE TABLE mains (fid integer primary key, geom blob, ASSET text);
		CREATE TABLE valves (fid integer primary key, geom blob, TAG text);
		insert into mains values (1, null, 'W1');`); err != nil {
		t.Fatal(err)
	}
	writeText(t, filepath.Join(dir, "mains.geojson"), `{"type": "Feature", "properties": {"ASSET": "W1"}, "geometry": null}`)
	writeText(t, filepath.Join(dir, "r.csv"), "LINE,LAT,LON\n")
	for _, source := range []string{"mains.shp", "set.zip", "map.gpkg, layer: mains", "mains.geojson"} {
		path, _, _ := strings.Cut(source, ",")
		for column, want := range map[string]string{
			"ASSET": "", "asset": "",
			"ASET": fmt.Sprintf(`job.yaml:1: %s has no column "ASET": did you mean ASSET?`, path),
		} {
			text := fmt.Sprintf("records: [{path: %s, utility: water, columns: {id: %s}}]\n", source, column) +
				"field: [{path: r.csv, crs: \"EPSG:4269\", columns: {trace: LINE, latitude: LAT, longitude: LON}}]\n"
			if got := loadIn(t, dir, text); got != want {
				t.Errorf("%s with %s: %q, want %q", source, column, got, want)
			}
		}
	}
}
