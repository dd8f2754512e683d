package main

import (
	"bytes"
	"database/sql"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"
)

// writeJob makes a job's folder of files and texts, and goes there.
func writeJob(t *testing.T, files map[string]string) {
	t.Helper()
	t.Chdir(t.TempDir())
	for name, text := range files {
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// readingAt runs the job in the working folder and gives the position of its
// first reading in the working plane, from the file for a GIS.
func readingAt(t *testing.T) (at orb.Point, out string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	if code := run([]string{"run"}, &stdout, &stderr); code != exitPublished {
		t.Fatalf("left with %d: %s", code, stderr.String())
	}
	db, err := sql.Open("sqlite", "file:"+filepath.ToSlash(filepath.Join("out", "latest", "records-updated.gpkg"))+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var blob []byte
	if err := db.QueryRow("SELECT geom FROM readings WHERE row = 1").Scan(&blob); err != nil {
		t.Fatal(err)
	}
	g, err := wkb.Unmarshal(blob[8+[]int{0, 32, 48, 48, 64}[blob[3]>>1&7]:])
	if err != nil {
		t.Fatal(err)
	}
	return g.(orb.Point), stdout.String()
}

const (
	frameConfig = `
records: [{path: map.geojson, crs: "EPSG:6549", utility: water, columns: {id: ID}}]
field: [{path: field.csv, %s, columns: {trace: LINE, time: UTC, latitude: LAT, longitude: LON}}]
`
	frameMap   = `{"type":"Feature","properties":{"ID":"W1"},"geometry":{"type":"LineString","coordinates":[[2245300,414400],[2245400,414570]]}}`
	frameField = "LINE,UTC,LAT,LON\n1,2026-06-30T12:00:00Z,40.8,-81.5\n1,2026-06-30T12:00:05Z,40.80001,-81.49999\n"
)

// TestFrames takes positions in a satellite frame, at an epoch, to State Plane
// feet through a whole run.
func TestFrames(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", "proj-9.1.1.csv"))
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	names := map[string]string{"EPSG:9754": "WGS 84 (G2139)", "EPSG:7912": "ITRF2014"}
	tested := 0
	for _, row := range rows {
		frame := names[row[0]]
		if frame == "" || row[1] != "EPSG:6549" || row[2] != "40.8" || row[3] != "-81.5" {
			continue
		}
		tested++
		t.Run(frame+" at "+row[5], func(t *testing.T) {
			writeJob(t, map[string]string{
				"map.geojson": frameMap, "field.csv": frameField,
				"asfound.yaml": fmt.Sprintf(frameConfig, `crs: "EPSG:4326", frame: {name: "`+frame+`", epoch: `+row[5]+`}`),
			})
			at, out := readingAt(t)
			for axis := range at {
				want, err := strconv.ParseFloat(row[6+axis], 64)
				if err != nil {
					t.Fatal(err)
				}
				if d := at[axis] - want*1200/3937; math.Abs(d) > 1e-4 {
					t.Errorf("axis %d is %.5f m off what PROJ 9.1.1 has", axis, d)
				}
			}
			if strings.Contains(out, "note:") {
				t.Errorf("the frame is stated, and yet:\n%s", out)
			}
			for _, name := range []string{"manifest.json", "summary.json", "caution.txt", "report.html"} {
				text, err := os.ReadFile(filepath.Join("out", "latest", name))
				if err != nil || !strings.Contains(string(text), "ITRF2014 to NAD83(2011): 14-parameter transformation EPSG:8970 at epoch "+row[5]) {
					t.Errorf("%s does not say the operation: %v", name, err)
				}
			}
		})
	}
	if tested < 3 {
		t.Errorf("%d published positions were tested, want 3", tested)
	}
}

// A frame that nobody stated is a warning with its size at the place, in what
// run and check print and in the report; an epoch that is missing stops the run.
func TestFramesNotStated(t *testing.T) {
	writeJob(t, map[string]string{"map.geojson": frameMap, "field.csv": frameField, "asfound.yaml": fmt.Sprintf(frameConfig, `crs: "EPSG:4326"`)})
	at, out := readingAt(t)
	// WGS 84 taken for NAD83(2011) as it is: cs2cs EPSG:6318 EPSG:6549 of PROJ 9.1.1.
	if d := math.Hypot(at[0]-2245346.3069*1200/3937, at[1]-414486.4065*1200/3937); d > 1e-4 {
		t.Errorf("the null operation moves by %.4f m", d)
	}
	const want = "note: field.csv: WGS 84 to NAD83(2011): null operation, accurate to about 2 m. If that WGS 84 is ITRF2014 in truth, the positions are 1.28 m off here (epoch 2026.5): then write frame: {name: ITRF2014, epoch: 2026.5} at the file, else the frame that it is in"
	if !strings.Contains(out, want) {
		t.Errorf("run prints\n%s\nwant %s", out, want)
	}
	var stdout, stderr bytes.Buffer
	if code := run([]string{"check"}, &stdout, &stderr); code != exitPublished || !strings.Contains(stdout.String(), want) {
		t.Errorf("check leaves with %d and prints\n%s", code, stdout.String())
	}

	config := fmt.Sprintf(frameConfig, `crs: "EPSG:4326", frame: {name: ITRF2014}`)
	if err := os.WriteFile("asfound.yaml", []byte(config), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, command := range []string{"run", "check"} {
		stderr.Reset()
		code := run([]string{command}, &stdout, &stderr)
		for _, want := range []string{"field.csv (named in asfound.yaml:3)", "EPSG:8970", "epoch of the positions", "frame: {name: ITRF2014, epoch: 2026.4}"} {
			if code != exitFailed || !strings.Contains(stderr.String(), want) {
				t.Errorf("%s without an epoch leaves with %d: %s\nwant %s", command, code, stderr.String(), want)
			}
		}
	}
}

// TestGridOfTheUser takes NAD27 readings to NAD83 records by a grid that the
// config names.
func TestGridOfTheUser(t *testing.T) {
	const job = `
grids: [{path: shift.gsb, from: "EPSG:4267", to: "EPSG:4269"}]
records: [{path: map.geojson, crs: "EPSG:4269", utility: water, columns: {id: ID}}]
field: [{path: field.csv, crs: "EPSG:4267", columns: {trace: LINE, time: UTC, latitude: LAT, longitude: LON}}]
plane: EPSG:26917
`
	writeJob(t, map[string]string{
		"map.geojson": `{"type":"Feature","properties":{"ID":"W1"},"geometry":{"type":"LineString","coordinates":[[-81.501,40.8],[-81.499,40.8]]}}`,
		// The grid adds 0.36" = 0.0001 degrees to latitudes, and takes 0.72" from
		// longitudes east.
		"field.csv": "LINE,UTC,LAT,LON\n1,2026-06-30T12:00:00Z,40.7999,-81.4998\n1,2026-06-30T12:00:05Z,40.7999,-81.4997\n",
		"shift.gsb": flatGrid("NAD27", "NAD83", 0.36, 0.72), "asfound.yaml": job,
	})
	at, out := readingAt(t)
	// 40.8 N, 81.5 W of NAD83 in UTM zone 17N: cs2cs EPSG:4269 EPSG:26917 of PROJ 9.1.1.
	if d := math.Hypot(at[0]-457822.3026, at[1]-4516675.8047); d > 1e-3 {
		t.Errorf("the reading lies %.4f m from where the grid puts it: %.4f", d, at)
	}
	if !strings.Contains(out, "1 trace") {
		t.Errorf("run prints\n%s", out)
	}
	manifest, err := os.ReadFile(filepath.Join("out", "latest", "manifest.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"name": "shift.gsb"`, `"role": "grid"`, "NAD27 to NAD83: grid shift.gsb"} {
		if !strings.Contains(string(manifest), want) {
			t.Errorf("the manifest lacks %s", want)
		}
	}

	if err := os.WriteFile("asfound.yaml", []byte(strings.Replace(job, "grids:", "# grids:", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	var stdout, stderr bytes.Buffer
	if code := run([]string{"check"}, &stdout, &stderr); code != exitSetAside || !strings.Contains(stdout.String(), "no transformation from NAD27") {
		t.Errorf("without the grid check leaves with %d: %s%s", code, stdout.String(), stderr.String())
	}
}

// flatGrid is an NTv2 grid from 39 to 42 N and 79 to 83 W with one shift,
// seconds north and west, laid out as the reader's own tests do.
func flatGrid(from, to string, north, west float32) string {
	var b bytes.Buffer
	record := func(key string, value any) {
		fmt.Fprintf(&b, "%-8s", key)
		switch v := value.(type) {
		case int:
			_ = binary.Write(&b, binary.LittleEndian, [2]int32{int32(v)})
		case float64:
			_ = binary.Write(&b, binary.LittleEndian, v)
		case string:
			fmt.Fprintf(&b, "%-8s", v)
		}
	}
	for _, r := range []struct {
		key   string
		value any
	}{
		{"NUM_OREC", 11},
		{"NUM_SREC", 11},
		{"NUM_FILE", 1},
		{"GS_TYPE", "SECONDS"},
		{"VERSION", "NTv2.0"},
		{"SYSTEM_F", from},
		{"SYSTEM_T", to},
		{"MAJOR_F", 6378206.4},
		{"MINOR_F", 6356583.8},
		{"MAJOR_T", 6378137.0},
		{"MINOR_T", 6356752.314},
		{"SUB_NAME", "FLAT"},
		{"PARENT", "NONE"},
		{"CREATED", "20260101"},
		{"UPDATED", "20260101"},
		{"S_LAT", 39 * 3600.},
		{"N_LAT", 42 * 3600.},
		{"E_LONG", 79 * 3600.},
		{"W_LONG", 83 * 3600.},
		{"LAT_INC", 3600.},
		{"LONG_INC", 3600.},
		{"GS_COUNT", 20},
	} {
		record(r.key, r.value)
	}
	for range 20 {
		_ = binary.Write(&b, binary.LittleEndian, [4]float32{north, west, 0.1, 0.1})
	}
	return b.String()
}
