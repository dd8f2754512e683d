package read_test

import (
	"context"
	"fmt"
	"log"
	"os"
	"path/filepath"

	"github.com/asfound/asfound/pipeline/read"
)

// A map of one line and three rows of readings, one of which cannot be used.
func ExampleFiles() {
	dir, err := os.MkdirTemp("", "read")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(dir)
	write := func(name, text string) read.File {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			log.Fatal(err)
		}
		return read.File{Path: path, Name: name, CRS: "EPSG:4269"}
	}
	mains := read.RecordsSource{
		File: write("mains.geojson", `{"type": "Feature", "properties": {"id": "W-1"},
			"geometry": {"type": "LineString", "coordinates": [[-81.001, 40], [-81, 40]]}}`),
		ID: read.Column{Name: "id"}, Utility: read.Column{Fixed: "water"},
	}
	readings := read.FieldSource{
		File: write("monday.csv", "line,utc,lat,lon,depth\n"+
			"7,2026-06-12T14:00:00Z,40.000002,-81.0008,36\n"+
			"7,2026-06-12T14:00:10Z,40.000002,-81.0006,37\n"+
			"7,2026-06-12T14:00:20Z,40.000003,-81.0004,deep\n"),
		Trace: read.Column{Name: "line"}, Time: read.Column{Name: "utc"},
		Depth: read.Column{Name: "depth", Factor: 0.0254}, // inches
	}
	readings.Latitude, readings.Longitude = read.Column{Name: "lat"}, read.Column{Name: "lon"}

	s, err := read.Files(context.Background(), read.Options{
		Plane: "auto", Records: []read.RecordsSource{mains}, Field: []read.FieldSource{readings}, MaxRejectShare: 0.05,
	})
	if err != nil {
		log.Fatal(err)
	}
	for _, src := range s.Sources {
		fmt.Printf("%s: %d rows, %d used, %d rejected\n", src.Name, src.Rows, src.Used, src.Rejected)
	}
	for _, r := range s.Rejects {
		fmt.Printf("%s row %d, line %d: %s %q %s\n", r.File, r.Row, r.Line, r.Field, r.Value, r.Reason)
	}
	for _, t := range s.Traces {
		fmt.Printf("%s: %d readings, the first %.3f m deep\n", t.ID, len(t.Readings), t.Readings[0].DepthM)
	}
	// Output:
	// mains.geojson: 1 rows, 1 used, 0 rejected
	// monday.csv: 3 rows, 2 used, 1 rejected
	// monday.csv row 3, line 4: depth "deep" is not a number
	// monday.csv:7: 2 readings, the first 0.914 m deep
}
