package judge

import (
	"math"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// walked is a survey with walks of water readings that fit no record.
type walked struct {
	s       survey.Survey
	matches [][]survey.Match
}

func (w *walked) record(utility string, pts ...orb.Point) {
	w.s.Records = append(w.s.Records, survey.Record{Source: "map", ID: utility, Utility: utility, Scale: 1, Parts: orb.MultiLineString{pts}})
}

// walk adds a walk along y from one x to another, a metre a step, of the given
// probability that its readings fit no record.
func (w *walked) walk(ticket string, from, to, y, probability float64) {
	tr := survey.Trace{ID: string(rune('A' + len(w.s.Traces))), Utility: "water", Ticket: ticket, Session: "S1"}
	var ms []survey.Match
	for x := from; x <= to; x++ {
		wobble := 0.04 * math.Cos(math.Pi*x) // +- 4 cm from reading to reading
		tr.Readings = append(tr.Readings, survey.Reading{Point: orb.Point{x, y + wobble}})
		status := survey.StatusUnmapped
		if probability < 0.9 {
			status = survey.StatusAmbiguous
		}
		ms = append(ms, survey.Match{Record: -1, Status: status, Probability: probability})
	}
	w.s.Traces = append(w.s.Traces, tr)
	w.matches = append(w.matches, ms)
}

func (w *walked) findings() []survey.Finding { return unmappedFindings(&w.s, w.matches) }

func TestUnmappedLines(t *testing.T) {
	tests := []struct {
		name   string
		town   func(w *walked)
		kinds  []survey.Kind
		length float64
	}{
		{"one walk", func(w *walked) { w.walk("", 0, 30, 0, 0.99) }, []survey.Kind{survey.KindUnmapped}, 30},
		{"too short", func(w *walked) { w.walk("", 0, 4, 0, 0.99) }, nil, 0},
		{"two walks along one line", func(w *walked) { w.walk("", 0, 30, 0, 0.99); w.walk("", 5, 25, 0.3, 0.99) }, []survey.Kind{survey.KindUnmapped}, 30},
		{"one ticket, one after the other", func(w *walked) { w.walk("T", 0, 30, 0, 0.99); w.walk("T", 37, 60, 0, 0.99) }, []survey.Kind{survey.KindUnmapped}, 60},
		{"two tickets", func(w *walked) { w.walk("T", 0, 30, 0, 0.99); w.walk("U", 37, 60, 0, 0.99) }, []survey.Kind{survey.KindUnmapped, survey.KindUnmapped}, 30},
		{"two lines side by side", func(w *walked) { w.walk("T", 0, 30, 0, 0.99); w.walk("T", 0, 20, 2, 0.99) }, []survey.Kind{survey.KindUnmapped, survey.KindUnmapped}, 30},
		{
			"likelier on a record of its utility that is near",
			func(w *walked) { w.record("water", orb.Point{0, 3}, orb.Point{100, 3}); w.walk("", 0, 30, 0, 0.3) }, nil, 0,
		},
		{
			"the same with only another utility's near",
			func(w *walked) { w.record("gas", orb.Point{0, 1}, orb.Point{100, 1}); w.walk("", 0, 30, 0, 0.3) },
			[]survey.Kind{survey.KindUnmapped},
			30,
		},
		{
			"beside a record of its utility that nobody read",
			func(w *walked) { w.record("water", orb.Point{0, 2}, orb.Point{100, 2}); w.walk("", 0, 30, 0, 0.98) },
			[]survey.Kind{survey.KindPosition},
			30,
		},
		{
			"the same, though its readings fit it surely not",
			func(w *walked) { w.record("water", orb.Point{0, 2}, orb.Point{100, 2}); w.walk("", 0, 30, 0, 0.995) },
			[]survey.Kind{survey.KindUnmapped},
			30,
		},
		{
			"beside one that was read",
			func(w *walked) {
				w.record("water", orb.Point{0, 2}, orb.Point{100, 2})
				w.walk("", 0, 30, 0, 0.98)
				w.walk("", 0, 30, 2, 0.98)
				for i := range w.matches[1] {
					w.matches[1][i] = survey.Match{Record: 0, Status: survey.StatusUsed, StationM: float64(i), Probability: 1}
				}
			},
			[]survey.Kind{survey.KindUnmapped},
			30,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var w walked
			tt.town(&w)
			fs := w.findings()
			if len(fs) != len(tt.kinds) {
				t.Fatalf("%d findings, want %d", len(fs), len(tt.kinds))
			}
			for i, f := range fs {
				if f.Kind != tt.kinds[i] {
					t.Errorf("finding %d is %s, want %s", i, f.Kind, tt.kinds[i])
				}
			}
			if len(fs) > 0 && math.Abs(fs[0].ToM-fs[0].FromM-tt.length) > 0.1 {
				t.Errorf("%.2f m long, want %.0f", fs[0].ToM-fs[0].FromM, tt.length)
			}
		})
	}
}

// What wobbles from reading to reading is not in the line.
func TestUnmappedLineIsSmooth(t *testing.T) {
	var w walked
	w.walk("", 0, 30, 0, 0.99)
	w.walk("", 0, 30, 0, 0.99)
	f := w.findings()[0]
	if f.Readings != 62 || !strings.Contains(f.Sentence, "62 readings") || !strings.Contains(f.Sentence, "Taken in 1 session: S1.") {
		t.Errorf("%d readings: %s", f.Readings, f.Sentence)
	}
	line := lineref.New(orb.MultiLineString{{{-10, 0}, {50, 0}}}, 1)
	for _, p := range f.Line[0] {
		if at, _ := line.Nearest(p); math.Abs(at.OffsetM) > 0.041 {
			t.Errorf("the line passes %.3f m beside the true one", at.OffsetM)
		}
	}
	if n := len(f.Line[0]); n > 3 {
		t.Errorf("%d vertices of a straight line", n)
	}
}
