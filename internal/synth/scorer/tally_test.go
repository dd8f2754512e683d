package scorer

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"
)

func TestWilson(t *testing.T) {
	data, err := os.ReadFile("../../../testdata/published/newcombe-1998.json")
	if err != nil {
		t.Fatal(err)
	}
	var published struct {
		Source    string
		Intervals []struct{ Hits, Of, Low, High float64 }
	}
	if err := json.Unmarshal(data, &published); err != nil {
		t.Fatal(err)
	}
	if len(published.Intervals) == 0 {
		t.Fatal("no published interval")
	}
	for _, c := range published.Intervals {
		low, high := Share{c.Hits, c.Of}.Interval()
		if math.Abs(low-c.Low) > 5e-5 || math.Abs(high-c.High) > 5e-5 {
			t.Errorf("%v of %v: %.4f to %.4f, want %.4f to %.4f (%s)", c.Hits, c.Of, low, high, c.Low, c.High, published.Source)
		}
	}
	if low, high := (Share{}).Interval(); low != 0 || high != 1 {
		t.Errorf("nothing of nothing: %v to %v", low, high)
	}
}

// towns makes a tally of one figure's shares.
func towns(f Figure, shares ...Share) *Tally {
	t := &Tally{towns: make([][numFigures]cases, len(shares))}
	for i, s := range shares {
		t.towns[i][f].Share = s
	}
	return t
}

func TestIntervalKnowsThatTownsDiffer(t *testing.T) {
	// Two towns, all of one and none of the other: what is counted is towns. The
	// design effect of the ratio estimator is 2/1 * (5^2 + 5^2) / (0.5 * 0.5 * 20)
	// = 20, which leaves one case.
	tl := towns(OutsideFound, Share{10, 10}, Share{0, 10})
	low, high := tl.Interval(OutsideFound)
	wantLow, wantHigh := Share{0.5, 1}.Interval()
	if math.Abs(low-wantLow) > 1e-12 || math.Abs(high-wantHigh) > 1e-12 {
		t.Errorf("%.4f to %.4f, want %.4f to %.4f", low, high, wantLow, wantHigh)
	}
	// Towns that are more alike than chance would have them buy nothing.
	tl = towns(OutsideFound, Share{5, 10}, Share{5, 10})
	low, high = tl.Interval(OutsideFound)
	if wantLow, wantHigh = (Share{10, 20}).Interval(); low != wantLow || high != wantHigh {
		t.Errorf("%.4f to %.4f, want the plain %.4f to %.4f", low, high, wantLow, wantHigh)
	}
}

func TestIntervalProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var shares []Share
		for range rapid.IntRange(1, 6).Draw(t, "towns") {
			of := rapid.IntRange(0, 40).Draw(t, "of")
			shares = append(shares, Share{float64(rapid.IntRange(0, of).Draw(t, "hits")), float64(of)})
		}
		tl := towns(GoodUsed, shares...)
		s := tl.Share(GoodUsed)
		low, high := tl.Interval(GoodUsed)
		plainLow, plainHigh := s.Interval()
		if low < 0 || high > 1 || low > plainLow+1e-12 || high < plainHigh-1e-12 {
			t.Fatalf("%v: %v to %v, the plain interval %v to %v", shares, low, high, plainLow, plainHigh)
		}
		if s.Of > 0 && (s.Value() < low-1e-12 || s.Value() > high+1e-12) {
			t.Fatalf("%v lies outside %v to %v", s.Value(), low, high)
		}
	})
}

func TestValues(t *testing.T) {
	v := []float64{3, -1, 2, 4}
	if m := mean(v); m != 2 {
		t.Errorf("mean %v", m)
	}
	if r := rms(v); math.Abs(r-math.Sqrt(30.0/4)) > 1e-12 {
		t.Errorf("rms %v", r)
	}
	for q, want := range map[float64]float64{0: -1, 0.25: -1, 0.26: 2, 0.5: 2, 0.75: 3, 0.95: 4, 1: 4} {
		if got := quantile(v, q); got != want {
			t.Errorf("quantile %v is %v, want %v", q, got, want)
		}
	}
	if !math.IsNaN(quantile(nil, 0.5)) {
		t.Error("a quantile of nothing")
	}
}
