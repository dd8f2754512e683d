package synth_test

import (
	"context"
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// readTown reads a written town as a run does.
func readTown(t *testing.T, path string) *survey.Survey {
	t.Helper()
	c, err := config.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	s, err := read.Files(context.Background(), c.Job("test", time.Unix(0, 0)).Read)
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.Sources {
		if src := &s.Sources[i]; src.SetAside != "" || src.Rejected > 0 || src.Duplicates > 0 {
			t.Errorf("%s: %d rejected, %d duplicates, set aside: %q", src.Name, src.Rejected, src.Duplicates, src.SetAside)
		}
	}
	for _, r := range s.Rejects[:min(len(s.Rejects), 5)] {
		t.Errorf("rejected: %+v", r)
	}
	return s
}

// between turns points of one survey's plane into another's.
func between(t *testing.T, from, to string) func(orb.Point) orb.Point {
	t.Helper()
	a, err := crs.Parse(from)
	if err != nil {
		t.Fatal(err)
	}
	b, err := crs.Parse(to)
	if err != nil {
		t.Fatal(err)
	}
	op, err := crs.NewOperation(a, b)
	if err != nil {
		t.Fatal(err)
	}
	return func(p orb.Point) orb.Point {
		q, err := op.Apply(p)
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
}

// What is read from a written town is the town in memory, to the digits that
// the files carry.
func TestFilesSayWhatTheSurveySays(t *testing.T) {
	p, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for seed := uint64(1); seed <= 12 && len(seen) < len(synth.Frames); seed++ {
		town := synth.Make(seed, p)
		if seen[town.Frame.CRS] {
			continue
		}
		seen[town.Frame.CRS] = true
		t.Run(town.Frame.Name, func(t *testing.T) { compare(t, town) })
	}
	if len(seen) < len(synth.Frames) {
		t.Errorf("12 towns in %d of %d frames", len(seen), len(synth.Frames))
	}
}

func compare(t *testing.T, town *synth.Town) {
	path, err := town.Write(t.TempDir(), synth.WriteOptions{Marks: true, Exposures: true, Fittings: true})
	if err != nil {
		t.Fatal(err)
	}
	got, want := readTown(t, path), town.Survey()
	back := between(t, got.Plane, want.Plane)
	far := func(p, q orb.Point) float64 { return math.Hypot(p[0]-q[0], p[1]-q[1]) }
	close := func(what string, a, b, by float64) {
		t.Helper()
		if math.IsNaN(a) != math.IsNaN(b) || math.Abs(a-b) > by {
			t.Errorf("%s: %v in the file, %v in memory", what, a, b)
		}
	}

	if len(got.Records) != len(want.Records) {
		t.Fatalf("%d records, want %d", len(got.Records), len(want.Records))
	}
	byKey := map[string]*survey.Record{}
	for i := range want.Records {
		byKey[want.Records[i].Key()] = &want.Records[i]
	}
	for i := range got.Records {
		g := &got.Records[i]
		w := byKey[g.Key()]
		if w == nil {
			t.Fatalf("record %s is not in memory", g.Key())
		}
		if g.Utility != w.Utility || g.Sheet != w.Sheet || g.Conductor != w.Conductor || g.Installed != w.Installed || g.Material != w.Material {
			t.Errorf("%s: %+v, want %+v", g.Key(), g, w)
		}
		close(g.Key()+" cover", g.CoverM, w.CoverM, 0.002)
		close(g.Key()+" diameter", g.DiameterM, w.DiameterM, 1e-9)
		for k := range g.Parts[0] {
			if d := far(back(g.Parts[0][k]), w.Parts[0][k]); d > 3e-4 {
				t.Fatalf("%s: vertex %d is %g m off", g.Key(), k, d)
			}
		}
	}

	traces := map[string]*survey.Trace{}
	for i := range want.Traces {
		traces[want.Traces[i].ID] = &want.Traces[i]
	}
	if len(got.Traces) != len(want.Traces) {
		t.Fatalf("%d traces, want %d", len(got.Traces), len(want.Traces))
	}
	for i := range got.Traces {
		g := &got.Traces[i]
		w := traces[g.ID]
		if w == nil {
			t.Fatalf("trace %s is not in memory", g.ID)
		}
		if g.Session != w.Session || g.Utility != w.Utility || g.Positions != w.Positions || g.Ticket != w.Ticket || len(g.Readings) != len(w.Readings) {
			t.Fatalf("%s: %s %s %s %s %d, want %s %s %s %s %d", g.ID, g.Session, g.Utility, g.Positions, g.Ticket, len(g.Readings), w.Session, w.Utility, w.Positions, w.Ticket, len(w.Readings))
		}
		for k := range g.Readings {
			a, b := &g.Readings[k], &w.Readings[k]
			if a.Place != b.Place || !a.Time.Equal(b.Time) || a.Fix != b.Fix || a.Mode != b.Mode || a.Hookup != b.Hookup || a.DepthTo != b.DepthTo || a.Doubt != b.Doubt {
				t.Fatalf("%s: %+v, want %+v", g.ID, a, b)
			}
			if d := far(back(a.Point), b.Point); d > 3e-4 {
				t.Fatalf("%s: reading %d is %g m off", g.ID, k, d)
			}
			close(g.ID+" depth", a.DepthM, b.DepthM, 0.0013)
			close(g.ID+" current", a.CurrentA, b.CurrentA, 6e-6)
			close(g.ID+" separation", a.SeparationM, b.SeparationM, 0.0013)
			close(g.ID+" accuracy", a.SigmaM, b.SigmaM, 2e-4)
		}
	}

	compareEvidence(t, got, want, close, func(p, q orb.Point) float64 { return far(back(p), q) })
	if len(got.Checks) != len(want.Checks) || len(got.Areas) != len(want.Areas) {
		t.Fatalf("%d checks and %d areas, want %d and %d", len(got.Checks), len(got.Areas), len(want.Checks), len(want.Areas))
	}
	for i := range got.Checks {
		a, b := &got.Checks[i], &want.Checks[i]
		if a.Session != b.Session || far(back(a.Known), b.Known) > 3e-4 || far(back(a.Observed), b.Observed) > 3e-4 || a.Positions != b.Positions {
			t.Errorf("check %+v, want %+v", a, b)
		}
	}
}

// compareEvidence compares marks, exposures and fittings.
func compareEvidence(t *testing.T, got, want *survey.Survey, close func(what string, a, b, by float64), off func(p, q orb.Point) float64) {
	t.Helper()
	if len(got.Marks) != len(want.Marks) || len(got.Exposures) != len(want.Exposures) || len(got.Fittings) != len(want.Fittings) {
		t.Fatalf("%d marks, %d exposures, %d fittings; want %d, %d, %d", len(got.Marks), len(got.Exposures), len(got.Fittings), len(want.Marks), len(want.Exposures), len(want.Fittings))
	}
	for _, a := range got.Marks {
		b := want.Marks[a.Row-1]
		if a.Place != b.Place || !a.Time.Equal(b.Time) || a.Utility != b.Utility || a.Session != b.Session || a.Positions != b.Positions || a.Ticket != b.Ticket || off(a.Point, b.Point) > 3e-4 {
			t.Fatalf("mark %+v, want %+v", a, b)
		}
		close("a mark's accuracy", a.SigmaM, b.SigmaM, 2e-4)
	}
	for _, a := range got.Exposures {
		b := want.Exposures[a.Row-1]
		if a.Place != b.Place || a.ID != b.ID || !a.Time.Equal(b.Time) || a.Utility != b.Utility || a.Fitting != b.Fitting || a.Session != b.Session || a.Positions != b.Positions || a.DepthTo != b.DepthTo || off(a.Point, b.Point) > 3e-4 {
			t.Fatalf("exposure %+v, want %+v", a, b)
		}
		close(a.ID+" depth", a.DepthM, b.DepthM, 0.0013)
		close(a.ID+" diameter", a.DiameterM, b.DiameterM, 2e-4)
		close(a.ID+" accuracy", a.SigmaM, b.SigmaM, 2e-4)
	}
	for i, a := range got.Fittings {
		b := want.Fittings[i]
		if a.Key() != b.Key() || a.Utility != b.Utility || a.Sheet != b.Sheet || off(a.Point, b.Point) > 3e-4 {
			t.Fatalf("fitting %+v, want %+v", a, b)
		}
	}
}

func TestDemo(t *testing.T) {
	path, err := synth.Demo(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if filepath.Base(path) != "asfound.yaml" {
		t.Errorf("config is %s", path)
	}
	s := readTown(t, path)
	readings := 0
	for i := range s.Traces {
		readings += len(s.Traces[i].Readings)
	}
	if n := len(s.Records); n < 250 || n > 400 || readings < 4000 || readings > 8000 {
		t.Errorf("%d records and %d readings: want 250 to 400 and 4000 to 8000", n, readings)
	}
}
