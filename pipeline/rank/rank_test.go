package rank

import (
	"math"
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

// record adds one, off by offsetM with uncertainty u all along.
func (w *town) record(id, utility, sheet string, offsetM, u float64) *survey.Judgement {
	y := 10 * float64(len(w.s.Records))
	w.s.Records = append(w.s.Records, survey.Record{
		Source: "map", ID: id, Utility: utility, Sheet: sheet, Scale: 1, Parts: orb.MultiLineString{{{0, y}, {100, y}}},
	})
	node := func(m float64, v int) survey.Node {
		return survey.Node{StationM: m, Vertex: v, OffsetM: offsetM, OffsetU: u}
	}
	w.m.Profiles = append(w.m.Profiles, survey.Profile{Nodes: []survey.Node{node(0, 0), node(100, 1)}})
	w.js = append(w.js, survey.Judgement{Record: len(w.js), LengthM: 100, Tolerance: survey.Tolerance{HorizontalM: 0.5}, Position: survey.VerdictUnsurveyed})
	return &w.js[len(w.js)-1]
}

func (w *town) rank(o Options) []survey.Resurvey { return Stretches(&w.s, w.js, &w.m, o) }

func TestTheLikeliestAndWeightiestFirst(t *testing.T) {
	var w town
	w.record("fine", "water", "A", 0, 0.1)
	w.record("shifted", "water", "B", 0.8, 0.1)
	w.record("unknown", "water", "C", 0, 0.5)
	w.record("gas", "gas", "D", 0, 0.5)
	rs := w.rank(Options{Mobilisation: 400, PerKm: 1800, Consequences: []Consequence{{Utility: "gas", Weight: 5}}})
	want := []string{"gas", "shifted", "unknown", "fine"}
	for i, r := range rs {
		if got := w.s.Records[r.Record].ID; got != want[i] {
			t.Errorf("rank %d is %s, want %s", r.Rank, got, want[i])
		}
	}
	// 0.5 m at u 0.5 m, two-sided: 2 (1 - Phi(1)) = 0.3173 (normal table).
	if p := rs[2].Probability; math.Abs(p-0.3173) > 1e-4 {
		t.Errorf("probability %.4f, want 0.3173", p)
	}
	if rs[0].Benefit <= rs[1].Benefit*5*0.3173*0.99 || rs[0].Weight != 5 {
		t.Errorf("gas has benefit %.1f weight %v", rs[0].Benefit, rs[0].Weight)
	}
}

func TestOnlyWhatHasNoEvidence(t *testing.T) {
	var w town
	j := w.record("half", "water", "A", 0.8, 0.1)
	j.Position = survey.VerdictOutside
	j.Stretches = []survey.Stretch{{FromM: 0, ToM: 55}, {FromM: 57, ToM: 70}}
	rs := w.rank(Options{PerKm: 1000})
	if len(rs) != 1 || rs[0].FromM != 70 || rs[0].ToM != 100 {
		t.Fatalf("stretches %+v, want one from 70 to 100 (a gap of 2 m is no visit)", rs)
	}
	if rs[0].Cost != 30 || rs[0].CumulativeCost != 30 {
		t.Errorf("cost %v, cumulative %v, want 30", rs[0].Cost, rs[0].CumulativeCost)
	}
}

// Costs add up, packages stay within a crew's day and one sheet, and what is in
// the budget comes first.
func TestMoney(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var w town
		for i := range rapid.IntRange(1, 12).Draw(rt, "records") {
			w.record(string(rune('a'+i)), "water", rapid.SampledFrom([]string{"A", "B", ""}).Draw(rt, "sheet"),
				rapid.Float64Range(-1, 1).Draw(rt, "offset"), rapid.Float64Range(0.05, 1).Draw(rt, "u"))
		}
		o := Options{Budget: 2000, Mobilisation: 300, PerKm: 2000, PackageM: 250}
		rs := w.rank(o)
		if len(rs) != len(w.s.Records) {
			rt.Fatalf("%d stretches of %d unsurveyed records", len(rs), len(w.s.Records))
		}
		spent, length, sheet := 0.0, map[int]float64{}, map[int]string{}
		for i, r := range rs {
			spent += r.Cost
			if r.Rank != i+1 || math.Abs(r.CumulativeCost-spent) > 1e-6 {
				rt.Fatalf("rank %d cumulative %.3f, want %d and %.3f", r.Rank, r.CumulativeCost, i+1, spent)
			}
			if r.InBudget && r.CumulativeCost > o.Budget+1e-6 {
				rt.Fatalf("rank %d is in the budget at %.2f", r.Rank, r.CumulativeCost)
			}
			if i > 0 && r.InBudget && !rs[i-1].InBudget {
				rt.Fatalf("rank %d is in the budget behind one that is not", r.Rank)
			}
			group := w.s.Records[r.Record].Sheet
			if group == "" {
				group = w.s.Records[r.Record].Key()
			}
			if known, ok := sheet[r.Package]; ok && known != group {
				rt.Fatalf("package %d spans %s and %s", r.Package, known, group)
			}
			sheet[r.Package] = group
			if length[r.Package] += r.LengthM; length[r.Package] > o.PackageM {
				rt.Fatalf("package %d is %.0f m long", r.Package, length[r.Package])
			}
		}
	})
}
