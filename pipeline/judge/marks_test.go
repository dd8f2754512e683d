package judge

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// markTown is a water main along the x axis, marked 0.9 m left of where it is
// exposed at x = 20; the map has it 0.2 m right of that.
func markTown() (*survey.Survey, [][]survey.Match, []survey.Match, []survey.Match, *survey.Model) {
	nan := math.NaN()
	s := &survey.Survey{
		Records: []survey.Record{{ID: "W1", Utility: "water", DiameterM: 0.3, Scale: 1, Parts: line(0, 0, 100, 0)}},
		Marks: []survey.Mark{
			{Point: orb.Point{16, 1.1}, SigmaM: 0.02, Utility: "water", Crew: "N", Session: "N1", Positions: "network", Ticket: "T1", Time: day(1)},
			{Point: orb.Point{24, 1.1}, SigmaM: 0.02, Utility: "water", Crew: "N", Session: "N1", Positions: "network", Ticket: "T1", Time: day(1)},
		},
		Exposures: []survey.Exposure{{ID: "TH1", Point: orb.Point{20, 0.2}, SigmaM: 0.01, DiameterM: nan, Utility: "water", Session: "S1", Positions: "control", Ticket: "T1", Time: day(8)}},
	}
	marks := []survey.Match{
		{StationM: 16, OffsetM: -1.1, Probability: 0.99, Status: survey.StatusUsed},
		{StationM: 24, OffsetM: -1.1, Probability: 0.99, Status: survey.StatusUsed},
	}
	exposed := []survey.Match{{StationM: 20, OffsetM: -0.2, Probability: 0.99, Status: survey.StatusUsed}}
	return s, nil, marks, exposed, &survey.Model{Profiles: []survey.Profile{{}}}
}

func markOptions() Options {
	o := testOptions()
	o.Zones = []ZoneRule{{EachSideM: 0.6, Law: "a law"}}
	o.Positions = Positions{AccuracyFactor: 1.5, DefaultSigmaM: 0.1, PoleM: 0.01, SessionM: 0.03, SourceM: 0.02, MarkM: 0.1, NearM: 6, RowM: 15}
	return o
}

func TestMarkAgainstExposure(t *testing.T) {
	s, read, marks, exposed, m := markTown()
	o := markOptions()
	checks, findings := Marks(s, read, marks, exposed, m, o)
	if len(checks) != 1 || len(findings) != 1 {
		t.Fatalf("%d checks, %d findings", len(checks), len(findings))
	}
	c, f := checks[0], findings[0]
	// u by hand: marks 0.03 and pole, hole 0.015 and pole, two sessions, two sources.
	u := math.Sqrt(0.03*0.03 + 0.01*0.01 + 0.015*0.015 + 0.01*0.01 + 2*0.03*0.03 + 2*0.02*0.02)
	if math.Abs(c.OffsetM+0.9) > 1e-9 || math.Abs(c.OffsetU-u) > 1e-9 || math.Abs(c.MapM-0.2) > 1e-9 || c.ZoneM != 0.6 || c.Verdict != survey.VerdictOutside || !slices.Equal(c.Marks, []int{0, 1}) {
		t.Errorf("check %+v, want -0.9 m, u %.4f m", c, u)
	}
	if f.Kind != survey.KindMark || f.OffsetM != c.OffsetM || f.ToleranceM != 0.6 || f.Basis != "a law" || !strings.HasPrefix(f.ID, "M-") || f.FromM != 20 {
		t.Errorf("finding %+v", f)
	}
	for _, want := range []string{"0.90 m to the left of the line exposed in TH1 on 2026-05-08", "ticket T1 of 2026-05-01", "by a law reaches 0.60 m", "The map of this run has the line 0.20 m to the right", "assigns no liability", "local law decides"} {
		if !strings.Contains(f.Sentence, want) {
			t.Errorf("no %q in: %s", want, f.Sentence)
		}
	}
	// Half the width, as measured in the hole, before that of the record.
	o.Zones[0].HalfWidth = true
	if checks, _ = Marks(s, read, marks, exposed, m, o); math.Abs(checks[0].ZoneM-0.75) > 1e-9 {
		t.Errorf("zone %v, want 0.75", checks[0].ZoneM)
	}
	s.Exposures[0].DiameterM = 0.4
	if checks, _ = Marks(s, read, marks, exposed, m, o); math.Abs(checks[0].ZoneM-0.8) > 1e-9 {
		t.Errorf("zone %v, want 0.8", checks[0].ZoneM)
	}
}

// Two marks farther from the exposed place than marks may be from an exposure
// still mark the line between them.
func TestMarksFarApart(t *testing.T) {
	s, read, marks, exposed, m := markTown()
	s.Marks[0].Point, s.Marks[1].Point = orb.Point{12.9, 1.1}, orb.Point{27.1, 1.1}
	marks[0].StationM, marks[1].StationM = 12.9, 27.1
	checks, _ := Marks(s, read, marks, exposed, m, markOptions())
	if len(checks) != 1 || math.Abs(checks[0].OffsetM+0.9) > 1e-9 {
		t.Errorf("14.2 m apart: %+v", checks)
	}
	s.Marks[0].Point = orb.Point{11.9, 1.1}
	if checks, _ = Marks(s, read, marks, exposed, m, markOptions()); len(checks) != 0 {
		t.Errorf("farther apart than marks of one row: %+v", checks)
	}
}

func TestMarksThatAreNotHeld(t *testing.T) {
	tests := []struct {
		name   string
		change func(s *survey.Survey, marks, exposed []survey.Match)
		reason string // "" no check at all
	}{
		{"no record for sure", func(_ *survey.Survey, marks, _ []survey.Match) { marks[1].Status = survey.StatusAmbiguous }, "the marks are on no record for sure"},
		{"exposed line unknown", func(_ *survey.Survey, _, exposed []survey.Match) { exposed[0].Record = -1 }, "the exposed line is on no record for sure"},
		{"both likely, not both sure", func(_ *survey.Survey, marks, exposed []survey.Match) {
			marks[0].Probability, exposed[0].Probability = 0.96, 0.96
		}, "has a probability of 0.92, under 0.95"},
		{"marked later", func(s *survey.Survey, _, _ []survey.Match) { s.Marks[0].Time = day(9) }, "marked after the line was exposed"},
		{"another utility", func(s *survey.Survey, _, _ []survey.Match) { s.Exposures[0].Utility = "gas" }, ""},
		{"far away", func(s *survey.Survey, _, _ []survey.Match) { s.Exposures[0].Point = orb.Point{60, 0.2} }, ""},
		{"past the row", func(s *survey.Survey, _, _ []survey.Match) { s.Exposures[0].Point = orb.Point{29, 0.2} }, "no two marks of the record around"},
		{"readings elsewhere, another ticket", func(s *survey.Survey, _, _ []survey.Match) { s.Exposures[0].Ticket = "T2" }, "the exposed one lies 0.90 m from the readings on record W1, and the map may lack it"},
	}
	for _, tt := range tests {
		s, _, marks, exposed, m := markTown()
		s.Traces = []survey.Trace{{Readings: []survey.Reading{{SigmaM: 0.02}}}}
		read := [][]survey.Match{{{StationM: 22, OffsetM: -1.1, Status: survey.StatusUsed}}}
		tt.change(s, marks, exposed)
		checks, findings := Marks(s, read, marks, exposed, m, markOptions())
		if len(findings) > 0 {
			t.Errorf("%s: a finding", tt.name)
		}
		if tt.reason == "" {
			if len(checks) > 0 {
				t.Errorf("%s: %+v", tt.name, checks)
			}
		} else if len(checks) != 1 || !strings.Contains(checks[0].Reason, tt.reason) || checks[0].Verdict != "" {
			t.Errorf("%s: %+v", tt.name, checks)
		}
	}
}

// What control checks tell of a session is taken off; what only the map and other
// crews say of it is uncertainty.
func TestPositionsOfMarks(t *testing.T) {
	s, read, marks, exposed, m := markTown()
	off := survey.Effect{Kind: survey.EffectSession, Name: "N1", Checks: 3, Significant: true, V: survey.Vector{North: 0.8, EE: 1e-4, NN: 1e-4}}
	m.Effects = []survey.Effect{off}
	checks, findings := Marks(s, read, marks, exposed, m, markOptions())
	// The marks were surveyed 0.8 m north, left of the record: they lie 0.1 m left.
	if math.Abs(checks[0].OffsetM+0.1) > 1e-9 || checks[0].Verdict != survey.VerdictWithin || len(findings) > 0 {
		t.Errorf("checked: %+v", checks[0])
	}
	m.Effects[0].Checks = 0
	checks, _ = Marks(s, read, marks, exposed, m, markOptions())
	if math.Abs(checks[0].OffsetM+0.9) > 1e-9 || checks[0].OffsetU < 0.8 || checks[0].Verdict != survey.VerdictUndecided {
		t.Errorf("unchecked: %+v", checks[0])
	}
	// One session of both gives the same to both.
	s.Exposures[0].Session, s.Exposures[0].Positions = "N1", "network"
	checks, _ = Marks(s, read, marks, exposed, m, markOptions())
	if math.Abs(checks[0].OffsetM+0.9) > 1e-9 || checks[0].OffsetU > 0.04 {
		t.Errorf("one session: %+v", checks[0])
	}
}

func day(n int) time.Time { return time.Date(2026, 5, n, 12, 0, 0, 0, time.UTC) }
