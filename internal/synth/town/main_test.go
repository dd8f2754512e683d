package main

import (
	"context"
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/read"
)

// A town over a shapefile's lines is a job that asfound reads whole, with its
// truth beside it.
func TestOver(t *testing.T) {
	dir := t.TempDir()
	l := &shapefile.Layer{Name: "mains", Type: shapefile.PolyLine, Projection: synth.Frames[2].Projection, Encoding: "UTF-8", Fields: []shapefile.Field{{Name: "ID", Type: 'C', Length: 4}}}
	for i := range 12 {
		x := 457000 + 100*float64(i)
		l.Rows = append(l.Rows, shapefile.Row{Number: i + 1, Parts: []orb.LineString{{{x, 4427800}, {x + 50, 4427801}, {x + 100, 4427800}}}, Values: []string{"x"}})
	}
	over := filepath.Join(dir, "mains.shp")
	if err := shapefile.Write(over, l); err != nil {
		t.Fatal(err)
	}
	if err := write(dir, work{difficulty: "hard", seed: 5, over: over, utility: "steam", coverage: 0.9}); err != nil {
		t.Fatal(err)
	}
	truth, err := synth.ReadTruth(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	if n := len(truth.Lines); n != 12 {
		t.Fatalf("%d lines", n)
	}
	if p := truth.Lines[3].Points[1]; math.Hypot(p[0]-457350, p[1]-4427801) > 1e-6 {
		t.Errorf("the fourth line goes through %v", p)
	}
	c, err := config.Load(filepath.Join(dir, "job", "asfound.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := read.Files(context.Background(), c.Job("test", time.Unix(0, 0)).Read)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Records) != len(truth.Records) || len(s.Traces) != len(truth.Traces) || len(s.Rejects) != 0 || s.Records[0].Utility != "steam" {
		t.Errorf("%d records of %d, %d traces of %d, rejects %v", len(s.Records), len(truth.Records), len(s.Traces), len(truth.Traces), s.Rejects)
	}
	if err := write(dir, work{difficulty: "hard", over: filepath.Join(dir, "none.shp")}); err == nil {
		t.Error("a file that is not there")
	}
}
