package read

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// A sample does not hang on the order of positions, and holds each once: those
// that sorting all of them by hash gives.
func TestSample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 5*sampleSize).Draw(t, "positions")
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		ps := make([]orb.Point, n)
		for i := range ps {
			ps[i] = orb.Point{float64(rng.IntN(2000)), float64(rng.IntN(3))}
		}
		var s sample
		for _, p := range ps {
			s.add(p)
		}
		s.add(orb.Point{math.NaN(), 1})
		slices.SortFunc(ps, func(a, b orb.Point) int {
			if hash(a) < hash(b) {
				return -1
			}
			return 1
		})
		want := slices.Compact(ps)
		want = want[:min(len(want), sampleSize)]
		if got := s.points(); !slices.Equal(got, want) {
			t.Fatalf("%d positions of %d, and not the %d with the smallest hashes", len(got), n, len(want))
		}
	})
}

// A sample is spread as all positions are.
func TestSampleIsFair(t *testing.T) {
	var s sample
	for i := range 100000 {
		s.add(orb.Point{-81 + float64(i)*1e-6, 40.5})
	}
	west := 0
	for _, p := range s.points() {
		if p[0] < -81+0.05 {
			west++
		}
	}
	// Of 400 draws with probability 1/2 the standard deviation is 10.
	if west < 150 || west > 250 {
		t.Errorf("%d of %d positions are of the western half", west, sampleSize)
	}
}

func TestMiddleEpoch(t *testing.T) {
	at := func(text string) time.Time {
		v, err := time.Parse(time.DateOnly, text)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, c := range []struct {
		first, last string
		want        float64
	}{{"2026-01-01", "2026-01-01", 2026}, {"2026-07-02", "2026-07-02", 2026.5}, {"2025-12-31", "2025-12-31", 2026}, {"2024-01-01", "2026-01-01", 2025}} {
		if got := middleEpoch(at(c.first), at(c.last)); got != c.want {
			t.Errorf("%s to %s is epoch %v, want %v", c.first, c.last, got, c.want)
		}
	}
	if got := middleEpoch(time.Time{}, time.Time{}); got != unknownEpoch {
		t.Errorf("no times are epoch %v", got)
	}
}
