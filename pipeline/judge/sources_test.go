package judge

import (
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// Two sessions on a service, one of them with two control checks; another source
// with a session of its own, on one of the records of the first.
func twoSources() (*survey.Survey, [][]survey.Match, *survey.Model) {
	rec := func(id, sheet string, y float64) survey.Record {
		return survey.Record{Source: "map", ID: id, Utility: "gas", Sheet: sheet, Scale: 1, Parts: orb.MultiLineString{{{0, y}, {100, y}}}}
	}
	s := &survey.Survey{Records: []survey.Record{rec("A", "S-1", 0), rec("B", "S-2", 50), rec("C", "", 100)}}
	m := &survey.Model{
		Profiles: make([]survey.Profile, 3),
		Effects: []survey.Effect{
			{Kind: survey.EffectSession, Name: "one", Readings: 4},
			{Kind: survey.EffectSession, Name: "two", Readings: 2},
			{Kind: survey.EffectSession, Name: "base", Readings: 1},
			{Kind: survey.EffectSource, Name: "service", Readings: 6, Checks: 2, V: survey.Vector{East: 0.6, North: 0.8, EE: 0.0009, NN: 0.0004}, Significant: true},
			{Kind: survey.EffectSource, Name: "own base", Readings: 1, V: survey.Vector{EE: 0.0025, NN: 0.0025}},
			{Kind: survey.EffectSource, Name: "unused"},
		},
		TraceSession: []int{0, 1, 2}, CheckSession: []int{0, 0},
	}
	var matches [][]survey.Match
	for i, records := range [][]int{{0, 1, 1}, {2}, {0}} {
		tr := survey.Trace{ID: string(rune('a' + i)), Crew: "blue", Session: m.Effects[i].Name, Positions: []string{"service", "service", "own base"}[i]}
		var ms []survey.Match
		for _, r := range records {
			tr.Readings = append(tr.Readings, survey.Reading{Point: orb.Point{50, 50 * float64(r)}})
			ms = append(ms, survey.Match{Record: r, StationM: 50, Status: survey.StatusUsed})
		}
		s.Traces, matches = append(s.Traces, tr), append(matches, ms)
	}
	for _, at := range []orb.Point{{0.58, 0.8}, {0.62, 0.78}} {
		s.Checks = append(s.Checks, survey.Check{Observed: at, Scale: 1, Session: "one", Positions: "service"})
	}
	return s, matches, m
}

func TestSourcesAreWorded(t *testing.T) {
	o := Options{Default: Limits{HorizontalM: 0.5}}
	s, matches, m := twoSources()
	out, pages := Effects(s, matches, m, nil, o)
	if pages[0].Positions != "service" || pages[2].Positions != "own base" {
		t.Errorf("sessions had their positions from %q and %q", pages[0].Positions, pages[2].Positions)
	}
	// Medians of .58, .62 and of .80, .78: .60 east, .79 north, 0.99 m.
	for k, want := range map[int]string{
		3: "Its positions lie 1.00 m north-east of the truth (u 0.03 m), in all 2 sessions that had them from it: add 1.00 m to the south-west. 2 control checks of 1 of these sessions put it 0.99 m north-east of the marks, by the median of their medians. Of 3 lines that it read 1 was read with another source of positions too. This data attributes that to the frame of the positions.",
		4: "No error of its positions to be seen: 1 line that other sources read too and 1 drawing read with it put them within 0.10 m of the truth (95 %).",
		5: "No evidence: nothing is known of it.",
	} {
		if out[k].Explanation != want {
			t.Errorf("%s: %s\nwant: %s", out[k].Name, out[k].Explanation, want)
		}
	}
}

// What tells of a source decides whether it is accused, acquitted or neither.
func TestSourcesAreNotTheirOwnWitness(t *testing.T) {
	f := &field{o: &Options{Default: Limits{HorizontalM: 0.5}}}
	off := survey.Effect{Kind: survey.EffectSource, V: survey.Vector{East: 0.9, EE: 0.0004, NN: 0.0004}, Significant: true}
	good := survey.Effect{Kind: survey.EffectSource, V: survey.Vector{East: 0.02, EE: 0.0004, NN: 0.0004}}
	vague := survey.Effect{Kind: survey.EffectSource, V: survey.Vector{East: 0.02, EE: 0.09, NN: 0.0004}}
	sessions := []int{1, 2}
	for _, tt := range []struct {
		name   string
		e      *survey.Effect
		c      sourceCase
		begins string
	}{
		{"off, control checks", &off, sourceCase{sessions: sessions, checks: 3, checked: 1, lines: 9, sheets: 4}, "Its positions lie 0.90 m east"},
		{"off, another source", &off, sourceCase{sessions: sessions, lines: 9, others: 1, sheets: 4}, "Its positions lie 0.90 m east"},
		{"off, the map alone says so", &off, sourceCase{sessions: sessions, lines: 9, sheets: 4}, "All its positions seem to lie 0.90 m east of the truth (u 0.02 m), or the map as far the other way: 2 sessions had them from it and read 9 lines of 4 drawings. Inseparable"},
		{"good, control checks", &good, sourceCase{sessions: sessions, checks: 3, checked: 1, lines: 1, sheets: 1}, "No error of its positions to be seen: 3 control checks in 1 session and 1 drawing"},
		{"good by many drawings", &good, sourceCase{sessions: sessions, lines: 3, sheets: 3}, "No error"},
		{"good by two drawings only", &good, sourceCase{sessions: sessions, lines: 3, sheets: 2}, "Inseparable from a map that is off: 2 drawings read with it bound the error of its positions to 0.06 m only"},
		{"exposed places only", &good, sourceCase{}, "No trace and no control check was taken with it, only exposed places: what is expected of it and what else was read there put it within 0.06 m"},
		{"little is known", &vague, sourceCase{sessions: sessions, checks: 1, checked: 1, sheets: 9}, "Inseparable from a map that is off: 1 control check in 1 session and 9 drawings read with it bound the error of its positions to 0.61 m"},
	} {
		if got := f.sourceSentence(tt.e, &tt.c); !strings.HasPrefix(got, tt.begins) {
			t.Errorf("%s: %s", tt.name, got)
		}
	}
}

// What the covers of a sheet look like stands with its shift, and which of its
// records lie under a regraded surface.
func TestEffectsNameCoverPatterns(t *testing.T) {
	s, matches, m := twoSources()
	m.Effects = append(m.Effects, survey.Effect{Kind: survey.EffectSheet, Name: "S-1", Readings: 2}, survey.Effect{Kind: survey.EffectSheet, Name: "S-2", Readings: 2})
	out, _ := Effects(s, matches, m, []survey.Finding{
		{Kind: survey.KindCoverPattern, Record: -1, Sheet: "S-1", Sentence: "The covers of sheet S-1 look like feet."},
		{ID: "S-9", Kind: survey.KindCoverPattern, Record: -1, Records: []int{1}, Sentence: "A surface was raised."},
		{Kind: survey.KindDepth, Record: 0, Sheet: "S-1", Sentence: "It differs."},
	}, Options{Default: Limits{HorizontalM: 0.5}})
	for k, want := range map[int]string{
		6: "No shift worth naming (0.00 m, u 0.00 m). The covers of sheet S-1 look like feet.",
		7: "No shift worth naming (0.00 m, u 0.00 m). Covers of 1 record of it lie under finding S-9: A surface was raised.",
	} {
		if out[k].Explanation != want {
			t.Errorf("%s: %s", out[k].Name, out[k].Explanation)
		}
	}
}
