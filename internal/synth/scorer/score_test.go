package scorer

import (
	"maps"
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"
)

// harm are the shares that are the better the smaller they are.
var harm = []Figure{
	JumpsWrong, PassiveWrong, LabelWrong, SondeUsed, GoodDistrusted, OutsideMissed, WithinFlagged, Undecided, NoLineJudged,
	UnsurveyedMisjudged, AttributedInseparable, AttributedWrong, CommonFrameToMap, CoverFlagged, CoverOthersNamed, CoverUndecided,
	SheetsOthersNamed, SessionsGoodNamed, LinesMissing, JunctionsOpened, SelfCrossings, SideChanges, MovedBeyond, FittingsLeft,
}

// byOthers says that a figure does not depend on the outcome.
func byOthers(f Figure) bool {
	return slices.Contains([]Figure{Before, OutsideBefore, OtherFrameBefore, ResolvedByAge, ResolvedAtRandom, ResolvedBySheets, ResolvedByTruth, ResolvedWeightByAge, ResolvedWeightAtRandom}, f)
}

// checkPerfect sees that every figure is as good as it can be.
func checkPerfect(t *testing.T, tl *Tally, skip ...Figure) {
	t.Helper()
	for f := range numFigures {
		d := &figures[f]
		if byOthers(f) || slices.Contains(skip, f) || tl.Cases(f) == 0 {
			continue
		}
		switch d.kind {
		case share:
			want := 1.0
			if slices.Contains(harm, f) {
				want = 0
			}
			if got := tl.Share(f).Value(); got != want {
				t.Errorf("%s: %s: %v of %d, want %v", d.group, d.name, got, tl.Cases(f), want)
			}
		case promise:
			if got := math.Abs(tl.Share(f).Value() - tl.Promised(f)); got > 1e-9 {
				t.Errorf("%s: %s: promised %v, found %v", d.group, d.name, tl.Promised(f), tl.Share(f).Value())
			}
		default:
			if got := quantile(tl.Values(f), 1); got > 1e-6 {
				t.Errorf("%s: %s: up to %v", d.group, d.name, got)
			}
		}
	}
}

// A program that knows the truth has everything right, on a town written down
// line by line and on made ones.
func TestPerfect(t *testing.T) {
	w := corner()
	tl := w.score(w.perfect())
	// Nobody stood on S1; the map's order of years says nothing here; the readings
	// of jumps and passive signals promise nothing that could be right.
	checkPerfect(t, tl, Resolved, ResolvedAsLines, ResolvedWeight, PromiseBySpacing, PromiseBySpacing+1, PromiseBySpacing+2, BrierBySpacing, BrierBySpacing+1, BrierBySpacing+2)
	for f, want := range map[Figure]int{
		RightAmongUsed: 194, GoodUsed: 194, JumpsWrong: 1, UnmappedApart: 13, PassiveWrong: 1, LabelWrong: 2, SondeUsed: 1,
		RightAt99: 142, RightAt99 + 1: 30, RightAt99 + 2: 22,
		DistortedDistrusted: 1, FloatDistrusted: 1, OutsideFound: 2, OutsidePlace: 2, OutsideLength: 120, SaidLength: 120, WithinFlagged: 3, Undecided: 5, NoLineJudged: 1, UnsurveyedMisjudged: 1,
		AttributedRight: 3, SheetsNamed: 1, SheetsOthersNamed: 2, SheetsInside: 6, SessionsUncheckedInside: 4, WrongBaseNamed: 1, SessionsGoodNamed: 1, SourcesInside: 2,
		LinesMissing: 7, JunctionsOpened: 3, SideChanges: 2, UnmappedFound: 1, NotDetectedFound: 1,
	} {
		if got := tl.Cases(f); got != want {
			t.Errorf("%s: %d cases, want %d", figures[f].name, got, want)
		}
	}
}

func TestPerfectOnMadeTowns(t *testing.T) {
	for _, seed := range []uint64{9101, 9102} {
		made := town(t, seed)
		tl := Score(made.Survey(), &made.Truth, perfect(made.Survey(), &made.Truth))
		// What is surveyed is moved to the truth and what is not is left alone, so
		// that ends come apart.
		checkPerfect(t, tl, OutsideLength, JunctionsOpened, MovedBeyond, SideChanges, Resolved, ResolvedAsLines, ResolvedWeight,
			PromiseBySpacing, PromiseBySpacing+1, PromiseBySpacing+2, BrierBySpacing, BrierBySpacing+1, BrierBySpacing+2)
		if got := tl.Share(OutsideLength).Value(); got < 0.99 { // a bend has two feet
			t.Errorf("seed %d: %v of the length", seed, got)
		}
		if got := tl.Share(Resolved).Value(); got < 2*tl.Share(ResolvedAtRandom).Value() {
			t.Errorf("seed %d: the best order resolves %v", seed, got)
		}
	}
}

// Whoever says nothing finds nothing, and is not let off.
func TestRefusal(t *testing.T) {
	w := corner()
	for name, o := range map[string]*Outcome{"nothing published": newOutcome(), "everything undecided": undecided(w)} {
		tl := w.score(o)
		before := w.score(w.perfect())
		for f := range numFigures {
			d := &figures[f]
			if d.kind != share || slices.Contains(harm, f) || byOthers(f) || f == UnmappedApart {
				continue
			}
			if got := tl.Share(f).Value(); got != 0 {
				t.Errorf("%s: %s: %v", name, d.name, got)
			}
			if never := f == RightAmongUsed || f >= RightAt99 && f < PromiseBySpacing || f == ProfileInside || f == ProfileAtReadings || f == SaidLength || f == CoverInside || f == SheetsError; !never && tl.Cases(f) < before.Cases(f) {
				t.Errorf("%s: %s: %d cases, %d of a program that says something", name, d.name, tl.Cases(f), before.Cases(f))
			}
		}
		if got := tl.Share(Undecided); got.Value() != 1 || got.Of != 5 {
			t.Errorf("%s: %v undecided", name, got)
		}
		if got, want := tl.Values(After), tl.Values(Before); !slices.Equal(got, want) {
			t.Errorf("%s: the map was bettered", name)
		}
	}
	if got := w.score(newOutcome()).Share(UnmappedApart); got.Value() != 0 {
		t.Errorf("%v readings kept apart by saying nothing", got)
	}
	if got := w.score(newOutcome()).Share(LinesMissing); got.Value() != 1 {
		t.Errorf("%v records missing of a map that is not there", got)
	}
}

func undecided(w *tiny) *Outcome {
	o := newOutcome()
	for i := range w.s.Records {
		o.Records[w.s.Records[i].ID] = Record{Position: "undecided", Depth: "undecided", CoverM: math.NaN()}
		o.Lines[w.s.Records[i].ID] = w.s.Records[i].Parts
	}
	for t := range w.truth.Traces {
		for _, rd := range w.truth.Traces[t].Readings {
			o.Readings[At{"field.csv", rd.Row}] = Reading{"W1", "ambiguous", 0.5}
		}
	}
	return o
}

// A program that mixes two records up is caught at every turn.
func TestSwapped(t *testing.T) {
	w := corner()
	o := w.perfect()
	swap := map[string]string{"W1": "G1", "G1": "W1"}
	name := func(n string) string {
		if other, ok := swap[n]; ok {
			return other
		}
		return n
	}
	for at, rd := range o.Readings {
		rd.Record = name(rd.Record)
		o.Readings[at] = rd
	}
	o.Records = renamed(o.Records, name)
	o.Lines = renamed(o.Lines, name)
	o.Profiles = renamed(o.Profiles, name)
	for i := range o.Findings {
		o.Findings[i].Record = name(o.Findings[i].Record)
	}
	tl := w.score(o)
	for f, want := range map[Figure]float64{
		RightAmongUsed: 103.0 / 194, GoodUsed: 103.0 / 194, OutsideFound: 0.5, OutsidePlace: 0.5, OutsideLength: 0.5, SaidLength: 0.5, OutsideMissed: 0.5, WithinFlagged: 1.0 / 3, SideChanges: 0.5,
	} {
		if got := tl.Share(f).Value(); math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %v, want %v", figures[f].name, got, want)
		}
	}
	if got := quantile(tl.Values(After), 1); math.Abs(got-2) > 1e-9 {
		t.Errorf("lines lie %v off, want 2", got)
	}
}

func renamed[V any](m map[string]V, name func(string) string) map[string]V {
	out := map[string]V{}
	for k, v := range maps.All(m) {
		out[name(k)] = v
	}
	return out
}

// Each mistake shows in the figure that is for it, and only as often as it was
// made.
func TestMistakes(t *testing.T) {
	nan := math.NaN()
	reading := func(row int, r Reading) func(*Outcome) {
		return func(o *Outcome) { o.Readings[At{"field.csv", row}] = r }
	}
	record := func(id string, change func(*Record)) func(*Outcome) {
		return func(o *Outcome) {
			r := o.Records[id]
			change(&r)
			o.Records[id] = r
		}
	}
	effect := func(name string, change func(*Effect)) func(*Outcome) {
		return func(o *Outcome) {
			for i := range o.Effects {
				if o.Effects[i].Name == name {
					change(&o.Effects[i])
				}
			}
		}
	}
	line := func(id string, pts ...orb.Point) func(*Outcome) {
		return func(o *Outcome) { o.Lines[id] = orb.MultiLineString{pts} }
	}
	for _, c := range []struct {
		name   string
		spoil  func(*Outcome)
		figure Figure
		hits   float64
	}{
		{"a good reading dropped", func(o *Outcome) { delete(o.Readings, At{"field.csv", 1}) }, GoodUsed, 193},
		{"a good reading on the neighbour", reading(1, Reading{"G1", "used", 1}), GoodUsed, 193},
		{"the same", reading(1, Reading{"G1", "used", 1}), RightAmongUsed, 193},
		{"a good reading distrusted", reading(1, Reading{"", "untrusted", nan}), GoodDistrusted, 1},
		{"the jump used for the line that was meant", reading(6, Reading{"W1", "used", 1}), JumpsWrong, 1},
		{"the jump used for the line that was measured", reading(6, Reading{"G1", "used", 1}), JumpsWrong, 0},
		{"the distorted reading used", reading(9, Reading{"W1", "used", 1}), DistortedDistrusted, 0},
		{"the float trusted", reading(12, Reading{"W1", "used", 1}), FloatDistrusted, 0},
		{"a reading of the unmapped line used", reading(31+61+81+11+1, Reading{"X1", "used", 0.9}), UnmappedApart, 12},
		{"outside said within", record("G1", func(r *Record) { r.Position = "within" }), OutsideMissed, 1},
		{"the same", record("G1", func(r *Record) { r.Position = "within" }), OutsideFound, 1},
		{"within said outside", record("W1", func(r *Record) { r.Position = "outside" }), WithinFlagged, 1},
		{"undecided", record("W1", func(r *Record) { r.Position = "undecided" }), Undecided, 1},
		{"a record dropped", func(o *Outcome) { delete(o.Records, "W1") }, Undecided, 1},
		{"something said of what is not there", record("X1", func(r *Record) { r.Position = "within" }), NoLineJudged, 1},
		{"outside said of what nobody saw", record("S1", func(r *Record) { r.Position = "outside" }), UnsurveyedMisjudged, 1},
		{"within said of what nobody saw", record("S1", func(r *Record) { r.Position = "within" }), UnsurveyedMisjudged, 0},
		{"the finding elsewhere", func(o *Outcome) { o.Findings[0].FromM, o.Findings[0].ToM = 200, 210 }, OutsidePlace, 1},
		{"the finding too short", func(o *Outcome) { o.Findings[0].ToM = 20 }, OutsideLength, 80},
		{"the whole map said outside", func(o *Outcome) {
			o.Findings = append(o.Findings, Finding{Kind: "position", Verdict: "outside", Record: "W1", ToM: 60})
		}, SaidLength, 120},
		{"put down to the field", record("G1", func(r *Record) { r.Attribution = "field" }), AttributedRight, 2},
		{"the same", record("G1", func(r *Record) { r.Attribution = "field" }), AttributedWrong, 1},
		{"the wrong base put down to the map", record("W2", func(r *Record) { r.Attribution = "record" }), AttributedWrong, 1},
		{"called inseparable", record("W2", func(r *Record) { r.Attribution = "inseparable" }), AttributedInseparable, 1},
		{"a good cover flagged", record("W1", func(r *Record) { r.Depth = "outside" }), CoverFlagged, 1},
		{"no cover stated", record("W1", func(r *Record) { r.Depth = "" }), CoverUndecided, 1},
		{"a cover too sure", record("W1", func(r *Record) { r.CoverM = 0.05 }), CoverInside, 4},
		{"the sheet not named", effect("GS", func(e *Effect) { e.Significant = false }), SheetsNamed, 0},
		{"the sheet named the wrong way", effect("GS", func(e *Effect) { e.North = 1 }), SheetsNamed, 0},
		{"a good sheet named", effect("WS", func(e *Effect) { e.Significant = true }), SheetsOthersNamed, 1},
		{"a sheet too sure", effect("GS", func(e *Effect) { e.North += 0.03 }), SheetsInside, 5},
		{"no effects", func(o *Outcome) { o.Effects = nil }, SheetsInside, 0},
		{"no effects", func(o *Outcome) { o.Effects = nil }, WrongBaseNamed, 0},
		{"the wrong base the wrong way", effect("B / 1", func(e *Effect) { e.North = -1 }), WrongBaseNamed, 0},
		{"the good crew named", effect("A / 1", func(e *Effect) { e.Significant = true }), SessionsGoodNamed, 1},
		{"a record lost", func(o *Outcome) { delete(o.Lines, "S1") }, LinesMissing, 1},
		{"the service left behind", line("S1", orb.Point{30, 0.1}, orb.Point{30, 20}), JunctionsOpened, 1},
		{"an end left behind", line("G2", orb.Point{60.02, 2}, orb.Point{120, 2}), JunctionsOpened, 1},
		{"a loop", line("S1", orb.Point{30, 0}, orb.Point{30, 20}, orb.Point{31, 20}, orb.Point{29, 10}), SelfCrossings, 1},
		{"gas put beyond the water", line("G1", orb.Point{0, -1}, orb.Point{60, -1}), SideChanges, 1},
		{"a far vertex moved", line("W1", orb.Point{0, 0}, orb.Point{60, 0}, orb.Point{90, 5}), MovedBeyond, 0},
		{"the unmapped line not told", func(o *Outcome) {
			o.Findings = slices.DeleteFunc(o.Findings, func(f Finding) bool { return f.Kind == "unmapped" })
		}, UnmappedFound, 0},
		{"the empty record not told", func(o *Outcome) {
			o.Findings = slices.DeleteFunc(o.Findings, func(f Finding) bool { return f.Kind == "not_detected" })
		}, NotDetectedFound, 0},
	} {
		w := corner()
		o := w.perfect()
		c.spoil(o)
		if got := w.score(o).Share(c.figure).Hits; got != c.hits {
			t.Errorf("%s: %s: %v, want %v", c.name, figures[c.figure].name, got, c.hits)
		}
	}
}
