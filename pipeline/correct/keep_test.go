package correct

import (
	"math"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// run corrects with options of one's own.
func (w *town) run(o Options) Outcome { return Lines(&w.s, w.js, w.fs, &w.m, o) }

// about are the findings on a record whose sentence has some words.
func about(fs []survey.Finding, record int, words string) (out []survey.Finding) {
	for _, f := range fs {
		if f.Record == record && f.Kind == survey.KindCorrection && strings.Contains(f.Sentence, words) {
			out = append(out, f)
		}
	}
	return out
}

func last(l orb.LineString) orb.Point { return l[len(l)-1] }

// besideGas is a water main, A, that moves 1 m north, and a gas line, B, 0.5 m north of
// it as drawn.
func besideGas() (w *town, a, b int) {
	w = &town{}
	a = w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
	b = w.record("B", orb.Point{20, 0.5}, orb.Point{60, 0.5})
	w.s.Records[b].Utility = "gas"
	w.survey(a, 0, 100, 0, 1)
	return w, a, b
}

// Nobody knows where the gas line is: the main stops short of it, and that is said.
func TestALineStopsShortOfOneThatNobodyKnows(t *testing.T) {
	w, a, b := besideGas()
	out := w.run(testOptions())
	line := lineref.New(orb.MultiLineString{out.Lines[a].Parts[0].Line}, 1)
	for x := 21.0; x < 60; x++ {
		if y := crossingAt(line, x); y > 0.5 || y < 0.3 {
			t.Errorf("at %.0f the main lies at %.3f, not just below the gas line", x, y)
		}
	}
	if far := last(line.Parts[0]); far != (orb.Point{100, 1}) || out.Lines[b].Moved {
		t.Errorf("its far end went to %v, the gas line moved: %v", far, out.Lines[b].Moved)
	}
	held := about(out.Findings, a, "held back")
	if len(held) != 1 || held[0].Basis != "B" || math.Abs(held[0].OffsetM-0.5) > 0.02 || held[0].FromM > 21 || held[0].ToM < 59 {
		t.Errorf("said %+v", held)
	}
	if left := about(out.Findings, a, "beyond its interval"); len(left) != 1 {
		t.Errorf("that it leaves its evidence is said %d times", len(left))
	}
}

// crossingAt is the y of a line at an x.
func crossingAt(l lineref.Line, x float64) float64 {
	for i := 1; i < len(l.Parts[0]); i++ {
		a, b := l.Parts[0][i-1], l.Parts[0][i]
		if a[0] <= x && x <= b[0] {
			return a[1] + (b[1]-a[1])*(x-a[0])/(b[0]-a[0])
		}
	}
	return math.NaN()
}

// Where readings have the gas line at its place the main passes it, and that is said.
func TestALinePassesOneThatIsSeen(t *testing.T) {
	w, a, b := besideGas()
	w.survey(b, 0, 40, 0, 0)
	out := w.run(testOptions())
	if p := out.Lines[a].Parts[0].Line; len(p) != 2 || p[0] != (orb.Point{0, 1}) {
		t.Errorf("the main went to %v", p)
	}
	if f := about(out.Findings, a, "as the adjusted map has both"); len(f) != 1 || math.Abs(f[0].OffsetM-0.5) > 0.01 {
		t.Errorf("said %+v", f)
	}
}

// A hairpin whose one leg would move over the other stays whole.
func TestNoNewSelfCrossing(t *testing.T) {
	var w town
	r := w.record("A", orb.Point{0, 0}, orb.Point{100, 0}, orb.Point{100, 2}, orb.Point{0, 2})
	w.survey(r, 0, 201, 0, 0)
	for i := range w.m.Profiles[r].Nodes { // the first leg 4 m north near its middle
		n := &w.m.Profiles[r].Nodes[i]
		n.D.North = 4 * taper(math.Abs(n.StationM-50), 40)
	}
	out := w.run(testOptions())
	if n := len(selfCrossings(out.Lines[r].Parts[0].Line)); n != 0 {
		t.Errorf("it crosses itself %d times", n)
	}
	if f := about(out.Findings, r, "would cross itself"); len(f) != 1 {
		t.Errorf("said %+v", out.Findings)
	}
	if !out.Lines[r].Moved {
		t.Error("nothing of it moved")
	}
	if n := len(selfCrossings(orb.LineString{{0, 0}, {10, 0}, {10, 10}, {5, -5}, {5, 5}})); n != 2 {
		t.Errorf("counted %d crossings of 2", n)
	}
}

// A rejected finding pins its record: what is joined to it stays there too, and
// the strain is said. Only what was accepted moves where people have to accept.
func TestPeopleDecide(t *testing.T) {
	w, a, b := endToEnd(1, 1)
	w.fs[1].ID = "P-2"
	w.fs[0].Life = survey.LifeRejected
	out := w.run(testOptions())
	if out.Lines[a].Moved {
		t.Error("the rejected record moved")
	}
	p := out.Lines[b].Parts[0].Line
	if p[0] != (orb.Point{100, 0}) || last(p) != (orb.Point{200, 1}) || out.Lines[b].Finding != "P-2" {
		t.Errorf("its neighbour runs from %v to %v", p[0], last(p))
	}
	f := about(out.Findings, a, "the finding P-1 was rejected")
	if len(f) != 1 || math.Abs(f[0].OffsetM-1) > 1e-9 || f[0].FromM != 100 {
		t.Errorf("the strain is said as %+v", out.Findings)
	}

	o := testOptions()
	o.Accepted = true
	w.fs[0].Life, w.fs[1].Life = survey.LifeOpen, survey.LifeAccepted
	out = w.run(o)
	if c := out.Lines[a]; !c.Neighbor || last(c.Parts[0].Line) != (orb.Point{100, 1}) || c.Parts[0].Line[0] != (orb.Point{0, 0}) {
		t.Errorf("the open one: %+v", c)
	}
	if p := out.Lines[b].Parts[0].Line; p[0] != (orb.Point{100, 1}) || last(p) != (orb.Point{200, 1}) {
		t.Errorf("the accepted one runs from %v to %v", p[0], last(p))
	}
	w.fs[1].Life = survey.LifeDeferred
	if out = w.run(o); out.Lines[a].Moved || out.Lines[b].Moved {
		t.Error("a deferred one moved")
	}
}

func TestWhatIsFixedStays(t *testing.T) {
	for name, fix := range map[string]func(w *town, o *Options){
		"by its id":      func(_ *town, o *Options) { o.Fixed = []string{"A"} },
		"by its quality": func(w *town, o *Options) { w.s.Records[0].Quality = "A"; o.FixedQuality = []string{"A"} },
	} {
		var w town
		a := w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
		w.survey(a, 0, 100, 0, 1)
		o := testOptions()
		fix(&w, &o)
		if out := w.run(o); out.Lines[a].Moved {
			t.Errorf("%s: it moved", name)
		}
	}
	var w town
	a := w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
	w.survey(a, 0, 100, 0, 1)
	w.s.Fittings = []survey.Fitting{{ID: "V", Utility: "water", Point: orb.Point{100, 0}, Scale: 1}}
	o := testOptions()
	o.Fixed = []string{"V"}
	out := w.run(o)
	if p := out.Lines[a].Parts[0].Line; last(p) != (orb.Point{100, 0}) || p[0] != (orb.Point{0, 1}) || out.Fittings[0].MovedM != 0 {
		t.Errorf("the fixed valve's line runs from %v to %v", p[0], last(p))
	}
}

// Fittings go with their line, wherever they are on it; one beside it keeps its
// distance; one on nothing, or on another utility's line, stays.
func TestFittingsGoWithTheirLine(t *testing.T) {
	var w town
	a := w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
	w.record("B", orb.Point{100, 0}, orb.Point{200, 0})
	w.survey(a, 0, 50, 0, 1)
	for i := range w.m.Profiles[a].Nodes { // a bend at 30, where the line has no vertex
		n := &w.m.Profiles[a].Nodes[i]
		n.D.North = math.Min(n.StationM, 30) / 30
	}
	for _, f := range []survey.Fitting{
		{ID: "end", Utility: "water", Point: orb.Point{0, 0}},
		{ID: "middle", Utility: "water", Point: orb.Point{33, 0}},
		{ID: "beside", Point: orb.Point{40, 0.3}},
		{ID: "far", Utility: "water", Point: orb.Point{40, 3}},
		{ID: "gas", Utility: "gas", Point: orb.Point{33, 0}},
		{ID: "fading", Utility: "water", Point: orb.Point{57, 0}},
		{ID: "beyond", Utility: "water", Point: orb.Point{61, 0}},
	} {
		f.Scale = 1
		w.s.Fittings = append(w.s.Fittings, f)
	}
	out := w.run(testOptions())
	line := lineref.New(orb.MultiLineString{out.Lines[a].Parts[0].Line}, 1)
	for i, f := range out.Fittings {
		name := w.s.Fittings[i].ID
		foot, _ := line.Nearest(f.Point)
		switch name {
		case "end", "middle", "fading", "beyond":
			if math.Abs(foot.OffsetM) > teeM {
				t.Errorf("%s lies %.4f m off its line", name, foot.OffsetM)
			}
		case "beside":
			if planar.Distance(f.Point, orb.Point{40, 1.3}) > 1e-9 || f.MovedM != 1 {
				t.Errorf("%s went to %v", name, f.Point)
			}
		default:
			if f.Record >= 0 {
				t.Errorf("%s goes with record %d", name, f.Record)
			}
		}
		if still := f.Point == w.s.Fittings[i].Point; still != (f.MovedM == 0) {
			t.Errorf("%s moved by %v to %v", name, f.MovedM, f.Point)
		}
	}
	if out.Fittings[1].MovedM < 0.99 || out.Fittings[5].MovedM == 0 || out.Fittings[6].MovedM != 0 {
		t.Errorf("moved %+v", out.Fittings)
	}
}

// What nobody surveyed goes by its sheet's shift only if that is asked for; what was
// surveyed and is right is not dragged along.
func TestSheetShifts(t *testing.T) {
	var w town
	for _, id := range []string{"A", "B"} {
		x := 100 * float64(len(w.js))
		r := w.record(id, orb.Point{x, 0}, orb.Point{x + 100, 0})
		w.s.Records[r].Sheet = "S"
	}
	c := w.record("C", orb.Point{200, 0}, orb.Point{300, 0})
	w.survey(c, 0, 100, 0, 0)
	w.js[c].Position = survey.VerdictWithin
	w.m.Effects = []survey.Effect{{Kind: survey.EffectSheet, Name: "S", V: survey.Vector{North: 1}, Significant: true}}
	if out := w.run(testOptions()); out.Lines[0].Moved {
		t.Error("a sheet moved unasked")
	}
	o := testOptions()
	o.Shift = true
	out := w.run(o)
	a, b := out.Lines[0], out.Lines[1]
	if !a.Shifted || a.Neighbor || a.Parts[0].Line[0] != (orb.Point{0, 1}) || last(a.Parts[0].Line) != (orb.Point{100, 1}) {
		t.Errorf("the first: %+v", a)
	}
	if p := b.Parts[0].Line; !b.Shifted || p[0] != (orb.Point{100, 1}) || last(p) != (orb.Point{200, 0}) {
		t.Errorf("the second, which meets a surveyed one: %+v", b)
	}
	if out.Lines[c].Moved {
		t.Error("the surveyed one was dragged")
	}
	w.m.Effects[0].Significant = false
	if out := w.run(o); out.Lines[0].Moved {
		t.Error("a shift that is none was applied")
	}
}

func TestCovers(t *testing.T) {
	var w town
	r := w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
	w.s.Records[r].CoverM = 1.2
	w.m.Profiles[r].Cover = survey.Cover{Readings: 5, DifferenceM: 0.4, U: 0.05}
	w.fs = []survey.Finding{{ID: "D-1", Kind: survey.KindDepth, Record: r, Verdict: survey.VerdictOutside, Attribution: survey.AttributionRecord}}
	if c := w.correct()[r]; !c.CoverRead || math.Abs(c.CoverM-1.6) > 1e-12 || c.CoverU != 0.05 || c.Moved {
		t.Errorf("proposed %+v", c)
	}
	w.fs[0].Life = survey.LifeRejected
	if c := w.correct()[r]; c.CoverRead {
		t.Error("a rejected cover is proposed")
	}
	w.fs = nil
	if c := w.correct()[r]; c.CoverRead {
		t.Error("a cover without a finding is proposed")
	}
	o := testOptions()
	o.When = WhenSurveyed
	w.s.Records[r].CoverM = math.NaN()
	if c := w.run(o).Lines[r]; !c.CoverRead || c.CoverM != 0.4 {
		t.Errorf("of a record without a cover: %+v", c)
	}
}

// Every vertex says how sure it is: as sure as the model on the evidence, and less
// and less where the move fades out, by what of it is not made.
func TestUncertaintyOfEveryVertex(t *testing.T) {
	var w town
	r := w.record("A", orb.Point{0, 0}, orb.Point{40, 0}, orb.Point{100, 0})
	w.survey(r, 0, 40, 0, 1)
	c := w.correct()[r].Parts[0]
	before := 0.0
	for i, m := range c.StationM {
		u := c.U[i]
		switch {
		case m == 0 && math.Abs(u-0.03) > 1e-12:
			t.Errorf("on the evidence u is %.4f, not the model's", u)
		case m > 40 && u <= before:
			t.Errorf("at %.1f m u is %.4f, no more than before it", m, u)
		case m == 100 && math.Abs(u-math.Hypot(0.03, 1)) > 1e-12:
			t.Errorf("at the far end u is %.4f: a move of 1 m is not made there", u)
		}
		if m >= 40 {
			before = u
		}
		if want := map[bool]survey.Cause{true: survey.CauseEvidence, false: survey.CauseFade}[m <= 40]; c.MovedM[i] > 0 && c.Cause[i] != want {
			t.Errorf("at %.1f m the cause is %v", m, c.Cause[i])
		}
	}
	if c.Readings[0] != 6 {
		t.Errorf("%d readings within 10 m of the start, want 6", c.Readings[0])
	}
}
