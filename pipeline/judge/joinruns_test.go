package judge

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// lineOf is a line from one point to another, about a metre a step.
func lineOf(x0, y0, x1, y1 float64) (out orb.LineString) {
	n := max(math.Round(math.Hypot(x1-x0, y1-y0)), 1)
	for i := 0.0; i <= n; i++ {
		out = append(out, orb.Point{x0 + (x1-x0)*i/n, y0 + (y1-y0)*i/n})
	}
	return out
}

// Whether a walk is of the line of another from 0 m to 30 m along x.
func TestWhichRunsAreOfOneLine(t *testing.T) {
	turned := func(deg float64) orb.LineString { // goes on at 31 m, turned
		sin, cos := math.Sincos(deg * math.Pi / 180)
		return lineOf(31, 0, 31+20*cos, 20*sin)
	}
	part := func(line orb.LineString, more ...orb.Point) orb.LineString { return append(line, more...) }
	for _, tt := range []struct {
		name     string
		utility  string // of the second walk; the first is gas
		ticket   string // of the second walk; the first has T
		sameWalk bool
		points   orb.LineString
		want     bool
	}{
		{"along it, 0.59 m beside", "gas", "U", false, lineOf(5, 0.59, 25, 0.59), true},
		{"along it, 0.61 m beside", "gas", "U", false, lineOf(5, 0.61, 25, 0.61), false},
		{"of another utility", "water", "T", false, lineOf(5, 0, 25, 0), false},
		{"of none", "", "U", false, lineOf(5, 0, 25, 0), true},
		// 6 of 10 on it, 5 of 10.
		{"six tenths of it", "gas", "U", false, part(lineOf(0, 0, 5, 0), orb.Point{5, 3}, orb.Point{5, 4}, orb.Point{5, 5}, orb.Point{5, 6}), true},
		{"half of it", "gas", "U", false, part(lineOf(0, 0, 4, 0), orb.Point{5, 3}, orb.Point{5, 4}, orb.Point{5, 5}, orb.Point{5, 6}, orb.Point{5, 7}), false},
		{"goes on", "gas", "T", false, lineOf(31, 0, 50, 0), true},
		{"goes on, walked the other way", "gas", "T", false, lineOf(50, 0, 31, 0), true},
		{"goes on before it", "gas", "T", false, lineOf(-20, 0, -1, 0), true},
		{"goes on before it, walked the other way", "gas", "T", false, lineOf(-1, 0, -20, 0), true},
		{"of another ticket", "gas", "U", false, lineOf(31, 0, 50, 0), false},
		{"of no ticket", "gas", "", false, lineOf(31, 0, 50, 0), false},
		{"of the same walk", "gas", "U", true, lineOf(31, 0, 50, 0), true},
		{"9.9 m on", "gas", "T", false, lineOf(39.9, 0, 60, 0), true},
		{"10.1 m on", "gas", "T", false, lineOf(40.1, 0, 60, 0), false},
		{"turned by 31 degrees", "gas", "T", false, turned(31), true}, // cosine 0.857
		{"turned by 33 degrees", "gas", "T", false, turned(33), false},
		{"shifted by 1.9 m at its very end", "gas", "T", false, lineOf(30, 1.9, 50, 1.9), true},
		{"shifted by 2.1 m", "gas", "T", false, lineOf(30, 2.1, 50, 2.1), false},
		{"shifted by 3 m over 5 m", "gas", "T", false, lineOf(35, 3, 55, 3), true}, // cosine 0.8575
		{"shifted by 3.2 m over 5 m", "gas", "T", false, lineOf(35, 3.2, 55, 3.2), false},
		{"beside its middle", "gas", "T", false, lineOf(15, 3, 25, 3), false},
	} {
		s := &survey.Survey{Traces: []survey.Trace{{Utility: "gas", Ticket: "T"}, {Utility: tt.utility, Ticket: tt.ticket}}}
		r := run{trace: 1, points: tt.points}
		if tt.sameWalk { // no ticket is needed then
			r.trace, s.Traces[0].Ticket = 0, ""
		}
		first := lineOf(0, 0, 30, 0)
		g := &group{runs: []run{{trace: 0, points: first}}, line: first.Clone()}
		if got := g.takes(s, &r); got != tt.want || len(g.runs) == 2 != tt.want {
			t.Errorf("%s: %t", tt.name, got)
		}
	}
	// Without a ticket two walks are not of one by having none.
	s := &survey.Survey{Traces: []survey.Trace{{Utility: "gas"}, {Utility: "gas"}}}
	g := &group{runs: []run{{trace: 0}}, line: lineOf(0, 0, 30, 0)}
	if g.takes(s, &run{trace: 1, points: lineOf(31, 0, 50, 0)}) {
		t.Error("walks without a ticket were joined")
	}
}

// Within the box around a line that runs aslant a run may still be too far off.
func TestRunThatIsTooFarAslant(t *testing.T) {
	s := &survey.Survey{Traces: []survey.Trace{{Utility: "gas", Ticket: "T"}, {Utility: "gas", Ticket: "T"}}}
	for _, tt := range []struct {
		from float64
		want bool
	}{{27, true}, {28, false}} { // 9.9 m and 11.3 m from 20, 20
		g := &group{runs: []run{{trace: 0}}, line: lineOf(0, 0, 20, 20)}
		if got := g.takes(s, &run{trace: 1, points: lineOf(tt.from, tt.from, 50, 50)}); got != tt.want {
			t.Errorf("from %v: %t", tt.from, got)
		}
	}
}

// The direction of an end is taken over 5 m, not from its last two readings.
func TestDirectionOfAnEnd(t *testing.T) {
	line := orb.LineString{{0, 0}, {1, 1}, {6, 0}, {20, 0}, {25.5, 0}, {26, 2}}
	for _, tt := range []struct {
		last bool
		want orb.Point
	}{{false, orb.Point{1, 0}}, {true, orb.Point{6 / math.Hypot(6, 2), 2 / math.Hypot(6, 2)}}} {
		if got := direction(line, tt.last); math.Hypot(got[0]-tt.want[0], got[1]-tt.want[1]) > 1e-9 {
			t.Errorf("last %t: %v, want %v", tt.last, got, tt.want)
		}
	}
}

// Three pieces that only hang together by the one between are one line, found in any
// order; the longest of several lines comes first.
func TestJoinRuns(t *testing.T) {
	s := &survey.Survey{Traces: []survey.Trace{{Utility: "gas", Ticket: "T"}}}
	pieces := []orb.LineString{lineOf(0, 0, 30, 0), lineOf(35, 0, 55, 0), lineOf(60, 0, 75, 0), lineOf(0, 40, 90, 40)}
	for _, order := range [][]int{{0, 1, 2, 3}, {2, 0, 3, 1}, {3, 2, 1, 0}} {
		var runs []run
		for _, i := range order {
			runs = append(runs, run{trace: 0, points: pieces[i].Clone()})
		}
		gs := joinRuns(s, runs)
		if len(gs) != 2 || len(gs[0].runs) != 1 || len(gs[1].runs) != 3 {
			t.Fatalf("order %v: %d lines", order, len(gs))
		}
		if box := gs[1].line.Bound(); math.Abs(box.Min[0]) > 0.1 || math.Abs(box.Max[0]-75) > 0.1 {
			t.Errorf("order %v: from %.1f to %.1f m, want 0 to 75", order, box.Min[0], box.Max[0])
		}
	}
}

// A joined line passes through the median of the readings around, on their side, and
// reaches from the first to the last.
func TestSmoothPassesThroughTheMedian(t *testing.T) {
	var points orb.LineString
	for x := 0.0; x <= 40; x += 0.5 {
		y := 0.2
		if math.Mod(x, 2) == 1.5 {
			y = 0.5 // every fourth reading stands off
		}
		points = append(points, orb.Point{x, y})
	}
	points[0][1], points[len(points)-1][1] = 0, 0 // what the skeleton runs between
	g := group{runs: []run{{points: points}}, line: orb.LineString{points[0], points[len(points)-1]}}
	g.smooth()
	if box := g.line.Bound(); box.Min[0] != 0 || math.Abs(box.Max[0]-40) > 1e-9 {
		t.Errorf("from %.2f to %.2f", box.Min[0], box.Max[0])
	}
	for _, p := range g.line[1 : len(g.line)-1] {
		if math.Abs(p[1]-0.2) > 0.06 {
			t.Errorf("%v, want 0.2 beside", p)
		}
	}
	// A jog by 1 m is more than noise: what is read on it stays there.
	jog := group{line: slices.Concat(lineOf(0, 0, 15, 0), lineOf(16, 1, 30, 1), lineOf(31, 0, 45, 0))}
	jog.runs = []run{{points: jog.line.Clone()}}
	jog.smooth()
	at := lineref.New(orb.MultiLineString{jog.line}, 1)
	for _, p := range []orb.Point{{13, 0}, {18, 1}, {28, 1}, {33, 0}} {
		if f, _ := at.Nearest(p); math.Abs(f.OffsetM) > 0.15 {
			t.Errorf("the line passes %v at %.2f m", p, f.OffsetM)
		}
	}
	bend := group{line: slices.Concat(lineOf(0, 0, 30, 0), lineOf(30, 1, 30, 30))}
	bend.runs = []run{{points: bend.line.Clone()}}
	bend.smooth()
	if !slices.ContainsFunc(bend.line, func(p orb.Point) bool { return math.Hypot(p[0]-30, p[1]) < 1.2 }) {
		t.Errorf("the corner at 30, 0 is cut: %v", bend.line)
	}
}
