package match

import (
	"maps"
	"reflect"
	"slices"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"

	"github.com/asfound/asfound/pipeline/survey"
)

// drawModel is what an adjustment may have found of sheets, sessions and sources;
// nil now and then.
func drawModel(t *rapid.T, s *survey.Survey) *survey.Model {
	if rapid.Bool().Draw(t, "first round") {
		return nil
	}
	m := &survey.Model{}
	add := func(kind survey.EffectKind, names map[string]int32) {
		for _, name := range slices.Sorted(maps.Keys(names)) {
			v := survey.Vector{
				East: rapid.Float64Range(-2, 2).Draw(t, name+" east"), North: rapid.Float64Range(-2, 2).Draw(t, name+" north"),
				EE: 0.01, NN: 0.02,
			}
			m.Effects = append(m.Effects, survey.Effect{Kind: kind, Name: name, Readings: 9, Checks: rapid.IntRange(0, 1).Draw(t, name+" checks"), V: v})
		}
	}
	add(survey.EffectSheet, sheetNames(s.Records))
	add(survey.EffectSession, sessionNames(s.Traces))
	return m
}

// A ground that has served some rounds matches as one made anew.
func TestGroundServesEveryRound(t *testing.T) {
	rivals := 0
	rapid.Check(t, func(t *rapid.T) {
		records, firsts := streets(4, rapid.Float64Range(0.6, 1.6).Draw(t, "apart"))
		for i := range records {
			records[i].Sheet = "S"
		}
		east, north := rapid.Float64Range(-1.5, 1.5).Draw(t, "east"), rapid.Float64Range(-1.5, 1.5).Draw(t, "north")
		s := town(records, walked(records, firsts[:rapid.IntRange(3, len(firsts)).Draw(t, "walks")], "s", east, north)...)
		s.Marks = painted("1", "gas", orb.Point{10, east}, orb.Point{90, east}, 8)
		ground := Prepare(s, withWorkers(2))
		for _, v := range ground.layout.sheets {
			if v.supported && len(v.shifts) > 1 {
				rivals++
			}
		}
		for range 3 {
			prior := drawModel(t, s)
			fresh := Prepare(s, withWorkers(1))
			got, want := append(ground.Traces(prior), ground.Marks(prior)), append(fresh.Traces(prior), fresh.Marks(prior))
			for i := range want {
				for k := range want[i] {
					if !same(got[i][k], want[i][k]) {
						t.Fatalf("trace %d, reading %d: %+v, made anew %+v", i, k, got[i][k], want[i][k])
					}
				}
			}
		}
	})
	if rivals == 0 {
		t.Error("no sheet had two places, of which a round might have spoilt one")
	}
}

func TestMedianEqualsSorting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.SampledFrom([]float64{-2, -1, -0.5, 0, 0.1, 0.2, 3, 4, 5, 7}), 1, 40).Draw(t, "values")
		sorted := slices.Sorted(slices.Values(v))
		want := (sorted[len(v)/2] + sorted[(len(v)-1)/2]) / 2
		if got := median(v); got != want {
			t.Fatalf("median %v, sorted %v gives %v", got, sorted, want)
		}
	})
}

// What came of votes before changes nothing of those after.
func TestMemoryChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		records, firsts := streets(4, rapid.Float64Range(0.6, 1.6).Draw(t, "apart"))
		east, north := rapid.Float64Range(-1.5, 1.5).Draw(t, "east"), rapid.Float64Range(-1.5, 1.5).Draw(t, "north")
		s := town(records, walked(records, firsts, "s", east, north)...)
		sheets, sessions := sheetNames(s.Records), sessionNames(s.Traces)
		ss := newNetwork(s, sheets, ordinary).samples(s, sessions, voteM, 1)
		used := make(memory, len(sheets))
		want := newLayout(ss, len(sessions), used, ordinary)
		if got := newLayout(ss, len(sessions), used, ordinary); !reflect.DeepEqual(got, want) {
			t.Fatalf("with a memory %+v, without %+v", got, want)
		}
	})
}

// Leaving out what leads back only changes no route.
func TestDeadEndsAreOnNoRoute(t *testing.T) {
	routes := 0
	rapid.Check(t, func(t *rapid.T) {
		s := drawTown(t, 8)
		n := newNetwork(s, sheetNames(s.Records), ordinary)
		n.meet(ordinary)
		w := n.join(newPriors(emptyLayout(len(sheetNames(s.Records)), 0), n, nil, sheetNames(s.Records), nil, nil, ordinary), ordinary)
		all := *w
		all.only = slices.Repeat([]int32{-1}, len(n.records))
		var cands []candidate
		for i := range s.Traces[0].Readings {
			cands = n.candidates(s.Traces[0].Readings[i].Point, ordinary.SearchRadiusM, &vicinity{}, nil, cands)
		}
		for i := range cands {
			for k := range cands {
				a, z := &cands[i], &cands[k]
				if a.rec == z.rec {
					continue
				}
				doors := w.jointsWithin(z, 60)
				got, found := w.route(a, z, doors, 50)
				want, there := all.route(a, z, doors, 50)
				if found != there || got != want {
					t.Fatalf("from %+v to %+v: %+v %v, by every joint %+v %v", a, z, got, found, want, there)
				}
				if found {
					routes++
				}
			}
		}
	})
	if routes == 0 {
		t.Error("no two records were connected")
	}
}
