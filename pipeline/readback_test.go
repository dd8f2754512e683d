package pipeline_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/publish"
	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// mapFile writes three lines around a place, in the coordinates of a system, as
// GeoJSON that names no system of its own.
func mapFile(t *testing.T, dir, name, system string, lon, lat float64) read.RecordsSource {
	t.Helper()
	s, err := crs.Parse(system)
	if err != nil {
		t.Fatal(err)
	}
	op, err := crs.NewOperation(s.Geographic(), s)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString(`{"type":"FeatureCollection","features":[`)
	for i := range 3 {
		if i > 0 {
			b.WriteString(",")
		}
		fmt.Fprintf(&b, `{"type":"Feature","properties":{"ID":"%s-%d"},"geometry":{"type":"LineString","coordinates":[`, name, i)
		for v := range 4 {
			p, err := op.Apply([2]float64{lon + 0.001*float64(v), lat + 0.0007*float64(i) + 0.0001*float64(v*v)})
			if err != nil {
				t.Fatal(err)
			}
			if v > 0 {
				b.WriteString(",")
			}
			fmt.Fprintf(&b, "[%.12f,%.12f]", p[0], p[1])
		}
		b.WriteString("]}}")
	}
	b.WriteString("]}")
	path := filepath.Join(dir, name+".geojson")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return recordsIn(path, system, "")
}

func recordsIn(path, system, layer string) read.RecordsSource {
	return read.RecordsSource{
		File:    read.File{Path: path, Name: filepath.Base(path), CRS: system, Layer: layer},
		Utility: read.Column{Fixed: "water"}, ID: read.Column{Name: "ID"},
	}
}

func readRecords(t *testing.T, o read.Options) *survey.Survey {
	t.Helper()
	o.Plane = "auto"
	s, err := read.Files(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestWrittenFilesAreReadBack writes records of several systems and reads them
// as records again: GeoJSON undoes the operation that wrote it, to what nine
// decimals hold; a GeoPackage has every record in its own system bit for bit.
func TestWrittenFilesAreReadBack(t *testing.T) {
	for name, systems := range map[string][]string{
		"NAD83 in survey feet, null operation":    {"EPSG:3734"},
		"NAD83 in degrees, null operation":        {"EPSG:4269"},
		"OSGB36, Helmert":                         {"EPSG:27700"},
		"Amersfoort, Helmert":                     {"EPSG:28992"},
		"two systems of two datums, in one file":  {"EPSG:28992", "EPSG:25831"},
		"a realisation of NAD83 in another frame": {"EPSG:6549", "EPSG:3734"},
	} {
		t.Run(name, func(t *testing.T) {
			lon, lat := -81.5, 40.8
			switch systems[0] {
			case "EPSG:27700":
				lon, lat = -1.5, 52.5
			case "EPSG:28992":
				lon, lat = 5.1, 52.1
			}
			dir := t.TempDir()
			var o read.Options
			for i, system := range systems {
				o.Records = append(o.Records, mapFile(t, dir, fmt.Sprintf("map%d", i), system, lon, lat+0.01*float64(i)))
			}
			was := readRecords(t, o)
			folder, err := publish.Run(&survey.Result{Job: "read back", Survey: was}, publish.Options{
				Output: filepath.Join(dir, "out"), Started: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC),
			})
			if err != nil {
				t.Fatal(err)
			}

			back := readRecords(t, read.Options{Records: []read.RecordsSource{recordsIn(filepath.Join(folder, "records-updated.geojson"), "", "")}})
			first, err := crs.Parse(systems[0])
			if err != nil {
				t.Fatal(err)
			}
			got := back.Layers[0]
			if got.CRS != first.Definition() {
				t.Errorf("read back into %s, not %s", got.CRS, first.Definition())
			}
			if len(back.Records) != 3*len(systems) {
				t.Fatalf("%d records", len(back.Records))
			}
			k := 0
			for _, l := range was.Layers {
				system, err := crs.Parse(l.CRS)
				if err != nil {
					t.Fatal(err)
				}
				onwards, err := crs.NewOperation(system, first)
				if err != nil {
					t.Fatal(err)
				}
				tolerance := 1e-9 // degrees
				if first.Projected() {
					tolerance = 2e-4 / first.UnitM() // metres
				}
				for _, f := range l.Features {
					for v, p := range f.Parts[0] {
						want, err := onwards.Apply(p)
						if err != nil {
							t.Fatal(err)
						}
						if q := got.Features[k].Parts[0][v]; math.Abs(q[0]-want[0]) > tolerance || math.Abs(q[1]-want[1]) > tolerance {
							t.Errorf("%s, row %d, vertex %d came back at %.10f, not %.10f", l.Source, f.Row, v, q, want)
						}
					}
					k++
				}
			}

			for i, l := range was.Layers {
				layer := readRecords(t, read.Options{Records: []read.RecordsSource{recordsIn(filepath.Join(folder, "records-updated.gpkg"), "", l.Name)}}).Layers[0]
				if layer.CRS != systems[i] {
					t.Errorf("layer %s has the system %s, not %s", l.Name, layer.CRS, systems[i])
				}
				for j, f := range l.Features {
					for v, p := range f.Parts[0] {
						if q := layer.Features[j].Parts[0][v]; q != p {
							t.Errorf("%s: %v became %v", l.Name, p, q)
						}
					}
				}
			}
		})
	}
}

// A file whose operation is no longer what it was must not be undone by another
// one in silence; with a crs it is taken as it stands.
func TestWrittenByAnotherOperation(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "old.geojson")
	text := `{"type":"FeatureCollection","asfound":{"coordinate_operations":[{"source":"m","crs":"EPSG:4277","operation":"OSGB36 to WGS 84: grid fine.gsb, accurate to about 0.1 m"}]},
"features":[{"type":"Feature","properties":{"ID":"1"},"geometry":{"type":"LineString","coordinates":[[-1.5,52.5],[-1.501,52.5]]}}]}`
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := read.Files(context.Background(), read.Options{Plane: "auto", Records: []read.RecordsSource{recordsIn(path, "", "")}})
	if err == nil || !strings.Contains(err.Error(), "grid fine.gsb") || !strings.Contains(err.Error(), "crs: EPSG:4326") {
		t.Errorf("an operation that is not there: %v", err)
	}
	s := readRecords(t, read.Options{Records: []read.RecordsSource{recordsIn(path, "EPSG:4326", "")}})
	if p := s.Layers[0].Features[0].Parts[0][0]; s.Layers[0].CRS != "EPSG:4326" || p[0] != -1.5 || p[1] != 52.5 {
		t.Errorf("taken as it stands: %s %v", s.Layers[0].CRS, p)
	}
}
