package mistakes

import (
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// surveyAt has one record at a place, in a working plane and kept in a system.
func surveyAt(t *testing.T, code, kept string, lat, lon float64) *survey.Survey {
	t.Helper()
	from, err := crs.Parse("EPSG:4269")
	if err != nil {
		t.Fatal(err)
	}
	plane, err := crs.Parse(code)
	if err != nil {
		t.Fatal(err)
	}
	op, err := crs.NewOperation(from, plane)
	if err != nil {
		t.Fatal(err)
	}
	p, err := op.Apply(orb.Point{lon, lat})
	if err != nil {
		t.Fatal(err)
	}
	scale, convergence, err := plane.Factors(p)
	if err != nil {
		t.Fatal(err)
	}
	return &survey.Survey{
		Plane: code, Layers: []survey.Layer{{CRS: kept}},
		Records: []survey.Record{{Parts: orb.MultiLineString{{{p[0] - 1, p[1]}, {p[0] + 1, p[1]}}}, Scale: scale, Convergence: convergence}},
	}
}

// Positions in ITRF2014 taken for NAD83(2011), at 40 N 100 W: the shift that the
// transformation's publisher prints.
func TestITRFTakenForNAD83AgainstPublished(t *testing.T) {
	var p struct {
		Source   string
		Lat, Lon float64
		Shifts   []struct {
			Epoch  float64
			East   float64 `json:"east_m"`
			North  float64 `json:"north_m"`
			Length float64 `json:"length_m"`
		}
	}
	text, err := os.ReadFile("../../testdata/published/epsg-8970.json")
	if err == nil {
		err = json.Unmarshal(text, &p)
	}
	if err != nil {
		t.Fatal(err)
	}
	s := surveyAt(t, "EPSG:26914", "EPSG:26914", p.Lat, p.Lon)
	for _, want := range p.Shifts {
		for name, found := range map[string][]survey.Mistake{"records": OfRecords(s, want.Epoch)[0], "positions": OfPositions(s, want.Epoch)} {
			seen := false
			for _, m := range found {
				if !strings.HasPrefix(m.Name, "ITRF2014") {
					continue
				}
				seen = true
				// Printed to the millimetre; the grid's axes add a rounding.
				if math.Abs(math.Hypot(m.East, m.North)-want.Length) > 0.0015 {
					t.Errorf("%s: %s, %s at %v: %.4f m, published %.3f", p.Source, name, m.Name, want.Epoch, math.Hypot(m.East, m.North), want.Length)
				}
				if want.East != 0 && (math.Abs(m.East-want.East) > 0.0015 || math.Abs(m.North-want.North) > 0.0015) {
					t.Errorf("%s: %s, %s: %.4f east %.4f north, published %.3f and %.3f", p.Source, name, m.Name, m.East, m.North, want.East, want.North)
				}
			}
			if !seen {
				t.Errorf("%s: nobody thinks of ITRF2014: %+v", name, found)
			}
		}
	}
}

// A number of US survey feet converted with the international foot is off by 2
// parts in a million (NIST SP 811 (2008), B.6).
func TestSurveyFootTakenForInternational(t *testing.T) {
	s := surveyAt(t, "EPSG:32122", "EPSG:3734", 40.8, -81.5)
	x := s.Records[0].Parts[0].Bound().Center()
	want := math.Hypot(x[0], x[1]) * 2e-6
	for _, m := range OfRecords(s, Epoch)[0] {
		if strings.Contains(m.Name, "unit foot,") {
			if got := math.Hypot(m.East, m.North); math.Abs(got-want) > 0.01 {
				t.Errorf("%s: %.3f m, 2 ppm of the coordinates are %.3f m", m.Name, got, want)
			}
			return
		}
	}
	t.Errorf("nobody thinks of the international foot: %+v", OfRecords(s, Epoch)[0])
}

// A frame that shifts a layer's grid as much as its degrees is one mistake.
func TestEveryMistakeOnce(t *testing.T) {
	for _, kept := range []string{"EPSG:26914", "EPSG:3734"} {
		itrf := 0
		for _, m := range OfRecords(surveyAt(t, "EPSG:26914", kept, 40, -100), Epoch)[0] {
			if m.Name == "ITRF2014 at epoch 2020, not NAD83" {
				itrf++
			}
		}
		if itrf != 1 {
			t.Errorf("%s: ITRF2014 %d times", kept, itrf)
		}
	}
}
