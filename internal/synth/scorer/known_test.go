package scorer

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/synth"
)

func TestAcross(t *testing.T) {
	l := lineref.New(orb.MultiLineString{{{0, 0}, {10, 0}, {10, 10}}}, 0.5) // grid is half of ground
	for _, c := range []struct {
		p    orb.Point
		want float64
	}{
		{orb.Point{5, 1}, 2},
		{orb.Point{-1, 0}, 0},                          // 2 m along beyond the end
		{orb.Point{-1, 1}, 2},                          // and 2 m across
		{orb.Point{-3, 0}, 6},                          // too far beyond
		{orb.Point{10.5, -0.5}, math.Sqrt(2 * 1 * 1)},  // at the bend everything counts
		{orb.Point{10.25, 11}, 0.5},                    // beyond the other end
		{orb.Point{10 + 1.5, 12}, 2 * math.Sqrt(6.25)}, // too far beyond
	} {
		if got := across(&l, c.p); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%v lies %v across, want %v", c.p, got, c.want)
		}
	}
}

func TestRuns(t *testing.T) {
	got := runs([]float64{50, 0, 15, 35, 70.1})
	if want := []stretch{{0, 50}, {70.1, 70.1}}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// bent is a water main of 100 m, read every 2 m, whose record runs along it at
// the given offsets: one at its beginning and one at every 10 m.
func bent(offsets ...float64) *tiny {
	w := newTiny()
	l := w.line("water", orb.Point{0, 0}, orb.Point{100, 0})
	w.sheet("S", 0, 0)
	var pts []orb.Point
	for i, o := range offsets {
		pts = append(pts, orb.Point{10 * float64(i), o})
	}
	w.record("R", "water", "S", l, pts...)
	w.source("network", 0, 0)
	w.session("A", "A", "network", 0, 0, false)
	w.walk("A", l, 0, 100, 2)
	return w
}

// The tolerance of water is 0.5 m.
func TestTruly(t *testing.T) {
	flat := func(o float64) []float64 { return slices.Repeat([]float64{o}, 11) }
	bump := func(o float64) []float64 { v := flat(0); v[5] = o; return v }
	for _, c := range []struct {
		name    string
		offsets []float64
		want    truly
	}{
		{"right", flat(0), trulyWithin},
		{"just within", flat(0.39), trulyWithin},
		{"too near to tell", flat(0.41), trulyBetween},
		{"too near to tell", flat(0.59), trulyBetween},
		{"just outside", flat(0.61), trulyOutside},
		{"to the other side", flat(-0.61), trulyOutside},
		{"a bump beyond 0.6 m over 5 m", bump(0.8), trulyOutside},
		{"a bump beyond 0.6 m over 2.5 m", bump(0.685), trulyBetween},
		{"a bump that stays within", bump(0.39), trulyWithin},
	} {
		w := bent(c.offsets...)
		k := know(&w.s, &w.truth)
		if got := k.records[0].truly(); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// What only a doubtful reading saw makes no record truly outside, but keeps it
// from being truly within: a program may have believed the reading.
func TestTrulyByDoubtfulReadings(t *testing.T) {
	offsets := slices.Repeat([]float64{0}, 11)
	offsets[9], offsets[10] = 1, 1
	w := bent(offsets...)
	rs := w.truth.Traces[0].Readings
	for i := range rs {
		rs[i].Float = rs[i].Point[0] > 75
	}
	k := know(&w.s, &w.truth)
	if got := k.records[0].truly(); got != trulyBetween {
		t.Errorf("%v, want between", got)
	}
	if s := k.records[0].surveyed; len(s) != 1 || s[0] != (stretch{0, 74}) {
		t.Errorf("surveyed %v", s)
	}
	w.s.Traces[0].Readings, w.truth.Traces[0].Readings = w.s.Traces[0].Readings[:38], rs[:38]
	if got := know(&w.s, &w.truth).records[0].truly(); got != trulyWithin {
		t.Errorf("%v without them, want within", got)
	}
}

func TestClasses(t *testing.T) {
	w := corner()
	w.truth.Traces[0].Readings[8].Float = true // distorted all the same
	var got [mislabelled + 1]int
	for _, rd := range know(&w.s, &w.truth).readings {
		got[rd.class]++
	}
	if want := [mislabelled + 1]int{good: 194, jumped: 1, unmapped: 13, distorted: 1, float: 1, passive: 1, sonde: 1, mislabelled: 2}; got != want {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestSpacingBand(t *testing.T) {
	at := func(xs ...float64) (rs []synth.Reading) {
		for _, x := range xs {
			rs = append(rs, synth.Reading{Pole: orb.Point{x, 0}})
		}
		return rs
	}
	for want, rs := range [][]synth.Reading{at(0, 0.5, 1.5, 20), at(0, 1.5, 3, 23), at(0, 6, 12, 13)} {
		if got := spacingBand(rs); got != want {
			t.Errorf("%v: band %d, want %d", rs, got, want)
		}
	}
	if got := spacingBand(at(3)); got != 2 {
		t.Errorf("one reading: band %d", got)
	}
}

// Two records that have one id in two files go by source and id.
func TestNames(t *testing.T) {
	w := corner()
	w.s.Records[2].ID, w.s.Records[2].Source = "W1", "other"
	if got, want := published(&w.s), []string{"map#W1", "G1", "other#W1", "W2", "X1", "S1", "C1"}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
