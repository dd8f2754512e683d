package scorer

import (
	"maps"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/synth"
)

// folder is a run with two records, one reading used.
func folder() map[string]string {
	return map[string]string{
		"readings.csv": "source,row,record,match_probability,status\nfield/a.csv,1,W1,0.998,used\nfield/a.csv,2,,,untrusted\n",
		"records.csv":  "record,position,depth,cover_difference_m,cover_difference_u_m,attribution\nW1,outside,within,0.05,0.02,record\nW2,unsurveyed,,,,\n",
		"profiles.csv": "record,station_m,offset_m,offset_u_m,readings\nW1,0.000,0.5,0.1,0\nW1,20.000,0.6,0.02,1\n",
		"effects.csv":  "effect,name,readings,east_m,north_m,east_u_m,north_u_m,significant\nsheet,W-1,4,0.1,-0.2,0.05,0.06,true\n",
		"resurvey.csv": "package,record,from_m,to_m,probability_outside\n1,W2,0.000,30.000,0.25\n",
		"findings.geojson": `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"kind":"position","record":"W1","verdict":"outside","attribution":"record","from_m":1.5,"to_m":20},"geometry":{"type":"LineString","coordinates":[[-81.0,40.0],[-80.999,40.0]]}},
{"type":"Feature","properties":{"kind":"not_detected","record":"W2","from_m":null},"geometry":null}]}`,
		"changes.csv":              "record,fitting,part,vertex,u_m,evidence\nW1,,1,2,0.05,evidence\nW1,V1,,,0.05,its line\n",
		"fittings-updated.geojson": `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"asfound_id":"V1"},"geometry":{"type":"Point","coordinates":[-81.0,40.0]}}]}`,
		"records-updated.geojson": `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"asfound_id":"W1"},"geometry":{"type":"LineString","coordinates":[[-81.0,40.0],[-80.999,40.0]]}},
{"type":"Feature","properties":{"asfound_id":"W2"},"geometry":{"type":"MultiLineString","coordinates":[[[-81.0,40.0],[-81.0,40.001]],[[-81.0,40.002],[-81.0,40.003]]]}}]}`,
	}
}

func read(t *testing.T, files map[string]string) (*Outcome, error) {
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return Published(dir, synth.Frames[2])
}

func TestPublished(t *testing.T) {
	o, err := read(t, folder())
	if err != nil {
		t.Fatal(err)
	}
	if r := o.Readings[At{"field/a.csv", 1}]; r != (Reading{"W1", "used", 0.998}) || len(o.Readings) != 2 {
		t.Errorf("readings %v", o.Readings)
	}
	if r := o.Readings[At{"field/a.csv", 2}]; r.Status != "untrusted" || !math.IsNaN(r.Probability) {
		t.Errorf("second reading %v", r)
	}
	if r := o.Records["W1"]; r != (Record{"outside", "within", "record", 0.05, 0.02}) || !math.IsNaN(o.Records["W2"].CoverM) {
		t.Errorf("records %v", o.Records)
	}
	if p := o.Profiles["W1"]; len(p) != 2 || p[1] != (Node{20, 0.6, 0.02, 1}) {
		t.Errorf("profiles %v", o.Profiles)
	}
	if len(o.Effects) != 1 || o.Effects[0] != (Effect{"sheet", "W-1", 0.1, -0.2, 0.05, 0.06, true}) {
		t.Errorf("effects %v", o.Effects)
	}
	if len(o.Resurvey) != 1 || o.Resurvey[0] != (Resurvey{"W2", 1, 0, 30, 0.25}) {
		t.Errorf("re-survey %v", o.Resurvey)
	}
	if f := o.Findings; len(f) != 2 || f[0].FromM != 1.5 || f[0].ToM != 20 || f[0].Attribution != "record" || len(f[0].Line) != 1 || !math.IsNaN(f[1].FromM) || f[1].Line != nil {
		t.Errorf("findings %v", f)
	}
	if len(o.Changes) != 1 || o.Changes[0] != (Change{"W1", 0, 1, 0.05, "evidence"}) {
		t.Errorf("changes %v", o.Changes)
	}
	if v := o.Fittings["V1"]; math.Abs(v[0]-500000) > 1e-6 {
		t.Errorf("fittings %v", o.Fittings)
	}
	// 81 W is the zone's central meridian: false easting 500 km.
	if l := o.Lines["W1"]; len(l) != 1 || math.Abs(l[0][0][0]-500000) > 1e-6 || l[0][0][1] < 4427000 || l[0][0][1] > 4428000 {
		t.Errorf("line %v", l)
	}
	if l := o.Lines["W2"]; len(l) != 2 || len(l[1]) != 2 {
		t.Errorf("multipart line %v", l)
	}
}

func TestPublishedRefuses(t *testing.T) {
	for name, c := range map[string]struct{ file, old, new, want string }{
		"a reading twice":     {"readings.csv", "field/a.csv,2,", "field/a.csv,1,", "row 1 stands here twice"},
		"a record twice":      {"records.csv", "W2,uns", "W1,uns", "W1 stands here twice"},
		"an effect twice":     {"effects.csv", "true\n", "true\nsheet,W-1,4,0.1,-0.2,0.05,0.06,true\n", "W-1 stands here twice"},
		"a line twice":        {"records-updated.geojson", `"W2"`, `"W1"`, "W1 stands here twice"},
		"a fitting twice":     {"fittings-updated.geojson", `"features":[`, `"features":[{"type":"Feature","properties":{"asfound_id":"V1"},"geometry":{"type":"Point","coordinates":[-81.0,40.0]}},`, "V1 stands here twice"},
		"no vertex":           {"changes.csv", "1,2,0.05", "1,,0.05", "vertex"},
		"no number":           {"effects.csv", "-0.2", "south", "north_m"},
		"no whole row":        {"readings.csv", ",2,", ",,", "row"},
		"a profile backwards": {"profiles.csv", "20.000", "-1.000", "station"},
		"a missing column":    {"resurvey.csv", "probability_outside", "p", "no column probability_outside"},
		"broken JSON":         {"findings.geojson", "FeatureCollection", `"`, "findings.geojson"},
		"broken coordinates":  {"findings.geojson", "[-81.0,40.0]", `"x"`, "feature 1"},
	} {
		files := maps.Clone(folder())
		files[c.file] = strings.Replace(files[c.file], c.old, c.new, 1)
		if _, err := read(t, files); err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), c.file) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name := range folder() {
		files := folder()
		delete(files, name)
		if _, err := read(t, files); err == nil {
			t.Errorf("a run without %s is read", name)
		}
	}
}

// What goes out by the plane's operation comes back where it was.
func TestPublishedInverts(t *testing.T) {
	for _, f := range synth.Frames {
		plane, err := crs.Parse(f.Plane)
		if err != nil {
			t.Fatal(err)
		}
		wgs84, err := crs.Parse("EPSG:4326")
		if err != nil {
			t.Fatal(err)
		}
		out, err := crs.NewOperation(plane, wgs84)
		if err != nil {
			t.Fatal(err)
		}
		back, err := fromLonLat(f)
		if err != nil {
			t.Fatal(err)
		}
		p := orb.Point{f.Middle[0] + 123.456, f.Middle[1] - 65.4321}
		q, err := out.Apply(p)
		if err != nil {
			t.Fatal(err)
		}
		if q, err = back.Apply(q); err != nil || apart(p, q) > 1e-6 {
			t.Errorf("%s: %v comes back as %v (%v)", f.Name, p, q, err)
		}
	}
}
