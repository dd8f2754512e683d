package match

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

var nan = math.NaN()

func line(id, utility, sheet string, pts ...orb.Point) survey.Record {
	return survey.Record{
		Source: "map", ID: id, Utility: utility, Sheet: sheet, Conductor: survey.ConductorPipe,
		Parts: orb.MultiLineString{pts}, Scale: 1, DiameterM: nan, CoverM: nan,
	}
}

// walker makes a trace's readings along true positions.
type walker struct {
	rng     *rand.Rand
	noiseM  float64
	current float64
	depth   float64
	tr      survey.Trace
}

func walk(utility string, seed uint64) *walker {
	return &walker{
		rng: rand.New(rand.NewPCG(seed, 1)), noiseM: 0.03, current: nan, depth: nan,
		tr: survey.Trace{ID: fmt.Sprintf("field#%d", seed), Utility: utility},
	}
}

// to walks from a to b with a reading every step metres, the first at a.
func (w *walker) to(a, b orb.Point, step float64) *walker {
	l := dist(a, b)
	for at := 0.0; at <= l+1e-9; at += step {
		t := at / l
		w.tr.Readings = append(w.tr.Readings, survey.Reading{
			Point: orb.Point{
				a[0] + t*(b[0]-a[0]) + w.noiseM*w.rng.NormFloat64(),
				a[1] + t*(b[1]-a[1]) + w.noiseM*w.rng.NormFloat64(),
			},
			SigmaM: w.noiseM, DepthM: w.depth, CurrentA: w.current, FrequencyHz: nan, SeparationM: nan, ElevationM: nan,
			Mode: survey.ModeActive,
		})
	}
	return w
}

func town(records []survey.Record, walkers ...*walker) *survey.Survey {
	s := &survey.Survey{Records: records}
	for _, w := range walkers {
		s.Traces = append(s.Traces, w.tr)
	}
	return s
}

// on is the runs of record and status along a trace: "A used x5, B foreign x3".
func on(s *survey.Survey, ms []survey.Match) string {
	var words []string
	n := 0
	for i, m := range ms {
		w := string(m.Status)
		if m.Record >= 0 {
			w = s.Records[m.Record].ID + " " + w
		}
		if i > 0 && strings.HasPrefix(words[len(words)-1], w+" x") {
			n++
			words[len(words)-1] = fmt.Sprintf("%s x%d", w, n)
			continue
		}
		n = 1
		words = append(words, w+" x1")
	}
	return strings.Join(words, ", ")
}

func TestTraces(t *testing.T) {
	// Two lines 1.2 m apart, and what goes wrong beside them.
	pair := []survey.Record{
		line("G", "gas", "S1", orb.Point{0, 0}, orb.Point{100, 0}),
		line("W", "water", "S1", orb.Point{0, 1.2}, orb.Point{100, 1.2}),
	}
	stepUp := walk("gas", 3)
	stepUp.current, stepUp.depth = 0.02, 0.9
	stepUp.to(orb.Point{2, 0}, orb.Point{40, 0}, 2)
	stepUp.current, stepUp.depth = 0.05, 1.4
	stepUp.to(orb.Point{42, 1.2}, orb.Point{58, 1.2}, 2)
	stepUp.current, stepUp.depth = 0.02, 0.9
	stepUp.to(orb.Point{60, 0}, orb.Point{98, 0}, 2)

	// Four lines 0.6 m apart, two of them gas.
	four := []survey.Record{
		line("G1", "gas", "S1", orb.Point{0, 0}, orb.Point{80, 0}),
		line("W1", "water", "S2", orb.Point{0, 0.6}, orb.Point{80, 0.6}),
		line("G2", "gas", "S1", orb.Point{0, 1.2}, orb.Point{80, 1.2}),
		line("E1", "electric", "S3", orb.Point{0, 1.8}, orb.Point{80, 1.8}),
	}
	// A main in two pieces with a service, and a piece that is not on the map.
	main := []survey.Record{
		line("M1", "water", "S1", orb.Point{0, 0}, orb.Point{60, 0}),
		line("M2", "water", "S1", orb.Point{60, 0}, orb.Point{120, 0}),
		line("S", "water", "S1", orb.Point{60, 0}, orb.Point{60, 20}),
		line("M4", "water", "S1", orb.Point{180, 0}, orb.Point{240, 0}),
	}
	loop := []survey.Record{
		line("L", "gas", "S1", orb.Point{0, 0}, orb.Point{40, 0}, orb.Point{40, 30}, orb.Point{1, 30}, orb.Point{1, 1}),
	}
	knot := []survey.Record{
		line("K", "gas", "S1", orb.Point{0, 0}, orb.Point{40, 0}, orb.Point{40, 20}, orb.Point{20, 20}, orb.Point{20, -30}),
	}
	around := func(step float64) *walker {
		return walk("gas", 7).to(orb.Point{2, 0}, orb.Point{40 - step, 0}, step).to(orb.Point{40, 0}, orb.Point{40, 30 - step}, step).
			to(orb.Point{40, 30}, orb.Point{1 + step, 30}, step).to(orb.Point{1, 30}, orb.Point{1, 3}, step)
	}
	plastic := slices.Clone(pair)
	plastic[0].Conductor = survey.ConductorNone
	rod := walk("gas", 8).to(orb.Point{2, 0}, orb.Point{90, 0}, 2)
	for i := range rod.tr.Readings {
		rod.tr.Readings[i].Mode, rod.tr.Readings[i].DepthTo = survey.ModeSonde, survey.DepthToSonde
	}
	twice := walk("gas", 9).to(orb.Point{2, 0.1}, orb.Point{20, 0.1}, 2)
	twice.tr.Readings[4].Duplicate = &survey.Place{File: "field.csv", Row: 3}

	for _, c := range []struct {
		name    string
		records []survey.Record
		walker  *walker
		want    string
	}{
		{"on its line", pair, walk("gas", 1).to(orb.Point{2, 0.1}, orb.Point{98, 0.1}, 2), "G used x49"},
		{"every half metre", pair, walk("gas", 1).to(orb.Point{2, 0.1}, orb.Point{98, 0.1}, 0.5), "G used x193"},
		{"every 24 metres", pair, walk("gas", 1).to(orb.Point{2, 0.1}, orb.Point{98, 0.1}, 24), "G used x5"},
		{"against the record", pair, walk("gas", 2).to(orb.Point{98, 0}, orb.Point{2, 0}, 2), "G used x49"},
		{"jump with a rise in current", pair, stepUp, "G used x20, W foreign x9, G used x20"},
		{"no record near", pair, walk("gas", 4).to(orb.Point{0, 30}, orb.Point{50, 30}, 2), "unmapped x26"},
		{"a gas line that is not on the map, beside water", pair[1:], walk("gas", 5).to(orb.Point{0, -4.5}, orb.Point{80, -4.5}, 2), "unmapped x41"},
		{"unlabelled between two lines", pair, walk("", 6).to(orb.Point{2, 0.6}, orb.Point{98, 0.6}, 2), "G ambiguous x49"},
		{"a label that no record has", pair[:1], walk("steam", 6).to(orb.Point{2, 0}, orb.Point{98, 0}, 2), "G foreign x49"},
		{"no label needed", pair[:1], walk("", 6).to(orb.Point{2, 0}, orb.Point{98, 0}, 2), "G used x49"},
		{"four lines, on the first of two of its utility", four, walk("gas", 11).to(orb.Point{2, 0}, orb.Point{78, 0}, 2), "G1 used x39"},
		{"four lines, on the second of them", four, walk("gas", 12).to(orb.Point{2, 1.2}, orb.Point{78, 1.2}, 2), "G2 used x39"},
		{"four lines, between the two of its utility", four, walk("gas", 13).to(orb.Point{2, 0.6}, orb.Point{78, 0.6}, 2), "ambiguous"},
		{"over a joint, past a service", main, walk("water", 14).to(orb.Point{2, 0}, orb.Point{117, 0}, 5), "M1 used x12, M2 used x12"},
		{"into a service", main, walk("water", 15).to(orb.Point{2, 0}, orb.Point{57, 0}, 5).to(orb.Point{60, 2}, orb.Point{60, 18}, 2), "M1 used x12, S used x9"},
		{"past a piece that is not on the map", main, walk("water", 16).to(orb.Point{72, 0}, orb.Point{232, 0}, 4), "M2 used x13, unmapped x14, ambiguous x1, M4 used x13"},
		{"out and back", pair, walk("gas", 17).to(orb.Point{2, 0.1}, orb.Point{60, 0.1}, 2).to(orb.Point{59, 0.1}, orb.Point{3, 0.1}, 2), "G used x59"},
		{"round a loop that nearly closes", loop, around(1.5), "L used x90"},
		{"round it in long steps", loop, around(9), "L used x15"},
		{
			"across itself", knot,
			walk("gas", 19).to(orb.Point{2, 0}, orb.Point{38, 0}, 2).to(orb.Point{40, 0}, orb.Point{40, 18}, 2).to(orb.Point{40, 20}, orb.Point{22, 20}, 2).to(orb.Point{20, 20}, orb.Point{20, -28}, 2),
			"K used x64",
		},
		{"every 30 metres", four, walk("gas", 20).to(orb.Point{2, 1.2}, orb.Point{78, 1.2}, 30), "G2 used x3"},
		{"a line that carries no signal", plastic, walk("gas", 18).to(orb.Point{2, 1.2}, orb.Point{98, 1.2}, 2), "W foreign x49"},
		{"a sonde in it", plastic, rod, "G sonde x45"},
		{"the same row twice", pair, twice, "G used x4, duplicate x1, G used x5"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := town(c.records, c.walker)
			ms := Traces(s, nil, ordinary)[0]
			got := on(s, ms)
			if c.want == "ambiguous" && strings.Count(got, "ambiguous") == strings.Count(got, " x") {
				return
			}
			if got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
				for i, m := range ms {
					t.Logf("%d %v p=%.3f %s %s", i, c.walker.tr.Readings[i].Point, m.Probability, m.Status, m.Reason)
				}
			}
		})
	}
}

func TestPlaces(t *testing.T) {
	// 3.6 m along the first segment, 0.2 m to the left, walking against it; and one
	// beyond the end. The plane stretches ground distances by a thousandth.
	rec := line("G", "gas", "S1", orb.Point{100, 100}, orb.Point{110, 100}, orb.Point{110, 130})
	rec.Scale = 1.001
	w := walk("gas", 1)
	w.noiseM = 0
	w.to(orb.Point{110.2, 120}, orb.Point{110.2, 104}, 2).to(orb.Point{107.6, 100.2}, orb.Point{99.6, 100.2}, 2)
	s := town([]survey.Record{rec}, w)
	ms := Traces(s, nil, ordinary)[0]

	m := ms[11] // at 103.6, 100.2
	if math.Abs(m.StationM-3.6/1.001) > 1e-9 || math.Abs(m.OffsetM+0.2/1.001) > 1e-9 || m.Segment != 0 || m.AtEnd || !m.Against {
		t.Errorf("on the first segment: %+v", m)
	}
	m = ms[0] // beside the second, 20 m up
	if math.Abs(m.StationM-30/1.001) > 1e-9 || math.Abs(m.OffsetM-0.2/1.001) > 1e-9 || m.Segment != 1 || m.AtEnd || !m.Against {
		t.Errorf("on the second segment: %+v", m)
	}
	m = ms[len(ms)-1] // at 99.6, 100.2: beyond the start
	if m.StationM != 0 || !m.AtEnd || math.Abs(m.OffsetM+math.Hypot(0.4, 0.2)/1.001) > 1e-9 {
		t.Errorf("beyond the start: %+v", m)
	}
}

func TestDistortedPositionsAreNotANumber(t *testing.T) {
	// Nothing in the input may make a panic or a probability that is no number.
	recs := []survey.Record{
		line("a", "", "", orb.Point{0, 0}, orb.Point{0, 0}),
		line("b", "", "", orb.Point{0, 0}, orb.Point{50, 0}),
		line("b", "", "", orb.Point{0, 0}, orb.Point{50, 0}),
		line("c", "", "", orb.Point{nan, 0}, orb.Point{50, 0}),
		{Source: "map", ID: "empty"},
	}
	w := walk("", 1).to(orb.Point{0, 0}, orb.Point{50, 0}, 5)
	w.tr.Readings[3].Point = orb.Point{nan, nan}
	w.tr.Readings[4].Point = orb.Point{math.Inf(1), 0}
	w.tr.Readings[5].SigmaM = nan
	w.tr.Readings[6].SigmaM = 0
	w.tr.Readings[7].Point = w.tr.Readings[8].Point
	s := town(recs, w)
	s.Traces = append(s.Traces, survey.Trace{ID: "no readings"})
	for i, ms := range Traces(s, nil, ordinary) {
		if len(ms) != len(s.Traces[i].Readings) {
			t.Fatalf("%d matches of %d readings", len(ms), len(s.Traces[i].Readings))
		}
		for j, m := range ms {
			if math.IsNaN(m.Probability) || m.Status == "" || !(m.Inflate >= 1) {
				t.Errorf("reading %d: %+v", j, m)
			}
		}
	}
	if got := Traces(&survey.Survey{}, nil, ordinary); len(got) != 0 {
		t.Errorf("matches of nothing: %v", got)
	}
}
