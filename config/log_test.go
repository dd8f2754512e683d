package config

import (
	"path/filepath"
	"testing"

	"github.com/asfound/asfound/pipeline/read"
)

func TestLog(t *testing.T) {
	dir := writeFiles(t, map[string]string{
		"map.gpkg": "", "a.csv": fieldHeader, "b.csv": fieldHeader, "rx/day.nmea": "",
		"asfound.yaml": `
records: [{path: map.gpkg, layer: mains, utility: water}]
field:
  - {path: a.csv, crs: "EPSG:4269", log: rx/day.nmea, columns: {time: TIME}}
  - {path: b.csv, crs: "EPSG:4269", log: {path: rx/day.nmea, max_gap: 1.5 s}, columns: {time: {name: TIME, format: unix_milli}}}
`,
	})
	c, err := Load(filepath.Join(dir, "asfound.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	want := read.PositionLog{Path: filepath.Join(dir, "rx", "day.nmea"), Name: "rx/day.nmea"}
	fields := c.job.Read.Field
	if fields[0].Log != want {
		t.Errorf("log is %+v, want %+v", fields[0].Log, want)
	}
	want.MaxGapSeconds = 1.5
	if fields[1].Log != want || fields[1].Time.Format != "unix_milli" {
		t.Errorf("log is %+v, want %+v; the time is %+v", fields[1].Log, want, fields[1].Time)
	}
	if c.job.Read.Records[0].Layer != "mains" {
		t.Errorf("records are %+v", c.job.Read.Records[0].File)
	}
}
