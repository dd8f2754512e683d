package scorer

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// beside is two parallel water mains 1.6 m apart, whose sheet is 1 m off to the
// north, so that the northern line lies nearer to the southern's record; and a
// gas main between them.
func beside() *tiny {
	w := newTiny()
	w.sheet("S", 0, -1)
	w.sheet("G", 0, 0)
	w.source("network", 0, 0)
	w.session("A", "A", "network", 0, 0, false)
	north := w.line("water", orb.Point{0, 1.6}, orb.Point{100, 1.6})
	south := w.line("water", orb.Point{0, 0}, orb.Point{100, 0})
	gas := w.line("gas", orb.Point{0, 0.9}, orb.Point{100, 0.9})
	across := w.line("water", orb.Point{120, -50}, orb.Point{120, 50})
	w.record("N", "water", "S", north, orb.Point{0, 2.6}, orb.Point{100, 2.6})
	w.record("M", "water", "S", south, orb.Point{100, 1}, orb.Point{0, 1}) // against the line's direction
	w.record("G", "gas", "G", gas, orb.Point{0, 0.9}, orb.Point{100, 0.9})
	w.record("X", "water", "S", across, orb.Point{120, -49}, orb.Point{120, 51})
	w.walk("A", north, 0, 100, 5)
	w.walk("A", south, 0, 100, 1)
	w.walk("A", gas, 0, 100, 5)
	w.walk("A", across, 5, 95, 5)
	return w
}

func TestNearest(t *testing.T) {
	w := beside()
	o := Nearest(&w.s)
	count := map[string]int{}
	for _, r := range o.Readings {
		count[r.Record+" "+r.Status]++
	}
	// 1.6 is .6 from M's 1 and 1 from N's 2.6.
	if count["M used"] != 21+101 || count["G used"] != 21 || count["X used"] != 19 || len(count) != 3 {
		t.Errorf("readings %v", count)
	}
	// M's mean offset is (21 * -.6 + 101 * 1) / 122 to the right of walking east:
	// .7246 m south.
	want := map[string]Record{
		"N": {Position: "unsurveyed", CoverM: math.NaN(), CoverU: math.NaN()},
		"M": {Position: "outside", Depth: "within", Attribution: "record"},
		"G": {Position: "within", Depth: "within"},
		"X": {Position: "within", Depth: "within"},
	}
	for id, r := range want {
		got := o.Records[id]
		if got.Position != r.Position || got.Depth != r.Depth || got.Attribution != r.Attribution {
			t.Errorf("%s: %+v, want %+v", id, got, r)
		}
	}
	shift := (21*0.6 - 101*1) / 122.0
	for i, x := range []float64{100, 0} {
		if p := o.Lines["M"][0][i]; math.Abs(p[0]-x) > 1e-9 || math.Abs(p[1]-(1+shift)) > 1e-9 {
			t.Errorf("M's vertex %d lies at %v, want %v, %v", i, p, x, 1+shift)
		}
	}
	if !slices.Equal(o.Lines["N"][0], w.s.Records[0].Parts[0]) {
		t.Error("N moved though nobody read it")
	}
	if len(o.Effects) != 0 || !o.Plain || len(o.Findings) != 1 || o.Findings[0].Record != "M" {
		t.Errorf("effects %v, findings %v", o.Effects, o.Findings)
	}
	tl := w.score(o)
	expect(t, tl, map[Figure]Share{RightAmongUsed: {141, 162}, OutsideFound: {1, 2}, Undecided: {1, 4}, WithinFlagged: {0, 2}})
	if tl.Cases(SheetsInside) != 0 || tl.Cases(Resolved) != 0 || tl.Cases(ProfileThere) != 0 {
		t.Error("a baseline is held to what it does not claim")
	}
}

func TestNearestBySheet(t *testing.T) {
	w := beside()
	o := NearestBySheet(&w.s)
	// The first pass gives sheet S a mean shift of (21 * .6 - 101) / 122.1 north (the
	// ridge is .1) and none east; from there 1.6 is .275 from N, .325 from M.
	shift := (21*0.6 - 101) / 122.1
	var sheet Effect
	for _, e := range o.Effects {
		if e.Name == "S" {
			sheet = e
		}
	}
	if len(o.Effects) != 2 || math.Abs(sheet.North-shift) > 1e-9 || math.Abs(sheet.East) > 1e-9 || !sheet.Significant {
		t.Errorf("effects %v, want a shift of %v", o.Effects, shift)
	}
	tl := w.score(o)
	expect(t, tl, map[Figure]Share{RightAmongUsed: {162, 162}, OutsideFound: {2, 2}, SheetsNamed: {1, 1}, SheetsOthersNamed: {0, 1}})
	if got := quantile(tl.Values(After), 1); got > 1e-9 {
		t.Errorf("lines lie up to %v off", got)
	}
}

// The baselines know nothing of the truth, and nothing but the nearest record.
func TestBaselinesReadingsWithoutRecord(t *testing.T) {
	w := beside()
	w.s.Traces[0].Readings[0].Point = orb.Point{50, 9}    // over 5 m from any
	w.s.Traces[0].Readings[1].Point = orb.Point{50, 7.55} // under 5 m from N
	w.s.Traces[3].Utility = "steam"                       // of no record
	o := Nearest(&w.s)
	got := func(row int) Reading { return o.Readings[At{"field.csv", row}] }
	if got(1).Status != string(survey.StatusUnmapped) || got(2).Record != "N" || got(21+101+21+1).Record != "" {
		t.Errorf("%v, %v, %v", got(1), got(2), got(21+101+21+1))
	}
	w.s.Traces[3].Utility = "" // of any
	if r := Nearest(&w.s).Readings[At{"field.csv", 21 + 101 + 21 + 1}]; r.Record != "X" {
		t.Errorf("unlabelled: %v", r)
	}
}

func TestBaselinesOnAMadeTown(t *testing.T) {
	made := town(t, 9103)
	again := synth.Make(9103, made.Params)
	a, b := Score(made.Survey(), &made.Truth, NearestBySheet(made.Survey())), Score(again.Survey(), &again.Truth, NearestBySheet(again.Survey()))
	for f := range numFigures {
		if a.text(f) != b.text(f) {
			t.Errorf("%s: %s and %s", figures[f].name, a.text(f), b.text(f))
		}
	}
	if got := a.Share(JumpsWrong); got.Of > 0 && got.Value() < 0.5 {
		t.Errorf("the nearest record is right of %v of the jumps: they are none", 1-got.Value())
	}
}
