package judge

import (
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// From a sonde's field, 1/r^3, and coils 0.4 m apart: the formula for lines,
// d = s B2/(B1 - B2), makes 0.229 m of 1.0 m.
func TestFromLineMode(t *testing.T) {
	for _, tt := range []struct{ read, want float64 }{{0.229, 1.0}, {0.4 / (math.Pow(2.4/2, 3) - 1), 2.0}, {0.4 / (math.Pow(0.9/0.5, 3) - 1), 0.5}} {
		if got := fromLineMode(tt.read, 0.4); math.Abs(got-tt.want) > 0.002 {
			t.Errorf("%.3f m is a sonde at %.3f m, want %.3f", tt.read, got, tt.want)
		}
	}
}

// Sewers of 0.2 m with a cover of 0.9 m on the map: the pipe's middle is at 1.0 m.
func TestSondesInLineMode(t *testing.T) {
	o := &Options{CoilsM: 0.4, Confidence: 0.95}
	for _, tt := range []struct {
		name   string
		depths [][]float64 // per record, of one walk
		mode   survey.Mode
		cover  float64
		likely bool
		sonde  bool
	}{
		{"read as what it is", [][]float64{{1.0, 1.02, 0.98}, {1.01}}, survey.ModeSonde, 0.9, false, true},
		{"in a line mode, on two records", [][]float64{{0.23, 0.22, 0.24}, {0.25}}, survey.ModeSonde, 0.9, true, true},
		{"in a line mode, on one", [][]float64{{0.23, 0.22, 0.24}}, survey.ModeSonde, 0.9, false, true}, // one wrong cover is as likely
		{"shallow on the map too", [][]float64{{0.23, 0.22}, {0.25}}, survey.ModeSonde, 0.15, false, true},
		{"no cover on the map", [][]float64{{0.23, 0.22}, {0.25}}, survey.ModeSonde, math.NaN(), false, true},
		{"a line", [][]float64{{0.23, 0.22}, {0.25}}, survey.ModeActive, 0.9, false, false},
	} {
		s, ms := &survey.Survey{Traces: make([]survey.Trace, 1)}, []survey.Match(nil)
		for r, ds := range tt.depths {
			s.Records = append(s.Records, survey.Record{CoverM: tt.cover, DiameterM: 0.2, Scale: 1, Parts: orb.MultiLineString{{{0, 0}, {10, 0}}}})
			for _, d := range ds {
				s.Traces[0].Readings = append(s.Traces[0].Readings, survey.Reading{DepthM: d, Mode: tt.mode})
				ms = append(ms, survey.Match{Record: r, Status: survey.StatusSonde})
			}
		}
		got := o.sondes(s, [][]survey.Match{ms})
		if (got[0] != nil) != tt.sonde || got[0] != nil && (got[0].lineMode >= patternSure) != tt.likely {
			t.Errorf("%s: %+v", tt.name, got[0])
		}
		if !tt.likely {
			continue
		}
		// The verdict is taken back, and the depth as it would be is said.
		m := &survey.Model{Profiles: []survey.Profile{{Cover: survey.Cover{Readings: 3, DifferenceM: -0.77, U: 0.05}}}}
		js := []survey.Judgement{{Depth: survey.VerdictOutside, Tolerance: survey.Tolerance{DepthM: 0.3}}}
		f := depthOf(s, m, &js[0], got[0], *o)
		if js[0].Depth != survey.VerdictUndecided || f.Verdict != survey.VerdictUndecided || f.Attribution != survey.AttributionInseparable || !strings.Contains(f.Sentence, "read as a sonde's they would put the cover at 0.90 m") {
			t.Errorf("%s: %s, %+v", tt.name, js[0].Depth, f)
		}
	}
}

func depthOf(s *survey.Survey, m *survey.Model, j *survey.Judgement, d *sondeDepths, o Options) survey.Finding {
	line := lineref.New(s.Records[j.Record].Parts, 1)
	return depthFindings(s, &line, m, j, d, o)[0]
}
