package judge

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// What is enough for a line: a run of so many readings, so long, so unlikely to fit.
func TestUnmappedRun(t *testing.T) {
	over := func(p float64, xs ...float64) *run {
		r := &run{probability: p}
		for _, x := range xs {
			r.points = append(r.points, orb.Point{x, 0})
		}
		return r
	}
	for _, tt := range []struct {
		name          string
		r             *run
		likely, alone int
		points        int // of the line; 0 none
	}{
		{"four readings over 5 m", over(0.6, 0, 2, 4, 5), 4, 0, 4},
		{"three", over(0.9, 0, 4, 8), 3, 0, 0},
		{"over 4.9 m", over(0.9, 0, 2, 4, 4.9), 4, 0, 0},
		{"not unlikely enough", over(0.59, 0, 2, 4, 6), 4, 0, 0},
		{"half of them far from its utility", over(0.59, 0, 2, 4, 6), 4, 2, 0},
		{"most of them", over(0.1, 0, 2, 4, 6), 4, 3, 4},
		{"most of them, but surely others'", over(0.09, 0, 2, 4, 6), 4, 3, 0},
		{"up to the last that likely fits none", over(0.9, 0, 2, 4, 6, 8, 10), 4, 0, 4},
		{"too short up to there", over(0.9, 0, 1, 2, 3, 20), 4, 0, 0},
	} {
		got, ok := unmappedRun(tt.r, tt.likely, tt.alone)
		if ok != (tt.points > 0) || ok && len(got.points) != tt.points {
			t.Errorf("%s: %d points, %t", tt.name, len(got.points), ok)
		}
	}
}

// What parts a walk into runs. Every reading is a metre on; a record of its utility
// lies 1 m beside it, unless the walk is elsewhere.
func TestRunsOf(t *testing.T) {
	none := survey.Match{Record: -1, Status: survey.StatusUnmapped, Probability: 0.9}
	vague := survey.Match{Record: -1, Status: survey.StatusAmbiguous, Probability: 0.59}
	used := survey.Match{Record: 0, Status: survey.StatusUsed, Probability: 0.99}
	bad := survey.Match{Record: 0, Status: survey.StatusUntrusted, Probability: 0.7}
	nowhere := survey.Match{Record: -1, Status: survey.StatusUntrusted}
	offNone := survey.Match{Record: -1, Status: survey.StatusUntrusted, Probability: 0.9}
	twice := survey.Match{Record: 0, Status: survey.StatusDuplicate}
	times := func(n int, m survey.Match) (out []survey.Match) {
		for range n {
			out = append(out, m)
		}
		return out
	}
	join := func(of ...[]survey.Match) (out []survey.Match) {
		for _, ms := range of {
			out = append(out, ms...)
		}
		return out
	}
	for _, tt := range []struct {
		name string
		y    float64 // of the walk: the record is at 0
		ms   []survey.Match
		want []int // readings of every run
	}{
		{"one run", 1, times(8, none), []int{8}},
		{"a used reading parts it", 1, join(times(8, none), times(1, used), times(7, none)), []int{8, 7}},
		{"a duplicate says nothing", 1, join(times(8, none), times(1, twice), times(7, none)), []int{15}},
		{"a distrusted one on a record says nothing", 1, join(times(8, none), times(1, bad), times(7, none)), []int{15}},
		{"one whose record nobody knows says nothing", 1, join(times(8, none), times(1, nowhere), times(7, none)), []int{15}},
		{"a distrusted one that fits none counts", 1, join(times(8, none), times(1, offNone), times(7, none)), []int{16}},
		{"vague ones within 10 m are passed over", 1, join(times(8, none), times(9, vague), times(7, none)), []int{24}},
		{"over more they part it", 1, join(times(8, none), times(10, vague), times(7, none)), []int{8, 7}},
		{"vague ones do not begin or end one", 1, join(times(3, vague), times(8, none), times(3, vague)), []int{8}},
		{"nor make one", 1, times(20, vague), nil},
		{"but 5.1 m from any record of its utility they do", 5.1, times(20, vague), []int{20}},
		{"not 4.9 m from one", 4.9, times(20, vague), nil},
	} {
		s := &survey.Survey{
			Records: []survey.Record{{Utility: "water", Scale: 1, Parts: orb.MultiLineString{{{-50, 0}, {150, 0}}}}},
			Traces:  []survey.Trace{{Utility: "water"}},
		}
		for i := range tt.ms {
			s.Traces[0].Readings = append(s.Traces[0].Readings, survey.Reading{Point: orb.Point{float64(i), tt.y}})
		}
		matches := [][]survey.Match{tt.ms}
		var got []int
		for _, r := range runsOf(&s.Traces[0], 0, tt.ms, newNeighbourhood(s, matches)) {
			got = append(got, len(r.points))
		}
		if len(got) != len(tt.want) {
			t.Errorf("%s: runs of %v readings, want %v", tt.name, got, tt.want)
			continue
		}
		for i := range got {
			if got[i] != tt.want[i] {
				t.Errorf("%s: runs of %v readings, want %v", tt.name, got, tt.want)
			}
		}
	}
}

// A line's probability is the mean over its readings; its utility that of the first
// walk that has one; its sessions are named once, in order.
func TestUnmappedLineOfSeveralWalks(t *testing.T) {
	s := &survey.Survey{Traces: []survey.Trace{{Session: "b"}, {Session: "a", Utility: "gas"}, {Session: "b", Utility: "water"}}}
	pts := func(n int) (out orb.LineString) {
		for x := range n {
			out = append(out, orb.Point{float64(x), 0})
		}
		return out
	}
	f := unmappedLine(s, &group{line: pts(11), runs: []run{{0, pts(6), 0.9}, {1, pts(3), 0.6}, {2, pts(1), 0.7}}})
	// (6 * 0.9 + 3 * 0.6 + 0.7)/10 = 0.79
	if f.Readings != 10 || math.Abs(f.Probability-0.79) > 1e-9 || f.Utility != "gas" || f.ToM != 10 || f.Record != -1 {
		t.Errorf("%+v", f)
	}
	if want := "10 readings of a gas line over 10 m fit no record (probability 0.79): the map may lack a line here. Taken in 2 sessions: a; b."; f.Sentence != want {
		t.Errorf("%s\nwant: %s", f.Sentence, want)
	}
}

// Which record of its utility a run lies beside without anybody having read it.
func TestUnreadRecordBesideARun(t *testing.T) {
	along := func(y float64, n int) (out orb.LineString) { // a metre a step
		for x := range n {
			out = append(out, orb.Point{float64(x), y})
		}
		return out
	}
	rec := func(utility string, line ...orb.Point) survey.Record {
		return survey.Record{Utility: utility, Scale: 1, Parts: orb.MultiLineString{line}}
	}
	used := func(record, n int, at float64) (ms []survey.Match) {
		for range n {
			ms = append(ms, survey.Match{Record: record, StationM: at, Status: survey.StatusUsed})
		}
		return ms
	}
	for _, tt := range []struct {
		name    string
		records []survey.Record
		points  orb.LineString
		on      []survey.Match
		utility string
		want    int // record; -1 none
	}{
		{"2.4 m beside it", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{100, 0})}, along(2.4, 20), nil, "gas", 0},
		{"2.6 m beside it", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{100, 0})}, along(2.6, 20), nil, "gas", -1},
		{"another utility", []survey.Record{rec("water", orb.Point{0, 0}, orb.Point{100, 0})}, along(1, 20), nil, "gas", -1},
		{"no label", []survey.Record{rec("", orb.Point{0, 0}, orb.Point{100, 0})}, along(1, 20), nil, "", -1},
		{"the nearer of two", []survey.Record{rec("gas", orb.Point{0, -1}, orb.Point{100, -1}), rec("gas", orb.Point{0, 0}, orb.Point{100, 0})}, along(1, 20), nil, "gas", 1},
		{"the nearer of two, the other way round", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{100, 0}), rec("gas", orb.Point{0, -1}, orb.Point{100, -1})}, along(1, 20), nil, "gas", 0},
		// 20 readings: 0.2 of them are 4.
		{"four readings on it", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{100, 0})}, along(1, 20), used(0, 4, 10), "gas", -1},
		{"three", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{100, 0})}, along(1, 20), used(0, 3, 10), "gas", 0},
		{"four, but elsewhere", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{100, 0})}, along(1, 20), used(0, 4, 50), "gas", 0},
		{"four before it begins", []survey.Record{rec("gas", orb.Point{-50, 0}, orb.Point{100, 0})}, along(1, 20), used(0, 4, 10), "gas", 0},
		// Of 20 readings 10 are square to a record of 9.5 m.
		{"half of it", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{9.5, 0})}, along(1, 20), nil, "gas", -1},
		{"more than half", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{10.5, 0})}, along(1, 20), nil, "gas", 0},
		// Aslant from 0 m to 4.75 m: a mean of 2.4 m, a spread of 1.4 m: 2.8 m.
		{"aslant", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{19, 4.75})}, along(0, 20), nil, "gas", -1},
		{"hardly aslant", []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{19, 2})}, along(0, 20), nil, "gas", 0},
	} {
		s := &survey.Survey{Records: tt.records, Traces: []survey.Trace{{Utility: tt.utility}}}
		n := newNeighbourhood(s, [][]survey.Match{tt.on})
		got, ok := n.unread(&run{points: tt.points})
		if ok != (tt.want >= 0) || ok && got.record != tt.want {
			t.Errorf("%s: record %d, %t; want %d", tt.name, got.record, ok, tt.want)
		}
	}
	// Readings over 5 m off, or at no right angle, are not beside a record: of 13
	// here the first 9 are.
	s := &survey.Survey{Records: []survey.Record{rec("gas", orb.Point{0, 0}, orb.Point{20, 0})}, Traces: []survey.Trace{{Utility: "gas"}}}
	points := append(along(1, 9), orb.Point{9, 5.1}, orb.Point{10, -6}, orb.Point{21, 1}, orb.Point{-1, 1})
	b, ok := newNeighbourhood(s, nil).along(0, &run{points: points})
	if !ok || math.Abs(math.Abs(b.offsetM)-1) > 1e-9 || b.spreadM > 1e-6 || b.fromM != 0 || b.toM != 8 {
		t.Errorf("%+v, %t", b, ok)
	}
}

// Only used readings are on a record for sure; whether a record of a utility, or of
// nobody knows which, is in reach.
func TestNeighbourhood(t *testing.T) {
	s := &survey.Survey{Records: []survey.Record{{Utility: "gas", Scale: 1, Parts: orb.MultiLineString{{{0, 0}, {10, 0}}}}, {Utility: "", Scale: 1, Parts: orb.MultiLineString{{{0, 50}, {10, 50}}}}}}
	n := newNeighbourhood(s, [][]survey.Match{{{Record: 0, StationM: 3, Status: survey.StatusUsed}, {Record: 0, StationM: 5, Status: survey.StatusAmbiguous}, {Record: -1, Status: survey.StatusUnmapped}}})
	if len(n.read[0]) != 1 || n.read[0][0] != 3 {
		t.Errorf("read at %v", n.read[0])
	}
	for _, tt := range []struct {
		utility string
		at      orb.Point
		want    bool
	}{
		{"gas", orb.Point{5, 3}, false}, {"water", orb.Point{5, 3}, true}, {"gas", orb.Point{5, 6}, true}, {"water", orb.Point{5, 52}, false}, {"", orb.Point{500, 500}, false},
	} {
		if got := n.alone(tt.utility, tt.at); got != tt.want {
			t.Errorf("%q at %v alone: %t", tt.utility, tt.at, got)
		}
	}
}
