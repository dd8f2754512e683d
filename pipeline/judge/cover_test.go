package judge

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// covered judges a record of 40 m, read from end to end, with a recorded cover
// and what the model adds to it at stations, against 0.6 m.
func covered(recordedM float64, o Options, nodes ...survey.CoverNode) []survey.Finding {
	s := &survey.Survey{Records: []survey.Record{{ID: "G1", Utility: "gas", CoverM: recordedM, DiameterM: 0.1, Scale: 1, Parts: line(0, 0, 40, 0)}}}
	p := profile(4, 0.05, make([]float64, 11)...)
	p.Cover = survey.Cover{Readings: 11, DifferenceM: nodes[0].DifferenceM, U: nodes[0].U, Nodes: nodes}
	if len(nodes) == 1 {
		p.Cover.Nodes = nil
	}
	l := lineref.New(s.Records[0].Parts, 1)
	j := survey.Judgement{LengthM: 40}
	return coverFindings(s, &l, &survey.Model{Profiles: []survey.Profile{*p.Profile}}, &j, &CoverRule{MinimumM: 0.6, Law: "Table 1, class 2"}, o)
}

func TestMinimumCover(t *testing.T) {
	const u = 0.05
	flat := func(difference float64) []survey.CoverNode {
		return []survey.CoverNode{{StationM: 0, DifferenceM: difference, U: u}, {StationM: 40, DifferenceM: difference, U: u}}
	}
	// 1.0 m recorded; over 12 m, 14 to 26, the field has it 0.5 m shallower.
	at := func(pairs ...float64) (out []survey.CoverNode) { // station, difference, ...
		for k := 0; k < len(pairs); k += 2 {
			out = append(out, survey.CoverNode{StationM: pairs[k], DifferenceM: pairs[k+1], U: u})
		}
		return out
	}
	dip := at(0, 0, 10, 0, 14, -0.5, 26, -0.5, 30, 0, 40, 0)
	spike := at(0, 0, 19.5, 0, 20, -0.6, 20.5, 0, 40, 0)
	tests := []struct {
		name               string
		recordedM          float64
		nodes              []survey.CoverNode
		want               survey.Verdict
		fromM, toM, coverM float64
		p                  float64
	}{
		{"deep enough", 1, flat(0), "", 0, 0, 0, 0},
		{"the record has too little, the field enough", 0.4, flat(0.5), "", 0, 0, 0, 0},
		{"the record has enough, the field too little", 1, flat(-0.5), survey.VerdictOutside, 0, 40, 0.5, estimate.NormalCDF(2)},
		{"the data cannot tell", 1, flat(-0.4), survey.VerdictUndecided, 0, 40, 0.6, 0.5},
		{"a dip, from 13.1 m to 26.9 m surely under", 1, dip, survey.VerdictOutside, 14, 26, 0.5, estimate.NormalCDF(2)},
		{"a dip shorter than a stretch", 1, spike, "", 0, 0, 0, 0},
		{"none recorded", math.NaN(), flat(0.5), survey.VerdictOutside, 0, 40, 0.5, estimate.NormalCDF(2)},
		{"a mean only", 1, []survey.CoverNode{{DifferenceM: -0.5, U: u}}, survey.VerdictOutside, 0, 40, 0.5, estimate.NormalCDF(2)},
	}
	for _, tt := range tests {
		fs := covered(tt.recordedM, testOptions(), tt.nodes...)
		if tt.want == "" {
			if len(fs) > 0 {
				t.Errorf("%s: %+v", tt.name, fs)
			}
			continue
		}
		if len(fs) != 1 {
			t.Errorf("%s: %d findings", tt.name, len(fs))
			continue
		}
		f := fs[0]
		near := func(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }
		if f.Kind != survey.KindCover || f.Verdict != tt.want || !near(f.FromM, tt.fromM, 1) || !near(f.ToM, tt.toM, 1) ||
			!near(f.OffsetM, tt.coverM-0.6, 1e-9) || !near(f.Probability, tt.p, 1e-9) || f.ToleranceM != 0.6 || f.Basis != "Table 1, class 2" {
			t.Errorf("%s: %+v", tt.name, f)
		}
		if !strings.Contains(f.Sentence, "The local code decides") || !strings.Contains(f.Sentence, "Table 1, class 2 asks for 0.60 m") {
			t.Errorf("%s: %s", tt.name, f.Sentence)
		}
		if undecided := f.Verdict == survey.VerdictUndecided; undecided != (f.Sentence != "" && strings.Contains(f.Sentence, "would decide it")) {
			t.Errorf("%s: %s", tt.name, f.Sentence)
		}
	}
}

// What is undecided says in ILAC-G8's words on which side of the limit it lies.
func TestConditionalWords(t *testing.T) {
	for difference, want := range map[float64]string{-0.38: "a conditional pass in the words of ILAC-G8:09/2019, 4.2.3", -0.42: "a conditional fail in the words of ILAC-G8:09/2019, 4.2.3"} {
		fs := covered(1, testOptions(), survey.CoverNode{DifferenceM: difference, U: 0.05})
		if len(fs) != 1 || !strings.Contains(fs[0].Sentence, want) {
			t.Errorf("cover %.2f m of 0.60 m: %+v, want %q", 1+difference, fs, want)
		}
	}
}

// One cover for the whole record is the case that JCGM 106:2012, 7.3, has: the
// probability of a finding is that of one normal quantity under one limit.
func TestCoverIsAConformanceProbability(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		cover, u := rapid.Float64Range(0.4, 0.8).Draw(rt, "cover"), rapid.Float64Range(0.01, 0.2).Draw(rt, "u")
		p := estimate.Conformance(cover, u, math.Inf(-1), 0.6)
		o := testOptions()
		fs := covered(1, o, survey.CoverNode{DifferenceM: cover - 1, U: u})
		if want := o.verdict(p); want == survey.VerdictWithin {
			if len(fs) > 0 {
				rt.Fatalf("p %v: %+v", p, fs)
			}
		} else if len(fs) != 1 || fs[0].Verdict != want || math.Abs(fs[0].Probability-p) > 1e-9 {
			rt.Fatalf("p %v: %+v, want %s", p, fs, want)
		}
	})
}
