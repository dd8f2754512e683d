package synth

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/synth/physics"
	"github.com/asfound/asfound/pipeline/survey"
)

func paramsOf(t interface{ Fatal(...any) }, name string) Params {
	p, err := Preset(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// small is a preset on few streets, for properties.
func small(p Params) Params {
	p.Network.Avenues, p.Network.CrossStreets = 2, 3
	return p
}

func TestTruthAndSurveyAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := small(paramsOf(t, rapid.SampledFrom(Presets()).Draw(t, "difficulty")))
		town := Make(rapid.Uint64().Draw(t, "seed"), p)
		checkRecords(t, town)
		checkReadings(t, town)
		checkMarks(t, town)
	})
}

func checkRecords(t *rapid.T, town *Town) {
	s, truth := town.Survey(), &town.Truth
	if len(s.Records) != len(truth.Records) {
		t.Fatalf("%d records, truth of %d", len(s.Records), len(truth.Records))
	}
	keys, shown := map[string]bool{}, map[int]int{}
	for i := range s.Records {
		r, tr := &s.Records[i], &truth.Records[i]
		if r.ID != tr.ID || r.Source != tr.Source || keys[r.Key()] {
			t.Fatalf("record %s, truth of %s, or twice", r.Key(), tr.ID)
		}
		keys[r.Key()] = true
		if r.Sheet != "" && r.Sheet != tr.Sheet {
			t.Fatalf("%s is on %s, truth %s", r.ID, r.Sheet, tr.Sheet)
		}
		if len(r.Parts) != 1 || len(r.Parts[0]) < 2 {
			t.Fatalf("%s has no line: %v", r.ID, r.Parts)
		}
		f := s.Layers[r.Layer].Features[r.Feature]
		if f.Values[0].Text != r.ID || f.Row != r.Feature+1 {
			t.Fatalf("%s has the attributes of %s", r.ID, f.Values[0].Text)
		}
		if tr.Abandoned {
			if tr.Line >= 0 || tr.Points != nil {
				t.Fatalf("%s is abandoned and has a line", r.ID)
			}
			continue
		}
		line := &truth.Lines[tr.Line]
		if line.Missing || line.Utility != r.Utility || line.Conductor != r.Conductor || len(tr.Points) != len(line.Points) || len(tr.CoverM) != len(tr.Points) {
			t.Fatalf("%s shows %+v", r.ID, line)
		}
		if tr.DuplicateOf == "" {
			shown[tr.Line]++
		}
		first := tr.Points[0]
		if want := line.Points[0]; !tr.Reversed && first != want {
			t.Fatalf("%s begins at %v, its line at %v", r.ID, first, want)
		}
	}
	for l := range truth.Lines {
		if want := 1; truth.Lines[l].Missing && shown[l] > 0 || !truth.Lines[l].Missing && shown[l] != want {
			t.Fatalf("line %d, missing %v, is on the map %d times", l, truth.Lines[l].Missing, shown[l])
		}
	}
}

func checkReadings(t *rapid.T, town *Town) {
	s, truth := town.Survey(), &town.Truth
	if len(s.Traces) != len(truth.Traces) {
		t.Fatalf("%d traces, truth of %d", len(s.Traces), len(truth.Traces))
	}
	sessions, sources := map[string]Session{}, map[string]Source{}
	for _, x := range truth.Sessions {
		sessions[x.Name] = x
	}
	for _, x := range truth.Sources {
		sources[x.Name] = x
	}
	rows := map[string]int{}
	for i := range s.Traces {
		tr, tt := &s.Traces[i], &truth.Traces[i]
		session, known := sessions[tr.Session]
		source, knownToo := sources[tr.Positions]
		if !known || !knownToo || session.Source != tr.Positions {
			t.Fatalf("%s: session %q or source %q is not in the truth", tr.ID, tr.Session, tr.Positions)
		}
		if tr.ID != tt.File+":"+tt.Trace || len(tr.Readings) != len(tt.Readings) || len(tr.Readings) == 0 || tt.Label != tr.Utility {
			t.Fatalf("%s with %d readings, truth of %s with %d", tr.ID, len(tr.Readings), tt.Trace, len(tt.Readings))
		}
		for k := range tr.Readings {
			r, x := &tr.Readings[k], &tt.Readings[k]
			rows[r.File]++
			if r.Row != rows[r.File] || x.Row != r.Row || r.Line != r.Row+1 || r.File != tt.File {
				t.Fatalf("%s reading %d stands at %+v, truth row %d", tr.ID, k, r.Place, x.Row)
			}
			if k > 0 && !r.Time.After(tr.Readings[k-1].Time) {
				t.Fatalf("%s: time does not go on at %d", tr.ID, k)
			}
			checkReading(t, town, r, x, &session, &source)
		}
	}
}

func checkReading(t *rapid.T, town *Town, r *survey.Reading, x *Reading, session *Session, source *Source) {
	truth := &town.Truth
	line := &truth.Lines[x.Line]
	at, off := foot(line.Points, stations(line.Points), x.Point)
	if math.Abs(off) > 0.05 { // a neighbour's place is reckoned in the plane across the walk
		t.Fatalf("row %d: its point is %.3f m off its line", x.Row, off)
	}
	if got := valueAt(line.CoverM, stations(line.Points), at); math.Abs(got-x.CoverM) > 0.05 {
		t.Fatalf("row %d: cover %.3f, the line's %.3f", x.Row, x.CoverM, got)
	}
	if x.Distorted != (math.Abs(x.ShiftM) > 0.1) || x.Jumped != (x.Line != x.Target) {
		t.Fatalf("row %d: %+v", x.Row, x)
	}
	f := town.Frame
	pole := f.ground(orb.Point{x.Pole[0] - x.Point[0], x.Pole[1] - x.Point[1]}).length()
	locating := physics.BracketSigma(x.CoverM+0.3, 2*town.Params.Signal.BracketNoise) + 2*town.Params.Signal.HandM + town.Params.Crews.TraceBiasM
	if x.Distorted {
		locating *= 2 // the neighbour's field flattens the peak, and the bracket is read worse
	}
	if pole > math.Abs(x.ShiftM)+6*locating {
		t.Fatalf("row %d: the pole is %.2f m off the line with a shift of %.2f", x.Row, pole, x.ShiftM)
	}
	e := f.ground(orb.Point{r.Point[0] - x.Pole[0], r.Point[1] - x.Pole[1]})
	rest := vector{e[0] - session.East - source.East, e[1] - session.North - source.North}.length()
	if limit := 6*(town.Params.Crews.NoiseM+town.Params.Crews.WanderM) + 0.01; !x.Float && rest > limit {
		t.Fatalf("row %d: positioned %.3f m off without float, at most %.3f", x.Row, rest, limit)
	}
	if x.Float && rest > town.Params.Crews.FloatM[1]*1.2+0.3 {
		t.Fatalf("row %d: float of %.3f m", x.Row, rest)
	}
	if r.Mode == survey.ModeActive && !math.IsNaN(r.DepthM) && !(r.DepthM > 0 && r.DepthM <= 6 && r.CurrentA > 0) {
		t.Fatalf("row %d: depth %v, current %v", x.Row, r.DepthM, r.CurrentA)
	}
}

func checkMarks(t *rapid.T, town *Town) {
	s := town.Survey()
	if len(s.Marks) != len(town.Marks) || len(s.Exposures) != len(town.Holes) || len(s.Fittings) != len(town.Fittings) {
		t.Fatalf("%d marks, %d exposures, %d fittings in the survey; truth of %d, %d, %d",
			len(s.Marks), len(s.Exposures), len(s.Fittings), len(town.Marks), len(town.Holes), len(town.Fittings))
	}
	for i, m := range town.Marks {
		if m.Row != i+1 || m.Line < 0 || m != (Mark{s.Marks[i], m.Line}) && !math.IsNaN(m.SigmaM) {
			t.Fatalf("mark %d: %+v", i, m)
		}
	}
	valves := map[string]*Fitting{}
	for i := range town.Fittings {
		v := &town.Fittings[i]
		valves[v.ID] = v
		line := &town.Truth.Lines[v.Line]
		if ends := line.Points; v.Fitting != s.Fittings[i] || line.Service || line.Utility != v.Utility || v.True != ends[0] && v.True != ends[len(ends)-1] {
			t.Fatalf("valve %+v is not at an end of its line", v)
		}
		f := s.PointLayers[v.Layer].Features[v.Feature]
		if f.Values[0].Text != v.ID || f.Parts[0][0] != town.Frame.toUnit(orb.LineString{v.Point})[0] {
			t.Fatalf("valve %s has the attributes of %+v", v.ID, f)
		}
	}
	for i, h := range town.Holes {
		line := &town.Truth.Lines[h.Line]
		_, off := foot(line.Points, stations(line.Points), h.Point)
		if h.Row != i+1 || math.Abs(off) > 0.06 || h.DepthTo != survey.DepthToTop || math.Abs(h.DiameterM-line.DiameterM) > 0.012 {
			t.Fatalf("test hole %d is %.3f m off its line: %+v", i, off, h)
		}
		if v := valves[h.Fitting]; h.Fitting != "" && (v == nil || v.Line != h.Line || distance(v.True, h.Point) > 0.06) {
			t.Fatalf("test hole %d is not at valve %s: %+v", i, h.Fitting, v)
		}
	}
}

// Valves are drawn where the map has the end of a record of theirs, to the bit.
func TestValvesAreAsWrongAsTheirLines(t *testing.T) {
	valves, wrong := 0, 0
	for seed := range uint64(8) {
		town := Make(seed, paramsOf(t, "hard"))
		ends := map[orb.Point]bool{}
		for i := range town.Survey().Records {
			part := town.Survey().Records[i].Parts[0]
			ends[part[0]], ends[part[len(part)-1]] = true, true
		}
		for _, v := range town.Fittings {
			if !ends[v.Point] {
				t.Errorf("%s lies at no end of a record", v.ID)
			}
			if distance(v.Point, v.True) > 0.3 {
				wrong++
			}
		}
		valves += len(town.Fittings)
	}
	// As many as there are records on sheets that are off, or that are off by
	// themselves: a fifth and some.
	if valves < 200 || wrong < valves/8 || wrong > valves/2 {
		t.Errorf("%d of %d valves are over 0.3 m off", wrong, valves)
	}
	t.Logf("%d of %d valves are over 0.3 m off", wrong, valves)
}

// Ends of true lines that meet are one point on every sheet, whatever the
// sheet's errors: that is how drafters leave them.
func TestEndsOfOneSheetAreSnapped(t *testing.T) {
	p := paramsOf(t, "cruel")
	lines := layLines(7, p.Network)
	topo := newTopology(lines)
	m := drawMap(7, p.Map, Frames[0], topo, nil)
	ends, met := map[place]orb.Point{}, 0
	for _, r := range m.records {
		if r.line < 0 || r.duplicate >= 0 {
			continue
		}
		for w := range 2 {
			if topo.attached[r.line][w].line >= 0 {
				continue
			}
			at := r.points[0]
			if (w == 1) != r.reversed {
				at = r.points[len(r.points)-1]
			}
			k := place{r.sheet, topo.ends[r.line][w]}
			if q, ok := ends[k]; ok && len(topo.at[k.node]) > 1 {
				if met++; q != at {
					t.Fatalf("sheet %d draws node %d at %v and at %v", k.sheet, k.node, q, at)
				}
			}
			ends[k] = at
		}
	}
	if met < 50 {
		t.Errorf("only %d shared ends met", met)
	}
}

// bytesOf is everything that a town consists of.
func bytesOf(t *testing.T, town *Town) []byte {
	t.Helper()
	dir := t.TempDir()
	if _, err := town.Write(dir, WriteOptions{Marks: true, Exposures: true, Fittings: true}); err != nil {
		t.Fatal(err)
	}
	if err := town.WriteTruth(filepath.Join(dir, "truth.json")); err != nil {
		t.Fatal(err)
	}
	h := sha256.New()
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		fmt.Fprintln(h, filepath.Base(path), len(data))
		h.Write(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return h.Sum(nil)
}

func TestSameSeedSameBytes(t *testing.T) {
	p := paramsOf(t, "hard")
	a, b, other := bytesOf(t, Make(5, p)), bytesOf(t, Make(5, p)), bytesOf(t, Make(6, p))
	if !bytes.Equal(a, b) {
		t.Error("the same seed gives other bytes")
	}
	if bytes.Equal(a, other) {
		t.Error("another seed gives the same bytes")
	}
}

func TestTruthGoesThroughItsFile(t *testing.T) {
	town := Make(3, small(paramsOf(t, "hard")))
	path := filepath.Join(t.TempDir(), "truth.json")
	if err := town.WriteTruth(path); err != nil {
		t.Fatal(err)
	}
	got, err := ReadTruth(path)
	if err != nil {
		t.Fatal(err)
	}
	want, _ := json.Marshal(town.Truth)
	again, _ := json.Marshal(got)
	if !bytes.Equal(want, again) || got.Seed != 3 || len(got.Records) == 0 {
		t.Error("truth.json read back is not the truth")
	}
}

func TestFramesAgreeWithTheirSystems(t *testing.T) {
	for _, f := range Frames {
		for _, def := range []string{f.CRS, f.Plane, f.Projection} {
			s, err := crs.Parse(def)
			if err != nil {
				t.Fatal(err)
			}
			unit := f.UnitM
			if def == f.Plane {
				unit = 1
			}
			if math.Abs(s.UnitM()-unit) > 1e-12 {
				t.Errorf("%s: %.12f m in a unit, want %.12f", def, s.UnitM(), unit)
			}
			scale, convergence, err := s.Factors(times(f.Middle, 1/unit))
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(scale-f.Scale) > 1e-8 || math.Abs(convergence-f.Convergence) > 1e-8 {
				t.Errorf("%s: scale %.9f and convergence %.9f by package crs, %.9f and %.9f by PROJ 9.1.1", def, scale, convergence, f.Scale, f.Convergence)
			}
		}
		for _, p := range []orb.Point{{0, 0}, {300, -200}, {-731.5, 12.25}} {
			if q := f.toSite(f.toPlane(p)); distance(p, q) > 1e-8 {
				t.Errorf("%s: %v comes back as %v", f.Name, p, q)
			}
		}
	}
}

func TestOver(t *testing.T) {
	f := Frames[2]
	at := func(x, y float64) orb.Point { return f.toPlane(orb.Point{x, y}) }
	lines := []TrueLine{
		{Utility: "steam", Conductor: survey.ConductorPipe, DiameterM: 0.2, Points: orb.LineString{at(0, 0), at(60, 2), at(120, 0)}},
		{Utility: "steam", Conductor: survey.ConductorPipe, DiameterM: 0.2, Points: orb.LineString{at(120, 0), at(200, 0)}, CoverM: []float64{0.8, 1.1}},
		{Utility: "water", Conductor: survey.ConductorPipe, DiameterM: 0.1, Points: orb.LineString{at(0, 1.5), at(200, 1.5)}},
		{Utility: "water", Points: orb.LineString{at(5, 5), at(5, 5)}}, // no line
	}
	p := paramsOf(t, "hard")
	p.Crews.Coverage, p.Map.Missing = 1, 0
	town := Over(lines, f, 1, p)
	if n := len(town.Truth.Lines); n != 3 {
		t.Fatalf("%d lines, want 3", n)
	}
	for i := range 3 {
		for k, q := range town.Truth.Lines[i].Points {
			if distance(q, lines[i].Points[k]) > 1e-6 {
				t.Errorf("line %d moved to %v", i, q)
			}
		}
	}
	if !slices.Equal(town.Truth.Lines[1].CoverM, []float64{0.8, 1.1}) || town.Truth.Lines[0].CoverM[0] != 1 {
		t.Errorf("covers %v and %v", town.Truth.Lines[1].CoverM, town.Truth.Lines[0].CoverM)
	}
	if len(town.Survey().Traces) == 0 {
		t.Error("nobody walked it")
	}
	if _, err := town.Write(t.TempDir(), WriteOptions{}); err != nil {
		t.Error(err)
	}
	if none := Over(nil, f, 1, p); len(none.Survey().Records) != 0 || len(none.Survey().Traces) != 0 {
		t.Error("a town without lines has records or traces")
	}
}

func TestLarge(t *testing.T) {
	sizes := [][2]int{{2000, 8000}}
	if os.Getenv("ASFOUND_SLOW") == "1" {
		sizes = append(sizes, [2]int{200_000, 1_000_000})
	}
	for _, size := range sizes {
		began := time.Now()
		town := Make(1, Large(paramsOf(t, "hard"), size[0], size[1]))
		readings := 0
		for i := range town.Survey().Traces {
			readings += len(town.Survey().Traces[i].Readings)
		}
		records := len(town.Survey().Records)
		t.Logf("%d records and %d readings in %v", records, readings, time.Since(began).Round(time.Millisecond))
		for _, c := range [][2]int{{records, size[0]}, {readings, size[1]}} {
			if ratio := float64(c[0]) / float64(c[1]); ratio < 0.8 || ratio > 1.25 {
				t.Errorf("%d, asked for about %d", c[0], c[1])
			}
		}
	}
}

func TestDemoHasSomeOfEverything(t *testing.T) {
	town := demo(paramsOf(t, demoDifficulty))
	blunder := slices.ContainsFunc(town.Truth.Sheets, func(s Sheet) bool { return s.Blunder != "" && s.Records >= 5 })
	base := slices.ContainsFunc(town.Truth.Sessions, func(s Session) bool { return s.WrongBase })
	if !slices.ContainsFunc(town.Holes, func(h Hole) bool { return h.Fitting != "" }) {
		t.Error("no test hole is at a valve")
	}
	if !blunder || !base || len(town.Survey().Checks) == 0 || len(town.Holes) == 0 || len(town.Marks) == 0 || len(town.Survey().Areas) == 0 {
		t.Errorf("blunder %v, wrong base %v, %d checks, %d holes, %d marks, %d areas", blunder, base, len(town.Survey().Checks), len(town.Holes), len(town.Marks), len(town.Survey().Areas))
	}
	if !reflect.DeepEqual(town.Frame, Frames[0]) || town.Frame.UnitM != surveyFootM {
		t.Error("the demo town is not in State Plane feet")
	}
}

func ExampleMake() {
	p, err := Preset("hard")
	if err != nil {
		panic(err)
	}
	town := Make(42, p)
	s := town.Survey()
	fmt.Println(len(s.Records) == len(town.Truth.Records), len(s.Traces) == len(town.Truth.Traces))
	// Output: true true
}
