package scorer

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// expect compares shares with what they should be: hits and cases.
func expect(t *testing.T, tl *Tally, want map[Figure]Share) {
	t.Helper()
	for f, s := range want {
		if got := tl.Share(f); math.Abs(got.Hits-s.Hits) > 1e-9 || math.Abs(got.Of-s.Of) > 1e-9 {
			t.Errorf("%s: %s: %v of %v, want %v of %v", figures[f].group, figures[f].name, got.Hits, got.Of, s.Hits, s.Of)
		}
	}
}

// twice is a main that two drawings show: one right, one 2 m off.
func twice() *tiny {
	w := bent(slices.Repeat([]float64{0}, 11)...)
	w.sheet("OLD", 0, -2)
	w.record("D", "water", "OLD", 0, orb.Point{0, 2}, orb.Point{100, 2})
	w.truth.Records[1].DuplicateOf = "R"
	return w
}

func TestRecordsOfOneLine(t *testing.T) {
	w := twice()
	o := w.perfect() // readings to R, which is within; D unsurveyed
	expect(t, w.score(o), map[Figure]Share{GoodUsed: {51, 51}, OutsideFound: {}, WithinFlagged: {0, 1}, Undecided: {0, 1}, CoverUndecided: {0, 1}})
	// The readings may as well go to D.
	for at := range o.Readings {
		o.Readings[at] = Reading{"D", "used", 1}
	}
	o.Records["R"], o.Records["D"] = o.Records["D"], Record{Position: "outside", Depth: "within"}
	expect(t, w.score(o), map[Figure]Share{GoodUsed: {51, 51}, OutsideFound: {1, 1}, WithinFlagged: {}, Undecided: {0, 1}})
	// But nobody gets off by calling both unsurveyed.
	o.Records["D"] = Record{Position: "unsurveyed"}
	expect(t, w.score(o), map[Figure]Share{OutsideFound: {0, 1}, WithinFlagged: {0, 1}, Undecided: {2, 2}, CoverUndecided: {2, 2}})
}

// far is a sheet drawn 40 m off, as in another frame.
func TestOtherFrame(t *testing.T) {
	w := newTiny()
	w.sheet("F", -24, -32)
	w.source("network", 0, 0)
	w.session("A", "A", "network", 0, 0, false)
	for i, y := range []float64{0, 100} {
		l := w.line("water", orb.Point{0, y}, orb.Point{60, y})
		w.record([]string{"A", "B"}[i], "water", "F", l, orb.Point{24, y + 32}, orb.Point{84, y + 32})
		w.walk("A", l, 0, 60, 3)
	}
	o := w.perfect()
	tl := w.score(o)
	expect(t, tl, map[Figure]Share{SheetsOtherFrame: {1, 1}, SheetsNamed: {}, OutsideOtherFrame: {2, 2}, OutsideFound: {2, 2}})
	if n := len(tl.Values(OtherFrameBefore)); n != 2*121 || len(tl.Values(Before)) != 0 {
		t.Errorf("%d and %d places", n, len(tl.Values(Before)))
	}
	for i := range o.Effects {
		if o.Effects[i].Kind == "sheet" {
			o.Effects[i].East, o.Effects[i].North = -2, -3 // named, but not measured
		}
	}
	o.Records["A"] = Record{Position: "unsurveyed"}
	expect(t, w.score(o), map[Figure]Share{SheetsOtherFrame: {0, 1}, OutsideOtherFrame: {1, 2}, Undecided: {1, 2}})
}

// commonFrame is a town where everybody's positions are 1 m off.
func commonFrame(checked bool) *tiny {
	w := newTiny()
	w.source("network", 0, 1)
	w.session("A", "A", "network", 0, 0, false)
	w.session("B", "B", "network", 0, 0, false)
	for i := range 3 {
		y := 20 * float64(i)
		name := string(rune('P' + i))
		w.sheet(name, 0, 0)
		l := w.line("water", orb.Point{0, y}, orb.Point{60, y})
		w.record(name, "water", name, l, orb.Point{0, y}, orb.Point{60, y})
		w.walk([]string{"A", "B"}[i%2], l, 0, 60, 3)
	}
	if checked {
		w.check("A")
		w.check("B")
	}
	return w
}

func TestCommonFrame(t *testing.T) {
	w := commonFrame(false)
	o := w.perfect()
	tl := w.score(o)
	expect(t, tl, map[Figure]Share{CommonFrameToMap: {0, 3}, AttributedRight: {}, WithinFlagged: {0, 3}, SheetsOthersNamed: {0, 3}, Undecided: {}})
	p := o.Records["P"]
	p.Attribution = "record"
	o.Records["P"] = p
	o.Findings = append(o.Findings, Finding{Kind: "position", Record: "Q", Verdict: "outside", Attribution: "record"})
	expect(t, w.score(o), map[Figure]Share{CommonFrameToMap: {2, 3}})

	// Beside a common error of 1 m north, a line 3 m south of its record is outside
	// whosever the error is; one 1 m south of it is so only if it is the positions'.
	w = commonFrame(false)
	for i, off := range []float64{3, 1} {
		y := 100 + 20*float64(i)
		l := w.line("water", orb.Point{0, y}, orb.Point{60, y})
		w.record([]string{"V", "W"}[i], "water", "", l, orb.Point{0, y + off}, orb.Point{60, y + off})
		w.walk("A", l, 0, 60, 3)
	}
	o = w.perfect()
	for _, id := range []string{"V", "W"} {
		o.Records[id] = Record{Position: "undecided"}
	}
	expect(t, w.score(o), map[Figure]Share{OutsideFound: {0, 1}, Undecided: {1, 1}, OutsideMissed: {0, 2}})
	o.Records["W"] = Record{Position: "within"}
	expect(t, w.score(o), map[Figure]Share{OutsideFound: {0, 1}, Undecided: {1, 1}, OutsideMissed: {1, 2}})

	w = commonFrame(true)
	o = w.perfect()
	expect(t, w.score(o), map[Figure]Share{CommonFrameToMap: {}, AttributedRight: {3, 3}, SessionsCheckedInside: {4, 4}, SessionsUncheckedInside: {}, SourcesInside: {2, 2}, Undecided: {0, 3}})
	p.Attribution = "field" // of one crew it is not
	o.Records["P"] = p
	expect(t, w.score(o), map[Figure]Share{AttributedRight: {2, 3}, AttributedWrong: {1, 3}})
}

func TestGeometry(t *testing.T) {
	w := bent(slices.Repeat([]float64{1}, 11)...)
	o := w.perfect()
	o.Lines["R"] = orb.MultiLineString{{{0, 0.1}, {50, 0.1}, {50.1, 4}, {50.2, 0.1}, {100, 0.1}}} // with a spike
	tl := w.score(o)
	if v := tl.Values(Before); len(v) != 201 || mean(v) != 1 || quantile(v, 1) != 1 {
		t.Errorf("before: %d places, mean %v", len(v), mean(v))
	}
	if v := tl.Values(After); math.Abs(mean(v)-0.1) > 0.01 || quantile(v, 1) > 0.101 {
		t.Errorf("after: mean %v, up to %v", mean(v), quantile(v, 1))
	}
	if v := tl.Values(BackToTruth); quantile(v, 1) < 3.5 {
		t.Errorf("the spike does not show: up to %v", quantile(v, 1))
	}
	if len(tl.Values(OutsideAfter)) != 201 {
		t.Error("the record is truly outside")
	}
}

func TestProfile(t *testing.T) {
	w := bent(slices.Repeat([]float64{1}, 11)...) // the line is 1 m to the right of it
	o := w.perfect()
	o.Profiles["R"] = []Node{{0, 1, 0.01, 1}, {50, 1.02, 0.02, 1}, {100, 1.5, 0.02, 1}}
	tl := w.score(o)
	// Right of 1.0196 at u .01, .02 at u .02: all of the first half; of the other
	// half where .02 + .48 t <= .0392, t < .04: two places.
	expect(t, tl, map[Figure]Share{ProfileThere: {100, 100}, ProfileInside: {52, 100}, ProfileAtReadings: {2, 3}})
	delete(o.Profiles, "R")
	expect(t, w.score(o), map[Figure]Share{ProfileThere: {0, 100}, ProfileInside: {}, ProfileAtReadings: {}})
}

func TestInterpolate(t *testing.T) {
	nodes := []Node{{10, 1, 0.1, 1}, {20, 2, 0.3, 0}}
	for m, want := range map[float64][2]float64{0: {1, 0.1}, 10: {1, 0.1}, 15: {1.5, 0.2}, 20: {2, 0.3}, 99: {2, 0.3}} {
		if offset, u, ok := interpolate(nodes, m); !ok || math.Abs(offset-want[0]) > 1e-12 || math.Abs(u-want[1]) > 1e-12 {
			t.Errorf("at %v: %v, u %v, want %v", m, offset, u, want)
		}
	}
	if _, _, ok := interpolate(nil, 5); ok {
		t.Error("a profile of nothing")
	}
}

func TestMovedBeyond(t *testing.T) {
	w := bent(slices.Repeat([]float64{0}, 11)...)
	for i := range 51 {
		if i > 10 { // read over 20 m only
			w.truth.Traces[0].Readings[i].Float = true
		}
	}
	o := w.perfect()
	moved := func(x float64) float64 {
		o.Lines["R"] = orb.MultiLineString{{{0, 0}, {x, 0.5}, {100, 0}}}
		return w.score(o).Share(MovedBeyond).Hits
	}
	if got := moved(39); got != 0 {
		t.Error("19 m beyond the evidence is inside the fade-out")
	}
	if got := moved(50); got != 1 {
		t.Error("30 m beyond the evidence and 50 m from the end is outside the fade-out")
	}
	if got := moved(85); got != 0 {
		t.Error("15 m from an end a neighbour may pull")
	}
}

func TestFalseFindings(t *testing.T) {
	w := corner()
	o := w.perfect()
	tl := w.score(o)
	if mean(tl.Values(UnmappedFalse)) != 0 || mean(tl.Values(NotDetectedFalse)) != 0 {
		t.Error("the truth is called false")
	}
	o.Findings = append(o.Findings,
		Finding{Kind: "unmapped", Line: orb.MultiLineString{{{0, 0.2}, {60, 0.2}}}},   // along the water main
		Finding{Kind: "unmapped", Line: orb.MultiLineString{{{0, -3.9}, {60, -3.9}}}}, // along the line on no map
		Finding{Kind: "unmapped", Line: orb.MultiLineString{{{0, -3}, {20, -3}, {20, 30}}}},
		Finding{Kind: "not_detected", Record: "S1"},
	)
	tl = w.score(o)
	if got := mean(tl.Values(UnmappedFalse)); got != 2 {
		t.Errorf("%v false unmapped lines, want 2", got)
	}
	if got := mean(tl.Values(NotDetectedFalse)); got != 1 {
		t.Errorf("%v false records not detected, want 1", got)
	}
	// A second drawing of a line that is there was not detected, and is no mistake.
	w = twice()
	o = w.perfect()
	o.Findings = append(o.Findings, Finding{Kind: "not_detected", Record: "D"})
	if got := mean(w.score(o).Values(NotDetectedFalse)); got != 0 {
		t.Errorf("%v false, want none", got)
	}
}

// A stub of an unmapped line is not the line.
func TestUnmappedFoundInPart(t *testing.T) {
	w := corner() // 13 readings of it, 5 m apart
	for to, want := range map[float64]float64{25: 0, 31: 1} {
		o := w.perfect()
		o.Findings = []Finding{{Kind: "unmapped", Line: orb.MultiLineString{{{0, -3.2}, {to, -3.2}}}}}
		if got := w.score(o).Share(UnmappedFound).Hits; got != want {
			t.Errorf("found to %v of 60 m: %v, want %v", to, got, want)
		}
	}
}

func TestProbabilities(t *testing.T) {
	w := bent(slices.Repeat([]float64{0}, 11)...)
	w.record("N", "water", "S", -1, orb.Point{0, 3}, orb.Point{100, 3})
	o := w.perfect()
	row := func(n int, r Reading) { o.Readings[At{"field.csv", n}] = r }
	for n := 1; n <= 51; n++ {
		row(n, Reading{"", "untrusted", math.NaN()}) // promises nothing
	}
	row(1, Reading{"R", "used", 0.995})
	row(2, Reading{"N", "used", 0.99})
	row(3, Reading{"R", "ambiguous", 0.6})
	row(4, Reading{"", "unmapped", 0.8})
	row(5, Reading{"R", "used", math.NaN()}) // a promise of nothing
	tl := w.score(o)
	const band = 1
	expect(t, tl, map[Figure]Share{RightAt99 + band: {1, 2}, PromiseBySpacing + band: {3, 5}})
	if got := tl.Promised(PromiseBySpacing + band); math.Abs(got-(0.995+0.99+0.6+0.8)/5) > 1e-12 {
		t.Errorf("promised %v", got)
	}
	brier := (0.005*0.005 + 0.99*0.99 + 0.4*0.4 + 0.8*0.8 + 1) / 5
	if got := mean(tl.Values(BrierBySpacing + band)); math.Abs(got-brier) > 1e-12 {
		t.Errorf("Brier score %v, want %v", got, brier)
	}
}

// A valve goes with its main; one left behind is counted, and so is a loop that
// came open.
func TestFittingsAndLoops(t *testing.T) {
	w := corner()
	w.s.Fittings = []survey.Fitting{
		{ID: "V1", Utility: "water", Point: orb.Point{20, 0.1}, Scale: 1}, {ID: "V2", Utility: "water", Point: orb.Point{20, 3}, Scale: 1}, // on gas
	}
	loop := w.line("sewer", orb.Point{200, 0}, orb.Point{220, 0}, orb.Point{200, 20}, orb.Point{200, 0})
	w.record("L1", "sewer", "WS", loop, orb.Point{200, 0}, orb.Point{220, 0}, orb.Point{200, 20}, orb.Point{200, 0})
	o := w.perfect()
	was := w.score(o).Share(JunctionsOpened)
	expect(t, w.score(o), map[Figure]Share{FittingsLeft: {0, 1}})
	delete(o.Fittings, "V1")
	o.Lines["L1"] = orb.MultiLineString{{{200, 0}, {220, 0}, {200, 20}, {200, 0.5}}}
	expect(t, w.score(o), map[Figure]Share{FittingsLeft: {1, 1}, JunctionsOpened: {was.Hits + 1, was.Of}})
}

// The true water main is at 0: a vertex 5 cm off is inside at u 3 cm, not at 2 cm.
// One that is named and not there is outside.
func TestVerticesInside(t *testing.T) {
	w := corner()
	o := w.perfect()
	o.Lines["W1"] = orb.MultiLineString{{{0, 0}, {30, 0.05}, {60, 0}}}
	o.Changes = []Change{
		{"W1", 0, 1, 0.03, "evidence"}, {"W1", 0, 1, 0.02, "evidence"}, {"W1", 0, 7, 1, "evidence"}, {"W1", 0, 1, 0.03, "fade-out"},
	}
	expect(t, w.score(o), map[Figure]Share{VerticesInside: {1, 3}, FollowersInside: {1, 1}})
}
