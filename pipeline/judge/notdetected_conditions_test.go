package judge

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// What half the way to the farther neighbour is, and no less than a metre.
func TestHalfway(t *testing.T) {
	at := func(xs ...float64) (rs []survey.Reading) {
		for _, x := range xs {
			rs = append(rs, survey.Reading{Point: orb.Point{x, 0}})
		}
		return rs
	}
	for _, tt := range []struct {
		rs   []survey.Reading
		i    int
		want float64
	}{
		{at(0, 6, 16), 1, 5}, {at(0, 16, 22), 1, 8}, {at(0, 6, 16), 0, 3}, {at(0, 6, 16), 2, 5}, {at(0), 0, 1}, {at(0, 1.8), 0, 1}, {at(0, 2.2), 1, 1.1},
	} {
		if got := halfway(tt.rs, tt.i); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("reading %d of %v: %v, want %v", tt.i, tt.rs, got, tt.want)
		}
	}
}

// Which readings lie on a record, and which on none for sure.
func TestDetected(t *testing.T) {
	for _, tt := range []struct {
		m           survey.Match
		seen, loose bool
	}{
		{survey.Match{Record: 0, Status: survey.StatusUsed}, true, false},
		{survey.Match{Record: 0, Status: survey.StatusForeign}, true, false},
		{survey.Match{Record: 0, Status: survey.StatusSonde}, true, false},
		{survey.Match{Record: 0, Status: survey.StatusDuplicate}, false, false},
		{survey.Match{Record: 0, Status: survey.StatusAmbiguous, Probability: 0.8}, false, true},
		{survey.Match{Record: -1, Status: survey.StatusUnmapped, Probability: 0.99}, false, true},
		{survey.Match{Record: 0, Status: survey.StatusUntrusted, Probability: 0.9}, false, false},
		{survey.Match{Record: 0, Status: survey.StatusUntrusted, Probability: 0.89}, false, true},
		{survey.Match{Record: -1, Status: survey.StatusUntrusted, Probability: 0.95}, false, true},
	} {
		s := &survey.Survey{Records: make([]survey.Record, 1), Traces: []survey.Trace{{Readings: make([]survey.Reading, 1)}}}
		seen, loose := detected(s, [][]survey.Match{{tt.m}})
		if seen[0] != tt.seen || (len(loose) > 0) != tt.loose {
			t.Errorf("%+v: seen %t, loose %d", tt.m, seen[0], len(loose))
		}
	}
	// From west to east, whatever the order of the readings.
	s := &survey.Survey{Traces: []survey.Trace{{Readings: []survey.Reading{{Point: orb.Point{9, 0}}, {Point: orb.Point{2, 0}}, {Point: orb.Point{5, 0}}}}}}
	nobody := survey.Match{Record: -1, Status: survey.StatusUnmapped}
	_, loose := detected(s, [][]survey.Match{{nobody, nobody, nobody}})
	if loose[0].at[0] != 2 || loose[1].at[0] != 5 || loose[2].at[0] != 9 {
		t.Errorf("%+v", loose)
	}
}

// A record of 100 m in a plane of scale 2, 200 m of grid: 51 places 2 m apart.
func TestLooseShare(t *testing.T) {
	line := lineref.New(orb.MultiLineString{{{0, 0}, {200, 0}}}, 2)
	for _, tt := range []struct {
		name  string
		l     looseReading
		utils string
		want  float64 // places spoken for
	}{
		// 50 m of ground along, 10 m to either side: 40 m to 60 m.
		{"beside it", looseReading{orb.Point{100, 0}, "gas", -1, 0, 20}, "gas", 11},
		{"of no utility", looseReading{orb.Point{100, 0}, "", -1, 0, 20}, "gas", 11},
		{"of another utility", looseReading{orb.Point{100, 0}, "water", -1, 0, 20}, "gas", 0},
		{"of another utility, yet on it", looseReading{orb.Point{100, 0}, "water", 7, 0.6, 20}, "gas", 11},
		{"likelier on another", looseReading{orb.Point{100, 0}, "gas", 3, 0.5, 20}, "gas", 0},
		{"hardly likelier on another", looseReading{orb.Point{100, 0}, "gas", 3, 0.49, 20}, "gas", 11},
		{"4 m beside", looseReading{orb.Point{100, 8}, "gas", -1, 0, 20}, "gas", 11},
		{"over 4 m beside", looseReading{orb.Point{100, 8.2}, "gas", -1, 0, 20}, "gas", 0},
		{"beyond its end", looseReading{orb.Point{-4, 4}, "gas", -1, 0, 20}, "gas", 6},
		{"far beyond its end", looseReading{orb.Point{-20, 0}, "gas", -1, 0, 20}, "gas", 0},
	} {
		got := looseShare([]looseReading{tt.l}, &line, 7, tt.utils, 0, 100)
		if math.Abs(got-tt.want/51) > 1e-9 {
			t.Errorf("%s: %.1f places, want %.0f", tt.name, 51*got, tt.want)
		}
	}
	// Within the box around a record that bends a reading may still be far off.
	bent := lineref.New(orb.MultiLineString{{{0, 0}, {200, 0}, {200, 200}}}, 2)
	if got := looseShare([]looseReading{{orb.Point{100, 100}, "gas", -1, 0, 20}}, &bent, 7, "gas", 0, 200); got != 0 {
		t.Errorf("a reading 50 m from a record speaks for %.2f of it", got)
	}
	// What others speak for is not counted twice.
	two := []looseReading{{orb.Point{100, 0}, "gas", -1, 0, 20}, {orb.Point{104, 0}, "gas", -1, 0, 20}}
	if got := looseShare(two, &line, 7, "gas", 0, 100); math.Abs(got-12.0/51) > 1e-9 {
		t.Errorf("%.1f places, want 12", 51*got)
	}
	// Only of the part that was swept: 40 m to 80 m are 21 places.
	if got := looseShare(two[:1], &line, 7, "gas", 40, 80); math.Abs(got-11.0/21) > 1e-9 {
		t.Errorf("%.1f places, want 11", 21*got)
	}
}

// The part of a record between its first and last place in an area, if half of it
// or more lies in it.
func TestInside(t *testing.T) {
	area := orb.MultiPolygon{{{{0, 0}, {100, 0}, {100, 100}, {0, 100}, {0, 0}}}}
	hole := orb.MultiPolygon{{{{0, 0}, {100, 0}, {100, 100}, {0, 100}, {0, 0}}, {{40, 40}, {60, 40}, {60, 60}, {40, 60}, {40, 40}}}}
	for _, tt := range []struct {
		name     string
		polygon  orb.MultiPolygon
		line     orb.LineString
		from, to float64
		ok       bool
	}{
		{"all of it", area, orb.LineString{{10, 50}, {90, 50}}, 0, 80, true},
		{"its first half", area, orb.LineString{{60, 50}, {139, 50}}, 0, 39.5, true},
		{"less than its first half", area, orb.LineString{{60, 50}, {145, 50}}, 0, 0, false},
		{"its second half", area, orb.LineString{{-40, 50}, {60, 50}}, 40, 100, true},
		{"around a hole", hole, orb.LineString{{10, 50}, {90, 50}}, 0, 80, true},
	} {
		line := lineref.New(orb.MultiLineString{tt.line}, 1)
		from, to, ok := inside(&line, tt.polygon)
		if ok != tt.ok || ok && (math.Abs(from-tt.from) > 1.1 || math.Abs(to-tt.to) > 1.1) {
			t.Errorf("%s: %.1f to %.1f m, %t", tt.name, from, to, ok)
		}
	}
}

// Two areas over one record make one finding, and a share of 0.3 that loose
// readings speak for does not take it back.
func TestNotDetectedOnce(t *testing.T) {
	area := survey.Area{Polygon: orb.MultiPolygon{{{{-10, -10}, {110, -10}, {110, 10}, {-10, 10}, {-10, -10}}}}, Utilities: []string{"gas"}}
	s := &survey.Survey{
		Records: []survey.Record{{Source: "map", ID: "G", Utility: "gas", Conductor: survey.ConductorPipe, Scale: 1, Parts: orb.MultiLineString{{{0, 0}, {98, 0}}}}},
		Areas:   []survey.Area{area, area},
		Traces:  []survey.Trace{{Utility: "gas"}},
	}
	nobody := survey.Match{Record: -1, Status: survey.StatusUnmapped}
	for _, tt := range []struct {
		xs   []float64 // each speaks for 7.1 m to either side
		want int
	}{
		// 50 places from 0 m to 98 m; 0 m to 14 m and 56 m to 70 m are 16 of them, 0.32; 0 m to 21 m 11.
		{[]float64{14}, 1}, {[]float64{7, 63}, 0}, {[]float64{7, 14}, 1},
	} {
		s.Traces = nil
		var all [][]survey.Match
		for _, x := range tt.xs {
			s.Traces = append(s.Traces, survey.Trace{Utility: "gas", Readings: []survey.Reading{{Point: orb.Point{x, 1}}, {Point: orb.Point{x, 15.2}}}})
			all = append(all, []survey.Match{nobody, nobody})
		}
		if fs := notDetectedFindings(s, all); len(fs) != tt.want {
			line := lineref.New(s.Records[0].Parts, 1)
			_, loose := detected(s, all)
			t.Errorf("readings at %v: %d findings, want %d; %.2f of %+v", tt.xs, len(fs), tt.want, looseShare(loose, &line, 0, "gas", 0, 98), loose)
		}
	}
}
