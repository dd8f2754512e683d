package judge

import (
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// A record of 100 m is within over its first 40 m. What is read beyond, likeliest of
// it but not for sure, may take that back.
func TestReadingsThatMayBeItsOwn(t *testing.T) {
	o := Options{Confidence: 0.95, MinStretchM: 3, MaxGapM: 10}
	at := func(offset float64, stations ...float64) (out []unsureReading) {
		for _, s := range stations {
			out = append(out, unsureReading{s, offset, 0.8})
		}
		return out
	}
	for _, tt := range []struct {
		name     string
		position survey.Verdict
		readings []unsureReading
		band     GuardBand
		want     int
		says     string
	}{
		{"beyond the tolerance", survey.VerdictWithin, at(1.2, 50, 52, 53), "", 1, "between stations 50.0 m and 53.0 m 3 readings, which are likeliest its own though not for sure (probability 0.80), lie 1.20 m to the right of the map, by their median (tolerance 0.50 m)"},
		{"to the left", survey.VerdictWithin, at(-0.51, 50, 52, 53), "", 1, "0.51 m to the left"},
		{"two only", survey.VerdictWithin, at(1.2, 50, 53), "", 0, ""},
		{"over less than a stretch", survey.VerdictWithin, at(1.2, 50, 51, 52.9), "", 0, ""},
		{"within the tolerance", survey.VerdictWithin, at(0.5, 50, 52, 54), "", 0, ""},
		{"where it is surveyed", survey.VerdictWithin, at(1.2, 36, 38, 40), "", 0, ""},
		{"one of them where it is surveyed", survey.VerdictWithin, at(1.2, 40, 42, 46), "", 0, ""},
		{"far from each other", survey.VerdictWithin, at(1.2, 50, 52, 72.1), "", 0, ""},
		{"two runs", survey.VerdictWithin, append(at(1.2, 45, 47, 49), at(-1, 70, 72, 74)...), "", 2, ""},
		{"outside anyway", survey.VerdictOutside, at(1.2, 50, 52, 54), "", 0, ""},
		{"nothing is undecided", survey.VerdictWithin, at(1.2, 50, 52, 54), GuardNone, 0, ""},
	} {
		s := &survey.Survey{Records: []survey.Record{{Scale: 1, Parts: orb.MultiLineString{{{0, 0}, {100, 0}}}}}}
		line := lineref.New(s.Records[0].Parts, 1)
		j := survey.Judgement{Position: tt.position, Tolerance: survey.Tolerance{HorizontalM: 0.5}, Stretches: []survey.Stretch{{ToM: 40, Verdict: survey.VerdictWithin}}}
		o.GuardBand = tt.band
		fs := unsureFindings(s, &line, &j, tt.readings, o)
		want := tt.position
		if tt.want > 0 {
			want = survey.VerdictUndecided
		}
		if len(fs) != tt.want || j.Position != want {
			t.Errorf("%s: %d findings, %s; want %d, %s", tt.name, len(fs), j.Position, tt.want, want)
		} else if tt.want > 0 && !strings.Contains(fs[0].Sentence, tt.says) {
			t.Errorf("%s: %s", tt.name, fs[0].Sentence)
		}
	}
	// Only ambiguous readings square to the record count.
	s := &survey.Survey{Records: make([]survey.Record, 1)}
	ms := []survey.Match{
		{Record: 0, StationM: 9, Status: survey.StatusAmbiguous},
		{Record: 0, StationM: 5, Status: survey.StatusAmbiguous},
		{Record: -1, Status: survey.StatusAmbiguous},
		{Record: 0, Status: survey.StatusUsed},
		{Record: 0, Status: survey.StatusUntrusted},
		{Record: 0, Status: survey.StatusAmbiguous, AtEnd: true},
	}
	if on := unsureOn(s, [][]survey.Match{ms}); len(on[0]) != 2 || on[0][0].stationM != 5 || on[0][1].stationM != 9 {
		t.Errorf("%+v", on)
	}
}
