package rank

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// town is records of 100 m with a made-up model.
type town struct {
	s  survey.Survey
	js []survey.Judgement
	m  survey.Model
}

// sheet adds one that is off to the north by shiftM with uncertainty u per axis;
// readings 0: nothing was read on it.
func (w *town) sheet(name string, shiftM, u float64, readings int) {
	w.m.Effects = append(w.m.Effects, survey.Effect{
		Kind: survey.EffectSheet, Name: name, Readings: readings, V: survey.Vector{North: shiftM, EE: u * u, NN: u * u},
	})
}

// record adds one, unsurveyed, that runs east on the last sheet.
func (w *town) record(id, utility string) {
	y := 10 * float64(len(w.s.Records))
	w.add(id, utility, orb.LineString{{0, y}, {100, y}})
}

func (w *town) add(id, utility string, line orb.LineString) {
	k := len(w.m.Effects) - 1
	name, shift := "", 0.0
	if k >= 0 {
		name, shift = w.m.Effects[k].Name, w.m.Effects[k].V.North
	}
	w.s.Records = append(w.s.Records, survey.Record{Source: "map", ID: id, Utility: utility, Sheet: name, Scale: 1, Parts: orb.MultiLineString{line}})
	w.m.Sheet = append(w.m.Sheet, k)
	length := math.Hypot(line[1][0]-line[0][0], line[1][1]-line[0][1])
	node := func(m float64, v int) survey.Node {
		return survey.Node{StationM: m, Vertex: v, D: survey.Vector{North: shift}}
	}
	w.m.Profiles = append(w.m.Profiles, survey.Profile{Nodes: []survey.Node{node(0, 0), node(length, 1)}})
	w.js = append(w.js, survey.Judgement{Record: len(w.js), LengthM: length, Tolerance: survey.Tolerance{HorizontalM: 0.5}, Position: survey.VerdictUnsurveyed})
}

// read surveys the last record between two stations: it lies offsetM to the left.
func (w *town) read(fromM, toM, offsetM float64) {
	r := len(w.js) - 1
	var nodes []survey.Node
	for at := fromM; at <= toM; at += 5 {
		nodes = append(nodes, survey.Node{StationM: at, Vertex: -1, D: survey.Vector{North: offsetM}, OffsetM: -offsetM, OffsetU: 0.02, Readings: 1})
	}
	w.m.Profiles[r].Nodes = nodes
	w.js[r].Stretches = append(w.js[r].Stretches, survey.Stretch{FromM: fromM, ToM: toM, Verdict: survey.VerdictWithin})
}

func (w *town) rank(o Options) []survey.Resurvey {
	rs, _ := Stretches(&w.s, w.js, &w.m, o)
	return rs
}

func options() Options {
	return Options{
		Mobilisation: 400, PerKm: 1800, PackageM: 3000, AreaM: 1000, SettledM: 0.1, MaxGapM: 10,
		SheetM: 0.12, FarSheetM: 1.2, FarShare: 0.15, OwnM: 0.15, OwnNu: 4, LocalM: 0.25,
	}
}

func TestTheLikeliestAndWeightiestFirst(t *testing.T) {
	var w town
	w.sheet("A", 0, 0.02, 50)
	w.record("fine", "water")
	w.sheet("B", 0.9, 0.5, 5)
	w.record("shifted", "water")
	w.sheet("C", 0, 0.3, 5)
	w.record("unknown", "water")
	w.sheet("D", 0, 0.3, 5)
	w.record("gas", "gas")
	o := options()
	o.Consequences = []Consequence{{Utility: "gas", Weight: 5}}
	rs := w.rank(o)
	want := []string{"gas", "shifted", "unknown", "fine"}
	for i, r := range rs {
		if got := w.s.Records[r.Record].ID; got != want[i] {
			t.Errorf("rank %d is %s, want %s", r.Rank, got, want[i])
		}
	}
	if a, b := rs[0], rs[2]; a.Weight != 5 || math.Abs(a.Benefit-5*b.Benefit) > 1e-9 || a.Probability != b.Probability {
		t.Errorf("gas %+v, water %+v: five times the benefit wanted", a, b)
	}
}

func TestOnlyWhatHasNoEvidence(t *testing.T) {
	var w town
	w.sheet("A", 0.8, 0.05, 50)
	w.record("half", "water")
	w.read(0, 55, 0.8)
	w.js[0].Stretches = append(w.js[0].Stretches, survey.Stretch{FromM: 57, ToM: 70})
	o := options()
	o.Mobilisation, o.PerKm = 0, 1000
	rs := w.rank(o)
	if len(rs) != 1 || rs[0].FromM != 70 || rs[0].ToM != 100 {
		t.Fatalf("stretches %+v, want one from 70 to 100 (a gap of 2 m is no visit)", rs)
	}
	if rs[0].Cost != 30 || rs[0].CumulativeCost != 30 {
		t.Errorf("cost %v, cumulative %v, want 30", rs[0].Cost, rs[0].CumulativeCost)
	}
}

// What is left of a record whose other part lies 0.8 m off is likely off too,
// whatever its sheet says.
func TestBesideASurveyedPart(t *testing.T) {
	var w town
	w.sheet("A", 0, 0.02, 50)
	w.record("half", "water")
	w.read(0, 60, 0.8)
	w.record("other", "water")
	rs := w.rank(options())
	if id := w.s.Records[rs[0].Record].ID; id != "half" || rs[0].Probability < 0.85 || !strings.Contains(rs[0].Reason, "beside it lies 0.80 m off") {
		t.Errorf("first is %s: %+v", id, rs[0])
	}
	if rs[1].Probability > 0.4 {
		t.Errorf("the other record is promised %.2f", rs[1].Probability)
	}
}

// Ten lines of one sheet that may be far off are settled by the first few: another
// sheet's comes before the rest of them.
func TestTwoTraversesNotTen(t *testing.T) {
	var w town
	w.sheet("bad", 1.5, 0.6, 5)
	for i := range 10 {
		w.record(fmt.Sprint("bad", i), "water")
	}
	w.sheet("worse", 1.2, 0.6, 5)
	w.record("other", "water")
	rs := w.rank(options())
	if rs[0].Benefit < 250 {
		t.Errorf("the first line resolves %.0f m, want more than two lines' length", rs[0].Benefit)
	}
	if !strings.Contains(rs[0].Reason, "other stretches of the sheet") {
		t.Errorf("reason %q", rs[0].Reason)
	}
	for i, r := range rs {
		if w.s.Records[r.Record].ID == "other" && i > 3 {
			t.Errorf("the other sheet's line comes as rank %d", r.Rank)
		}
		if i > 3 && r.Benefit > rs[0].Benefit/4 {
			t.Errorf("rank %d still resolves %.0f m", r.Rank, r.Benefit)
		}
	}
}

// A line across the others tells nothing of what lies across them.
func TestATraverseTheOtherWay(t *testing.T) {
	var w town
	w.sheet("bad", 1.5, 0.6, 5)
	for i := range 5 {
		w.record(fmt.Sprint("east", i), "water")
	}
	w.add("north", "water", orb.LineString{{200, 0}, {200, 100}})
	rs := w.rank(options())
	for _, r := range rs {
		id := w.s.Records[r.Record].ID
		if shares := strings.Contains(r.Reason, "other stretches"); id == "north" && shares {
			t.Errorf("north: %s", r.Reason)
		}
	}
	if id := w.s.Records[rs[0].Record].ID; id == "north" {
		t.Error("the line across comes first")
	}
}

// Costs add up, packages stay within a crew's day and one area, and what is in
// the budget comes first.
func TestMoney(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var w town
		for i := range rapid.IntRange(1, 12).Draw(rt, "records") {
			if i%4 == 0 {
				w.sheet(fmt.Sprint(i), rapid.Float64Range(-1, 1).Draw(rt, "shift"), rapid.Float64Range(0.05, 1).Draw(rt, "u"), rapid.IntRange(0, 9).Draw(rt, "readings"))
			}
			x := 2000 * float64(rapid.IntRange(0, 2).Draw(rt, "area"))
			w.add(fmt.Sprint("r", i), "water", orb.LineString{{x, float64(i)}, {x + 100, float64(i)}})
		}
		o := options()
		o.Budget, o.Mobilisation, o.PerKm, o.PackageM = 2000, 300, 2000, 250
		o.ControlShare = rapid.SampledFrom([]float64{0, 0.2, 1}).Draw(rt, "control")
		rs := w.rank(o)
		if len(rs) != len(w.s.Records) {
			rt.Fatalf("%d stretches of %d unsurveyed records", len(rs), len(w.s.Records))
		}
		spent, length, west := 0.0, map[int]float64{}, map[int]float64{}
		seen := map[int]bool{}
		for i, r := range rs {
			spent += r.Cost
			if r.Rank != i+1 || math.Abs(r.CumulativeCost-spent) > 1e-6 {
				rt.Fatalf("rank %d cumulative %.3f, want %d and %.3f", r.Rank, r.CumulativeCost, i+1, spent)
			}
			if r.InBudget != (spent <= o.Budget) {
				rt.Fatalf("rank %d in the budget %v at %.2f", r.Rank, r.InBudget, spent)
			}
			if r.Benefit < -1e-9 || r.Probability < 0 || r.Probability > 1 || r.Reason == "" || seen[r.Record] {
				rt.Fatalf("%+v", r)
			}
			seen[r.Record] = true
			x := w.s.Records[r.Record].Parts[0][0][0]
			if first, ok := west[r.Package]; ok && first != x {
				rt.Fatalf("package %d spans two areas", r.Package)
			}
			west[r.Package] = x
			if length[r.Package] += r.LengthM; length[r.Package] > o.PackageM+100 || o.ControlShare == 0 && length[r.Package] > o.PackageM {
				rt.Fatalf("package %d is %.0f m long", r.Package, length[r.Package])
			}
		}
	})
}

// Neither the order of the records nor a second run changes anything.
func TestAnyOrder(t *testing.T) {
	w := city(600)
	o := options()
	o.ControlShare = 0.1
	name := func(w *town, rs []survey.Resurvey) []string {
		var out []string
		for _, r := range rs {
			out = append(out, fmt.Sprintf("%d %s %v %v %v %s", r.Package, w.s.Records[r.Record].ID, r.Probability, r.Benefit, r.CumulativeCost, r.Reason))
		}
		return out
	}
	rs, cs := Stretches(&w.s, w.js, &w.m, o)
	mixed := town{m: survey.Model{Effects: w.m.Effects}}
	for _, r := range rand.New(rand.NewPCG(3, 4)).Perm(len(w.js)) {
		mixed.s.Records, mixed.js = append(mixed.s.Records, w.s.Records[r]), append(mixed.js, w.js[r])
		mixed.m.Profiles, mixed.m.Sheet = append(mixed.m.Profiles, w.m.Profiles[r]), append(mixed.m.Sheet, w.m.Sheet[r])
	}
	again, others := Stretches(&mixed.s, mixed.js, &mixed.m, o)
	a, b := name(w, rs), name(&mixed, again)
	for i := range a {
		if a[i] != b[i] {
			t.Fatalf("rank %d: %s\nthen %s", i+1, a[i], b[i])
		}
	}
	if !reflect.DeepEqual(cs, others) {
		t.Errorf("calibrated %+v\nthen %+v", cs, others)
	}
}

// The control sample has its share of every package, and is another one with
// another seed.
func TestControlSample(t *testing.T) {
	w := city(600)
	o := options()
	if slices := w.rank(o); len(slices) > 0 && slices[0].Control {
		t.Error("a control sample that nobody asked for")
	}
	o.ControlShare = 0.2
	drawn := func(seed int64) map[int]bool {
		o.Seed = seed
		out := map[int]bool{}
		control, length := 0.0, 0.0
		for _, r := range w.rank(o) {
			if r.Package != 1 {
				break
			}
			length += r.LengthM
			if r.Control {
				control += r.LengthM
				out[r.Record] = true
			}
		}
		if control < 0.2*o.PackageM || control > 0.2*o.PackageM+40 {
			t.Errorf("%.0f m of %.0f m are drawn at random", control, length)
		}
		return out
	}
	if a, b := drawn(1), drawn(2); reflect.DeepEqual(a, b) {
		t.Error("two seeds draw the same")
	}
}

// On a town that is as the model says, promises hold.
func TestPromisesHold(t *testing.T) {
	w := city(9000)
	_, cs := Stretches(&w.s, w.js, &w.m, options())
	if len(cs) != 2 {
		t.Fatalf("%d tables", len(cs))
	}
	for _, c := range cs {
		for k, d := range c.Tenths {
			if d.Cases >= 200 && math.Abs(d.Promised-d.Found) > 0.06 {
				t.Errorf("%s left out: %d0 %%: promised %.3f, found %.3f of %d", c.LeftOut, k, d.Promised, d.Found, d.Cases)
			}
		}
		if c.Cases < 1000 || c.Brier >= 1.05*c.Uncertainty || c.LeftOut == survey.LeftOutRecord && c.Brier > 0.7*c.Uncertainty {
			t.Errorf("%s left out: %d cases, Brier score %.3f of %.3f", c.LeftOut, c.Cases, c.Brier, c.Uncertainty)
		}
	}
}
