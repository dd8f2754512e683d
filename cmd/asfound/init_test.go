package main

import (
	"os"
	"path/filepath"
	"testing"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/config/starter"
)

// FuzzInit looks at files of any bytes: a config of valid YAML comes of it, or
// an error.
func FuzzInit(f *testing.F) {
	endings := []string{".csv", ".geojson", ".gpx", ".gpkg", ".zip", ".shp"}
	field, err := os.ReadFile("testdata/town/field.csv")
	if err != nil {
		f.Fatal(err)
	}
	records, err := os.ReadFile("testdata/town/map.geojson")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(uint8(0), field[:400])
	f.Add(uint8(0), []byte("sep=;\nTODO;\"a\nb\";#;{x\n1,5;\x00;2;\xff\n"))
	f.Add(uint8(1), records)
	f.Add(uint8(1), []byte(`{"type": "Feature", "properties": {"\u0000\n": "\u2028", "TODO": 9999, "a: b": null}, "geometry": {"type": "LineString", "coordinates": [[0, 0], [1, 1]]}}`))
	f.Add(uint8(2), []byte(`<gpx><wpt lat="40" lon="-81"><ele>1</ele><extensions><DEPTH_IN>36</DEPTH_IN></extensions></wpt></gpx>`))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, ending uint8, data []byte) {
		path := filepath.Join(dir, "file"+endings[int(ending)%len(endings)])
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		files, err := lookAt([]string{path}, dir)
		if err != nil {
			t.Fatal(err)
		}
		text, err := starter.Config(files, starter.Options{Matches: matcher(dir)})
		if err != nil {
			return
		}
		var tree map[string]any
		if err := yaml.Unmarshal([]byte(text), &tree); err != nil {
			t.Fatalf("%v in\n%s", err, text)
		}
	})
}
