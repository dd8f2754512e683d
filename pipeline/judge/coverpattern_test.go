package judge

import (
	"fmt"
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// recorded is a record with its cover as recorded and as read.
type recorded struct {
	utility, sheet             string
	recordedM, diameterM, read float64
}

// town lays records 10 m apart.
func town(rs []recorded) (*survey.Survey, *survey.Model) {
	s, m := &survey.Survey{}, &survey.Model{}
	for i, r := range rs {
		s.Records = append(s.Records, survey.Record{
			Source: "map", ID: fmt.Sprint(i), Utility: r.utility, Sheet: r.sheet, CoverM: r.recordedM, DiameterM: r.diameterM, Scale: 1,
			Parts: orb.MultiLineString{{{0, 10 * float64(i)}, {10, 10 * float64(i)}}},
		})
		m.Profiles = append(m.Profiles, survey.Profile{Cover: survey.Cover{Readings: 10, DifferenceM: r.read - r.recordedM, U: 0.04}})
	}
	return s, m
}

func TestCoverPatterns(t *testing.T) {
	tests := []struct {
		name string
		rs   []recorded
		want string // "" none
	}{
		{"right", []recorded{{"gas", "S", 0.9, 0.1, 0.95}, {"gas", "S", 0.8, 0.1, 0.72}, {"gas", "S", 1.1, 0.1, 1.12}}, ""},
		{"one is wrong", []recorded{{"gas", "S", 0.9, 0.1, 1.6}, {"gas", "S", 0.8, 0.1, 0.78}, {"gas", "S", 1.1, 0.1, 1.12}}, ""},
		// 3 ft are 0.91 m, 2.5 ft 0.76 m, 4 ft 1.22 m
		{"feet", []recorded{{"gas", "S", 3, 0.1, 0.95}, {"gas", "S", 2.5, 0.1, 0.70}, {"gas", "S", 4, 0.1, 1.25}}, "feet where the map has metres"},
		// 0.91 m read as feet are 0.28 m
		{"metres", []recorded{{"gas", "S", 0.28, 0.1, 0.95}, {"gas", "S", 0.23, 0.1, 0.72}, {"gas", "S", 0.37, 0.1, 1.25}, {"gas", "S", 0.3, 0.1, 1.0}}, "metres where the map has feet"},
		// 36 in read as centimetres are 0.36 m, truly 0.91 m
		{"inches", []recorded{{"gas", "S", 0.36, 0.1, 0.9}, {"gas", "S", 0.30, 0.1, 0.78}, {"gas", "S", 0.48, 0.1, 1.2}, {"gas", "S", 0.24, 0.1, 0.6}}, "inches where the map has centimetres"},
		{"to the invert", []recorded{{"sewer", "S", 1.9, 0.6, 1.28}, {"sewer", "S", 1.7, 0.3, 1.42}, {"sewer", "S", 2.2, 0.9, 1.3}, {"sewer", "S", 1.5, 0.4, 1.12}}, "depths to the invert"},
		{"to the centre", []recorded{{"sewer", "S", 1.9, 1.2, 1.28}, {"sewer", "S", 1.7, 0.6, 1.42}, {"sewer", "S", 2.2, 1.8, 1.3}, {"sewer", "S", 1.5, 0.8, 1.12}}, "depths to the centre"},
		{
			"a surface raised over all", []recorded{
				{"gas", "A", 0.9, 0.1, 1.42},
				{"water", "B", 1.2, 0.1, 1.70},
				{"sewer", "C", 1.8, 0.3, 2.27},
				{"electric", "D", 0.7, 0.1, 1.21},
				{"communication", "E", 0.6, 0.1, 1.12},
			}, "a surface that was raised",
		},
		{"one utility alone says no surface", []recorded{
			{"gas", "A", 0.9, 0.1, 1.42}, {"gas", "B", 1.2, 0.1, 1.70}, {"gas", "C", 0.8, 0.1, 1.27}, {"gas", "D", 0.7, 0.1, 1.21}, {"water", "E", 1.2, 0.1, 1.22},
		}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			ps := coverPatterns(town(tt.rs))
			switch {
			case tt.want == "" && len(ps) > 0:
				t.Errorf("named: %s", ps[0].Sentence)
			case tt.want != "" && len(ps) != 1:
				t.Errorf("%d patterns, want one", len(ps))
			case tt.want != "" && !strings.Contains(ps[0].Sentence, tt.want):
				t.Errorf("want %q, got: %s", tt.want, ps[0].Sentence)
			}
		})
	}
}

// A depth under a regraded surface is not the record's.
func TestDepthsUnderAPattern(t *testing.T) {
	s, m := town([]recorded{
		{"gas", "A", 0.9, 0.1, 1.42},
		{"water", "B", 1.2, 0.1, 1.70},
		{"sewer", "C", 1.8, 0.3, 2.27},
		{"electric", "D", 0.7, 0.1, 1.21},
		{"communication", "E", 0.6, 0.1, 1.12},
	})
	depth := survey.Finding{Kind: survey.KindDepth, Record: 2, Attribution: survey.AttributionRecord, Sentence: "It differs."}
	fs := explainDepths([]survey.Finding{depth}, coverPatterns(s, m))
	if len(fs) != 2 || fs[0].Attribution != survey.AttributionInseparable || !strings.Contains(fs[0].Sentence, "raised") {
		t.Errorf("%+v", fs)
	}
}
