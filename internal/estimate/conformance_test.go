package estimate

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestJCGM106(t *testing.T) {
	var p struct {
		Source      string
		Conformance []struct {
			Y, U, P   float64
			Low, High *float64
		}
		Speed struct {
			Limit       float64
			RelativeU   float64 `json:"relative_u"`
			Confidence  float64
			RejectAbove float64 `json:"reject_above"`
		}
		Z [][2]float64
	}
	published(t, "jcgm106.json", &p)
	for _, c := range p.Conformance {
		low, high := math.Inf(-1), math.Inf(1)
		if c.Low != nil {
			low = *c.Low
		}
		if c.High != nil {
			high = *c.High
		}
		near(t, p.Source, "conformance probability", Conformance(c.Y, c.U, low, high), c.P, 0.005)
	}
	for _, z := range p.Z {
		near(t, p.Source, "guard band in standard deviations", GuardBand(1, z[0]), z[1], 0.005)
	}
	// A speed reads v with u = 2 % of v: the least v with limit + guard band <= v.
	s, v := p.Speed, p.Speed.Limit
	for range 100 {
		v = s.Limit + GuardBand(s.RelativeU*v, s.Confidence)
	}
	near(t, p.Source, "speed to reject above", math.Ceil(v), s.RejectAbove, 0)
	if over := 1 - Conformance(v, s.RelativeU*v, math.Inf(-1), s.Limit); math.Abs(over-s.Confidence) > 1e-9 {
		t.Errorf("%s: at that speed the limit is exceeded with probability %v", p.Source, over)
	}
}

func TestConformanceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y, u := rapid.Float64Range(-50, 50).Draw(t, "y"), rapid.Float64Range(1e-3, 20).Draw(t, "u")
		low := rapid.Float64Range(-10, 10).Draw(t, "low")
		high := low + rapid.Float64Range(0, 10).Draw(t, "width")
		inside := Conformance(y, u, low, high)
		below, above := Conformance(y, u, math.Inf(-1), low), Conformance(y, u, high, math.Inf(1))
		if math.Abs(inside+below+above-1) > 1e-12 {
			t.Fatalf("%v + %v + %v is not 1", below, inside, above)
		}
		if mirrored := Conformance(-y, u, -high, -low); math.Abs(mirrored-inside) > 1e-15 {
			t.Fatalf("mirrored %v, not %v", mirrored, inside)
		}
		p := rapid.Float64Range(1e-6, 1-1e-6).Draw(t, "p")
		if back := NormalCDF(NormalQuantile(p)); math.Abs(back-p) > 1e-14 {
			t.Fatalf("quantile of %v gives back %v", p, back)
		}
	})
	if p := Conformance(3, 0, 0, 3); p != 1 {
		t.Errorf("without uncertainty, on the limit: %v", p)
	}
	if p := Conformance(30, 1, 0, 1); !(p > 0) {
		t.Errorf("a far tail vanishes: %v", p)
	}
}

func TestILACG8(t *testing.T) {
	var p struct {
		Source         string
		FalsePassBelow float64 `json:"false_pass_below"`
		K              float64 `json:"coverage_factor"`
	}
	published(t, "ilac-g8.json", &p)
	const low, high, u = 10.0, 20.0, 0.5
	w := p.K * u
	for _, c := range []struct {
		y                          float64
		simple, guarded, nonBinary Decision
	}{
		{15, Pass, Pass, Pass},
		{19, Pass, Pass, Pass},
		{19.5, Pass, Fail, ConditionalPass},
		{20, Pass, Fail, ConditionalPass},
		{20.5, Fail, Fail, ConditionalFail},
		{21.1, Fail, Fail, Fail},
		{10.2, Pass, Fail, ConditionalPass},
		{9.5, Fail, Fail, ConditionalFail},
		{8.9, Fail, Fail, Fail},
	} {
		simple, guarded, non := DecideBinary(c.y, low, high, 0), DecideBinary(c.y, low, high, w), DecideNonBinary(c.y, low, high, w)
		if simple != c.simple || guarded != c.guarded || non != c.nonBinary {
			t.Errorf("%s: %g is %s, %s, %s", p.Source, c.y, simple, guarded, non)
		}
	}
	worst := 1 - Conformance(high-w, u, math.Inf(-1), high)
	if worst >= p.FalsePassBelow {
		t.Errorf("%s: the risk of a false pass is %v", p.Source, worst)
	}
}

func ExampleConformance() {
	// A line found 0.42 m off with a standard uncertainty of 0.10 m, against a
	// tolerance of 0.60 m to either side.
	fmt.Printf("within with probability %.3f\n", Conformance(0.42, 0.10, -0.60, 0.60))
	fmt.Printf("95 %% sure up to %.3f m\n", 0.60-GuardBand(0.10, 0.95))
	// Output:
	// within with probability 0.964
	// 95 % sure up to 0.436 m
}
