package publish

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// readFeature is a feature as encoding/json reads it. Coordinates of any nesting come
// out as one list of positions.
type readFeature struct {
	Properties map[string]any
	Geometry   *struct {
		Type        string
		Coordinates any
	}
}

func (f *readFeature) positions() []orb.Point {
	var out []orb.Point
	var walk func(any)
	walk = func(v any) {
		list := v.([]any)
		if x, ok := list[0].(float64); ok {
			out = append(out, orb.Point{x, list[1].(float64)})
			return
		}
		for _, item := range list {
			walk(item)
		}
	}
	if f.Geometry != nil {
		walk(f.Geometry.Coordinates)
	}
	return out
}

func featuresOf(t *testing.T, folder, name string) []readFeature {
	t.Helper()
	var fc struct {
		Type     string
		Features []readFeature
	}
	if err := json.Unmarshal([]byte(contents(t, folder, name)), &fc); err != nil || fc.Type != "FeatureCollection" {
		t.Fatalf("%s is a %q: %v", name, fc.Type, err)
	}
	return fc.Features
}

// RFC 7946: no crs member (section 4), longitude before latitude, and here nine
// decimals in every position.
func TestGeoJSONIsRFC7946(t *testing.T) {
	folder := run(t, handful(t))
	for _, name := range []string{"findings.geojson", "records-updated.geojson", "resurvey.geojson"} {
		text := contents(t, folder, name)
		var members map[string]json.RawMessage
		if err := json.Unmarshal([]byte(text), &members); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if _, ok := members["crs"]; ok {
			t.Errorf("%s has a crs member", name)
		}
		var note struct {
			Caution    string
			Operations []struct {
				Source, CRS, Operation string
				AccuracyM              float64 `json:"accuracy_m"`
			} `json:"coordinate_operations"`
		}
		if err := json.Unmarshal(members["asfound"], &note); err != nil || note.Caution != caution() || !strings.Contains(note.Operations[0].Operation, "NAD83 to WGS 84") || note.Operations[0].AccuracyM != 2 || note.Operations[0].CRS == "" {
			t.Errorf("%s says of itself: %s: %v", name, members["asfound"], err)
		}
		if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
			t.Errorf("%s holds what is no number", name)
		}
	}
	for _, f := range featuresOf(t, folder, "findings.geojson") {
		for _, p := range f.positions() {
			if p[0] < -82 || p[0] > -80 || p[1] < 39 || p[1] > 40 {
				t.Errorf("finding %s lies at %v", f.Properties["finding"], p)
			}
		}
	}
}

// Reading a file back with the inverse of the operation that wrote it gives the
// positions that went in, to what nine decimals hold.
func TestGeoJSONInverts(t *testing.T) {
	r := handful(t)
	e := mustPrepare(t, r)
	back := e.toWGS84.Inverse()
	features := featuresOf(t, run(t, r), "resurvey.geojson")
	if len(features) != len(r.Resurvey) {
		t.Fatalf("%d features for %d stretches", len(features), len(r.Resurvey))
	}
	for i, f := range features {
		for j, p := range f.positions() {
			q, err := back.Apply(p)
			if err != nil {
				t.Fatal(err)
			}
			if want := r.Resurvey[i].Line[j]; math.Hypot(q[0]-want[0], q[1]-want[1]) > 1.5e-4 {
				t.Errorf("stretch %d, vertex %d came back at %v, not %v", i, j, q, want)
			}
		}
	}
}

func TestGeometryTypes(t *testing.T) {
	p, q := orb.LineString{{1, 2}}, orb.LineString{{1, 2}, {3, 4}}
	same := func(p orb.Point) (orb.Point, error) { return p, nil }
	for want, lines := range map[string]orb.MultiLineString{
		"null": {}, `{"type":"Point","coordinates":[1.000000000,2.000000000]}`: {p},
		`{"type":"MultiPoint","coordinates":[[1.000000000,2.000000000],[1.000000000,2.000000000]]}`:                                                              {p, p},
		`{"type":"LineString","coordinates":[[1.000000000,2.000000000],[3.000000000,4.000000000]]}`:                                                              {p, q, nil},
		`{"type":"MultiLineString","coordinates":[[[1.000000000,2.000000000],[3.000000000,4.000000000]],[[1.000000000,2.000000000],[3.000000000,4.000000000]]]}`: {q, q},
	} {
		got, err := appendGeometry(nil, lines, same)
		if err != nil || string(got) != want {
			t.Errorf("%v became %s, want %s: %v", lines, got, want, err)
		}
	}
}
