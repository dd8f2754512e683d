package judge

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// walks is a survey of walks along two records, north of each other by 100 m: who
// read which record where, 5 m apart, how far to the right of it.
type walk struct {
	id, session string
	record      int
	fromM, toM  float64
	offsetM     float64
	status      survey.Status
}

func walksAlong(ws []walk) (*survey.Survey, [][]survey.Match) {
	s := &survey.Survey{Records: make([]survey.Record, 2)}
	for r := range s.Records {
		y := 100 * float64(r)
		s.Records[r] = survey.Record{Source: "map", ID: string(rune('A' + r)), Scale: 1, Parts: orb.MultiLineString{{{0, y}, {100, y}}}}
	}
	var matches [][]survey.Match
	for _, w := range ws {
		tr, ms := survey.Trace{ID: w.id, Session: w.session, Positions: "network"}, []survey.Match(nil)
		for at := w.fromM; at <= w.toM; at += 5 {
			tr.Readings = append(tr.Readings, survey.Reading{Point: orb.Point{at, 100*float64(w.record) - w.offsetM}})
			ms = append(ms, survey.Match{Record: w.record, StationM: at, OffsetM: w.offsetM, Status: w.status})
		}
		s.Traces, matches = append(s.Traces, tr), append(matches, ms)
	}
	return s, matches
}

func TestHoldOut(t *testing.T) {
	const used = survey.StatusUsed
	o := Options{HoldOut: 0.5, HoldOutMost: 1000, MaxGapM: 10}
	for _, tt := range []struct {
		name   string
		change func(*Options)
		walks  []walk
		held   int // traces
	}{
		{"nobody else was there", nil, []walk{{id: "a", session: "1", toM: 100, status: used}, {id: "b", session: "2", record: 1, toM: 100, status: used}}, 0},
		{"the same session", nil, []walk{{id: "a", session: "1", toM: 100, status: used}, {id: "b", session: "1", toM: 100, status: used}}, 0},
		{"two sessions: one stays", nil, []walk{{id: "a", session: "1", toM: 100, status: used}, {id: "b", session: "2", toM: 100, status: used}}, 1},
		{"the other's readings count for nothing", nil, []walk{{id: "a", session: "1", toM: 100, status: used}, {id: "b", session: "2", toM: 100, status: survey.StatusAmbiguous}}, 0},
		{"none by config", func(o *Options) { o.HoldOut = 0 }, []walk{{id: "a", session: "1", toM: 100, status: used}, {id: "b", session: "2", toM: 100, status: used}}, 0},
		{"a job too large", func(o *Options) { o.HoldOutMost = 41 }, []walk{{id: "a", session: "1", toM: 100, status: used}, {id: "b", session: "2", toM: 100, status: used}}, 0},
		{"a job just not too large", func(o *Options) { o.HoldOutMost = 42 }, []walk{{id: "a", session: "1", toM: 100, status: used}, {id: "b", session: "2", toM: 100, status: used}}, 1},
		{"no more than the share", func(o *Options) { o.HoldOut = 0.49 }, []walk{{id: "a", session: "1", toM: 100, status: used}, {id: "b", session: "2", toM: 100, status: used}}, 0},
		// 21 readings of a, 5 of b from 0 to 20 m: of a's, those to 30 m stand within
		// 10 m of b's, 7 of 21; all of b's do.
		{"beside less than half", func(o *Options) { o.HoldOut = 0.9 }, []walk{{id: "a", session: "1", toM: 100, status: used}, {id: "b", session: "2", toM: 20, status: used}}, 1},
	} {
		o := o
		if tt.change != nil {
			tt.change(&o)
		}
		s, matches := walksAlong(tt.walks)
		held := HoldOut(s, matches, o)
		n := 0
		for k := range held {
			switch held[k][0].Status {
			case survey.StatusCheck:
				n++
			case tt.walks[k].status:
			default:
				t.Errorf("%s: readings became %s", tt.name, held[k][0].Status)
			}
			if matches[k][0].Status != tt.walks[k].status {
				t.Errorf("%s: the matches themselves were changed", tt.name)
			}
		}
		if n != tt.held || (held == nil) != (tt.held == 0) {
			t.Errorf("%s: %d traces held out, want %d", tt.name, n, tt.held)
		}
		if tt.name == "beside less than half" && (len(held) < 2 || held[1][0].Status != survey.StatusCheck) {
			t.Errorf("%s: the wrong one was held out", tt.name)
		}
	}
}

// The line lies 1 m to the right of the map; the tolerance is 0.5 m. A held-out walk
// of a session that is 0.3 m off to the south sees it 1.3 m to the right; the proposed
// line is moved by 1 m between 20 m and 80 m, and that is what was surveyed.
func TestCheckHeldOut(t *testing.T) {
	s, matches := walksAlong([]walk{{id: "a", session: "1", toM: 100, offsetM: 1.3, status: survey.StatusUsed}, {id: "b", session: "1", toM: 100, offsetM: 1.3, status: survey.StatusUntrusted}})
	checks := [][]survey.Match{make([]survey.Match, 21), make([]survey.Match, 21)}
	for k := range checks {
		copy(checks[k], matches[k])
		for i := range checks[k] {
			checks[k][i].Status = survey.StatusCheck
		}
	}
	m := &survey.Model{
		Effects: []survey.Effect{
			{Kind: survey.EffectSession, V: survey.Vector{North: -0.2}},
			{Kind: survey.EffectSource, Name: "network", V: survey.Vector{North: -0.1}},
		},
		TraceSession: []int{0, 0},
	}
	js := []survey.Judgement{{Tolerance: survey.Tolerance{HorizontalM: 0.5}, Stretches: []survey.Stretch{{FromM: 20, ToM: 80}}}, {Record: 1}}
	cs := []survey.Correction{{Moved: true, Parts: []survey.CorrectedPart{{Line: orb.LineString{{0, 0}, {10, 0}, {20, -1}, {50, -1}, {50.001, -0.4}, {80, -0.4}, {90, 0}, {100, 0}}}}}, {Record: 1}}
	h := CheckHeldOut(s, matches, checks, m, js, cs, Options{MaxGapM: 10})
	// 13 readings from 20 m to 80 m speak for 5 m each; to 50 m the proposed line is
	// right, from 55 m on it is 0.6 m off.
	if h == nil || h.Traces != 1 || h.Readings != 13 || h.Records != 1 || h.LengthM != 65 || h.BeforeM != 0 || h.AfterM != 35 {
		t.Errorf("%+v", h)
	}
	js[0].Tolerance.HorizontalM = 1.01 // 1.3 m less 0.3 m of the positions are within
	if h = CheckHeldOut(s, matches, checks, m, js, cs, Options{MaxGapM: 10}); h == nil || math.Abs(h.BeforeM-65) > 1e-9 {
		t.Errorf("the error of the positions is not taken off: %+v", h)
	}
	js[0].Stretches = nil
	if h = CheckHeldOut(s, matches, checks, m, js, cs, Options{MaxGapM: 10}); h != nil {
		t.Errorf("nothing was surveyed without them: %+v", h)
	}
}
