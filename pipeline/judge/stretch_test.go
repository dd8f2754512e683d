package judge

import (
	"math"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
	"pgregory.net/rapid"
)

func testOptions() Options {
	return Options{Confidence: 0.95, MinStretchM: 3, MaxGapM: 10, Default: Limits{HorizontalM: 0.5, DepthM: 0.3, Words: "default"}}
}

// profile is a straight profile with a reading at every node, its draws all at
// the given offsets plus u times a common normal quantile.
func profile(step float64, u float64, offsets ...float64) drawn {
	p := drawn{Profile: &survey.Profile{}}
	for i, v := range offsets {
		p.Nodes = append(p.Nodes, survey.Node{StationM: float64(i) * step, Vertex: -1, OffsetM: v, OffsetU: u, Readings: 1})
	}
	p.Shares.Readings = len(offsets)
	const n = 399
	for k := range n {
		z := math.Sqrt2 * math.Erfinv(2*(float64(k)+0.5)/n-1)
		var row []float32
		for _, v := range offsets {
			row = append(row, float32(v+u*z))
		}
		p.draws = append(p.draws, row)
	}
	return p
}

func judged(p drawn) *survey.Judgement {
	j := &survey.Judgement{Tolerance: survey.Tolerance{HorizontalM: 0.5}, Position: survey.VerdictUnsurveyed}
	judgePosition(j, p, testOptions())
	return j
}

func TestVerdictOfARecord(t *testing.T) {
	tests := []struct {
		name                       string
		p                          drawn
		want                       survey.Verdict
		outside, within, undecided float64
	}{
		{"well within", profile(2, 0.03, 0, 0.1, 0.2, 0.1, 0), survey.VerdictWithin, 0, 8, 0},
		{"well outside", profile(2, 0.03, 0.9, 0.9, 0.9, 0.9, 0.9), survey.VerdictOutside, 8, 0, 0},
		{"left is as bad as right", profile(2, 0.03, -0.9, -0.9, -0.9), survey.VerdictOutside, 4, 0, 0},
		{"too uncertain", profile(2, 0.3, 0.5, 0.5, 0.5, 0.5, 0.5), survey.VerdictUndecided, 0, 0, 8},
		{"a spike shorter than a stretch", profile(1, 0.03, 0, 0, 0.9, 0, 0, 0), survey.VerdictWithin, 0, 5, 0},
		{"half outside", profile(2, 0.01, 0, 0, 0, 0, 0.9, 0.9, 0.9, 0.9, 0.9), survey.VerdictOutside, 8, 6, 2},
		{"from side to side", profile(2, 0.01, 0.9, 0.9, 0.9, -0.9, -0.9, -0.9), survey.VerdictOutside, 10, 0, 0},
		{"from side to side at once", profile(2, 0.01, 0.9, 0.9, -0.9, -0.9), survey.VerdictWithin, 0, 6, 0},
		{"one reading", profile(2, 0.03, 0.9), survey.VerdictUnsurveyed, 0, 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			j := judged(tt.p)
			if j.Position != tt.want {
				t.Errorf("position %q (p %.3f), want %q", j.Position, j.Probability, tt.want)
			}
			got := [3]float64{j.OutsideM, j.WithinM, j.UndecidedM}
			for i, want := range [3]float64{tt.outside, tt.within, tt.undecided} {
				if math.Abs(got[i]-want) > 2.01 { // the border between two nodes is a node
					t.Errorf("outside, within, undecided %v m, want %v %v %v", got, tt.outside, tt.within, tt.undecided)
				}
			}
		})
	}
}

// One normal quantity against a limit is the case that JCGM 106:2012 clause 7
// tabulates: the draws must give its conformance probability.
func TestDrawsGiveTheConformanceProbability(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := rapid.Float64Range(0.2, 0.8).Draw(rt, "offset")
		u := rapid.Float64Range(0.01, 0.2).Draw(rt, "u")
		j := judged(profile(2, u, v, v, v, v))
		if want := beyond(v, u, 0.5); math.Abs(j.Probability-want) > 0.005 {
			rt.Fatalf("probability %.4f, want %.4f", j.Probability, want)
		}
	})
}

func TestLengthsAddUp(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		offsets := rapid.SliceOfN(rapid.Float64Range(-1.2, 1.2), 2, 40).Draw(rt, "offsets")
		p := profile(rapid.Float64Range(0.5, 15).Draw(rt, "step"), rapid.Float64Range(0.01, 0.3).Draw(rt, "u"), offsets...)
		j := judged(p)
		if sum := j.OutsideM + j.WithinM + j.UndecidedM; math.Abs(sum-j.CoveredM) > 1e-6 {
			rt.Fatalf("outside %.3f + within %.3f + undecided %.3f is not the covered %.3f", j.OutsideM, j.WithinM, j.UndecidedM, j.CoveredM)
		}
		found := j.Position == survey.VerdictUnsurveyed
		for _, st := range j.Stretches {
			found = found || st.Verdict == j.Position
			if st.Verdict == survey.VerdictOutside && j.Position != survey.VerdictOutside {
				rt.Fatalf("record %s with a stretch outside", j.Position)
			}
		}
		if !found {
			rt.Fatalf("record %s has no such stretch: %+v", j.Position, j.Stretches)
		}
	})
}

func TestGapsAreNotBridged(t *testing.T) {
	p := profile(5, 0.02, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
	for i := 2; i < 10; i++ {
		p.Nodes[i].Readings = 0 // readings at 0, 5 and 50 m
	}
	if j := judged(p); j.CoveredM != 15+10 {
		t.Errorf("covered %.1f m, want 0 to 15 and 40 to 50", j.CoveredM)
	}
}
