package match_test

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/match"
	"github.com/asfound/asfound/pipeline/survey"
)

func exposedMap() *survey.Survey {
	s := &survey.Survey{}
	for _, r := range []struct {
		id, utility string
		y           float64
	}{{"W1", "water", 0}, {"W2", "water", 1}, {"W3", "water", 20}, {"G1", "gas", 20.4}} {
		s.Records = append(s.Records, survey.Record{Source: "map", ID: r.id, Utility: r.utility, Scale: 1, Parts: orb.MultiLineString{{{0, r.y}, {50, r.y}}}})
	}
	s.Fittings = []survey.Fitting{
		{Source: "valves", ID: "V1", Utility: "water", Point: orb.Point{50, 20}, Scale: 1},
		{Source: "valves", ID: "V2", Point: orb.Point{10, 1}, Scale: 1},
		{Source: "valves", ID: "V2", Point: orb.Point{90, 1}, Scale: 1},
		{Source: "valves", ID: "V3", Point: orb.Point{10, 40}, Scale: 1},
	}
	return s
}

func TestExposures(t *testing.T) {
	for _, tc := range []struct {
		name, utility, fitting string
		at                     orb.Point
		status                 survey.Status
		record                 string
		stationM, offsetM      float64
	}{
		{"on its line", "water", "", orb.Point{10, 20.2}, survey.StatusUsed, "W3", 10, -0.2},
		{"another utility is nearer", "water", "", orb.Point{10, 20.5}, survey.StatusUsed, "W3", 10, -0.5},
		{"between two", "water", "", orb.Point{10, 0.5}, survey.StatusAmbiguous, "", 0, 0},
		{"far from all", "water", "", orb.Point{10, 50}, survey.StatusUnmapped, "", 0, 0},
		{"a valve a metre off", "water", "V1", orb.Point{51, 20.5}, survey.StatusUsed, "W3", 50, 0},
		{"a valve that is there twice", "water", "V2", orb.Point{10, 1}, survey.StatusAmbiguous, "", 0, 0},
		{"a valve on no line", "water", "V3", orb.Point{10, 40}, survey.StatusUnmapped, "", 0, 0},
		{"an unknown valve", "water", "V9", orb.Point{10, 20}, survey.StatusAmbiguous, "", 0, 0},
	} {
		s := exposedMap()
		s.Exposures = []survey.Exposure{{Point: tc.at, Utility: tc.utility, Fitting: tc.fitting, SigmaM: 0.01, DepthM: math.NaN(), Scale: 1}}
		m := match.Exposures(s, nil, config.Default().Match)[0]
		if m.Status != tc.status || tc.record != "" && s.Records[m.Record].ID != tc.record {
			t.Errorf("%s: %+v", tc.name, m)
			continue
		}
		if tc.record != "" && (math.Abs(m.StationM-tc.stationM) > 1e-9 || math.Abs(m.OffsetM-tc.offsetM) > 1e-9 || m.AtEnd) {
			t.Errorf("%s: station %.2f offset %.2f, want %.2f %.2f", tc.name, m.StationM, m.OffsetM, tc.stationM, tc.offsetM)
		}
	}
}

// What an earlier round found of the map decides between two neighbours.
func TestExposuresOnTheDisplacedMap(t *testing.T) {
	s := exposedMap()
	s.Exposures = []survey.Exposure{{Point: orb.Point{10, 0.5}, Utility: "water", SigmaM: 0.01, Scale: 1}}
	m := &survey.Model{Profiles: make([]survey.Profile, len(s.Records))}
	for r, north := range []float64{0.5, 0.5} {
		m.Profiles[r].Nodes = []survey.Node{{D: survey.Vector{North: north}, OffsetU: 0.05}, {StationM: 50, D: survey.Vector{North: north}, OffsetU: 0.05}}
	}
	if got := match.Exposures(s, m, config.Default().Match)[0]; got.Status != survey.StatusUsed || s.Records[got.Record].ID != "W1" {
		t.Errorf("%+v", got)
	}
}

// In towns whose truth is known, the exposures that are used are on the right
// record.
func TestExposuresOfTowns(t *testing.T) {
	p, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	p.Crews.TestHoles = 1
	used, wrong, all := 0, 0, 0
	for seed := uint64(1); seed <= 3; seed++ {
		town := synth.Make(seed, p)
		for i, m := range match.Exposures(town.Survey(), nil, config.Default().Match) {
			all++
			if m.Status != survey.StatusUsed {
				continue
			}
			used++
			// At a valve several lines meet: any that ends there will do.
			if town.Holes[i].Fitting == "" && town.Truth.Records[m.Record].Line != town.Holes[i].Line {
				wrong++
			}
		}
	}
	if used*2 < all || wrong*20 > used {
		t.Errorf("%d of %d exposures used, %d wrongly", used, all, wrong)
	}
	t.Logf("%d of %d exposures used, %d wrongly", used, all, wrong)
}
