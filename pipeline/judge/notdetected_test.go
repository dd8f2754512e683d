package judge

import (
	"cmp"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

func TestNotDetected(t *testing.T) {
	square := orb.MultiPolygon{{{{0, 0}, {100, 0}, {100, 100}, {0, 100}, {0, 0}}}}
	rec := func(utility string, c survey.Conductor, pts ...orb.Point) survey.Record {
		return survey.Record{Source: "map", ID: utility, Utility: utility, Conductor: c, Scale: 1, Parts: orb.MultiLineString{pts}}
	}
	inside := []orb.Point{{10, 50}, {90, 50}}
	nobody := survey.Match{Record: -1, Status: survey.StatusUnmapped}
	tests := []struct {
		name    string
		record  survey.Record
		reading survey.Match
		at      []orb.Point
		want    float64     // length said not detected; 0 none
		kind    survey.Kind // of the finding; "" not detected
	}{
		{"inside, swept, no reading", rec("gas", survey.ConductorPipe, inside...), nobody, []orb.Point{{500, 500}}, 80, ""},
		{"another utility", rec("water", survey.ConductorPipe, inside...), nobody, []orb.Point{{500, 500}}, 0, ""},
		{"carries no signal", rec("gas", survey.ConductorNone, inside...), nobody, []orb.Point{{500, 500}}, 80, survey.KindNotTraceable},
		{"carries no signal, readings beside it are not its", rec("gas", survey.ConductorNone, inside...), nobody, []orb.Point{{20, 52}, {30, 52}, {40, 52}}, 80, survey.KindNotTraceable},
		{"carries no signal, and yet a reading on it", rec("gas", survey.ConductorNone, inside...), survey.Match{Record: 0, Status: survey.StatusUsed}, []orb.Point{{50, 50}}, 0, ""},
		{"carries no signal, another utility", rec("water", survey.ConductorNone, inside...), nobody, []orb.Point{{500, 500}}, 0, ""},
		{"most of it inside", rec("gas", survey.ConductorPipe, orb.Point{40, 50}, orb.Point{140, 50}), nobody, []orb.Point{{500, 500}}, 60, ""},
		{"most of it outside", rec("gas", survey.ConductorPipe, orb.Point{60, 50}, orb.Point{160, 50}), nobody, []orb.Point{{500, 500}}, 0, ""},
		{"a reading on it", rec("gas", survey.ConductorPipe, inside...), survey.Match{Record: 0, Status: survey.StatusUsed}, []orb.Point{{50, 50}}, 0, ""},
		{"readings that may be its", rec("gas", survey.ConductorPipe, inside...), nobody, []orb.Point{{20, 52}, {30, 52}, {40, 52}}, 0, ""},
		{
			"readings that are likelier on another record than not", rec("gas", survey.ConductorPipe, inside...),
			survey.Match{Record: 1, Status: survey.StatusAmbiguous, Probability: 0.5},
			[]orb.Point{{20, 52}, {30, 52}, {40, 52}},
			80, "",
		},
		{
			"readings that are as likely its own", rec("gas", survey.ConductorPipe, inside...),
			survey.Match{Record: 1, Status: survey.StatusAmbiguous, Probability: 0.49},
			[]orb.Point{{20, 52}, {30, 52}, {40, 52}},
			0, "",
		},
		{"a stray one beside it", rec("gas", survey.ConductorPipe, inside...), nobody, []orb.Point{{50, 52}, {50, 56}, {50, 60}}, 80, ""},
		{
			"distrusted ones, of another line for sure", rec("gas", survey.ConductorPipe, inside...),
			survey.Match{Record: 1, Status: survey.StatusUntrusted, Probability: 0.95},
			[]orb.Point{{20, 52}, {30, 52}, {40, 52}},
			80, "",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := &survey.Survey{
				Records: []survey.Record{tt.record, rec("gas", survey.ConductorPipe, orb.Point{0, 300}, orb.Point{100, 300})},
				Areas:   []survey.Area{{Polygon: square, Utilities: []string{"gas"}, Method: "active", Date: "2026-04-13"}},
				Traces:  []survey.Trace{{ID: "T", Utility: "gas"}},
			}
			var ms []survey.Match
			for _, p := range tt.at {
				s.Traces[0].Readings = append(s.Traces[0].Readings, survey.Reading{Point: p})
				ms = append(ms, tt.reading)
			}
			fs := notDetectedFindings(s, [][]survey.Match{ms})
			switch {
			case tt.want == 0 && len(fs) > 0:
				t.Errorf("said not detected: %s", fs[0].Sentence)
			case tt.want > 0 && len(fs) != 1:
				t.Errorf("%d findings, want one", len(fs))
			case tt.want > 0 && fs[0].Kind != cmp.Or(tt.kind, survey.KindNotDetected):
				t.Errorf("a finding of kind %s: %s", fs[0].Kind, fs[0].Sentence)
			case tt.want > 0 && fs[0].ToM-fs[0].FromM != tt.want:
				t.Errorf("%.1f m of it, want %.1f", fs[0].ToM-fs[0].FromM, tt.want)
			}
		})
	}
}
