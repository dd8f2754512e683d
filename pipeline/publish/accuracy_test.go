package publish

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// worked is the published residuals, map less survey.
func worked(t *testing.T) (source string, east, north []float64, want string) {
	t.Helper()
	var p struct {
		Source      string
		East, North []float64
		Averaged    float64 `json:"horizontal_95_averaged"`
	}
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", "nssda-pers-2014.json"))
	if err == nil {
		err = json.Unmarshal(text, &p)
	}
	if err != nil {
		t.Fatal(err)
	}
	return p.Source, p.East, p.North, fmt.Sprintf("Tested %.3f meters", p.Averaged)
}

// valveTown has n valves on one main along x, the map off by the worked residuals
// time and again, each surveyed; checks are held out of the adjustment. The
// proposed line lies where the survey has it.
func valveTown(n int, east, north []float64, sigmaM float64, check bool, positions string) *edition {
	s := &survey.Survey{Traces: []survey.Trace{{Positions: "network"}}}
	main := orb.LineString{}
	r := &survey.Result{Survey: s, Corrections: []survey.Correction{{Moved: true}}}
	part := survey.CorrectedPart{}
	for i := range n {
		k := i % len(east)
		truth := orb.Point{100 * float64(i%2), 100 * float64(i/2%2)}
		if i >= 4 {
			truth = orb.Point{100*float64(i%2) + float64(i), 100*float64(i/2%2) + float64(i)}
		}
		drawn := orb.Point{truth[0] + east[k], truth[1] + north[k]}
		main = append(main, drawn)
		part.Line, part.From = append(part.Line, truth), append(part.From, i)
		s.Fittings = append(s.Fittings, survey.Fitting{Source: "valves", ID: fmt.Sprint("V", i), Point: drawn})
		s.Exposures = append(s.Exposures, survey.Exposure{Fitting: fmt.Sprint("V", i), Point: truth, SigmaM: sigmaM, Check: check, Positions: positions})
		m := survey.Match{Segment: max(i-1, 0), Status: survey.StatusCheck}
		r.ExposureMatches = append(r.ExposureMatches, m)
	}
	s.Records = []survey.Record{{Parts: orb.MultiLineString{main}, Scale: 1}}
	at := 0.0
	for i := range main {
		if i > 0 {
			at += math.Hypot(main[i][0]-main[i-1][0], main[i][1]-main[i-1][1])
		}
		r.ExposureMatches[i].StationM = at
	}
	r.Corrections[0].Parts = []survey.CorrectedPart{part}
	r.Judgements = []survey.Judgement{{WithinM: 61.2, CoveredM: 100}}
	return &edition{Result: r, labels: []string{"W1"}}
}

func TestStatementsInTheWordsOfTheStandards(t *testing.T) {
	source, east, north, want := worked(t)
	// 28 and 35 points: the seven residuals four and five times have their RMSE.
	for _, c := range []struct {
		name         string
		n            int
		sigmaM       float64
		nssda, asprs string
		note         string
	}{
		{"too few for either", 14, 0.01, "", "", "14 independent points: NSSDA asks for 20, ASPRS edition 2 for 30. No statement is made in their words. Of the surveyed length 61.2\u00a0% lies within tolerance."},
		{"enough for NSSDA", 28, 0.01, want + " horizontal accuracy at 95% confidence level", "", "No ASPRS statement: edition 2 asks for 30 points."},
		{"a check survey that states no accuracy", 35, math.NaN(), want, "", "which 35 points do not state"},
		// RMSEr .1216, with 0.05 m per axis of the check survey: sqrt(.1216^2 + 2 .05^2) = .1407.
		{"enough for both", 35, 0.05, want, "RMSEH = 14.1 (cm)", ""},
	} {
		st := valveTown(c.n, east, north, c.sigmaM, false, "network").statements()
		if len(st) != 1 || st[0].State != stateHandedIn || st[0].Points != c.n {
			t.Fatalf("%s: %+v", c.name, st)
		}
		s := st[0]
		if !strings.Contains(s.NSSDA, c.nssda) || (c.nssda == "") != (s.NSSDA == "") || !strings.Contains(s.ASPRS, c.asprs) || (c.asprs == "") != (s.ASPRS == "") {
			t.Errorf("%s: %s: %q and %q, want %q and %q", source, c.name, s.NSSDA, s.ASPRS, c.nssda, c.asprs)
		}
		if notes := strings.Join(s.Notes, " "); !strings.Contains(notes, c.note) {
			t.Errorf("%s: no %q in %q", c.name, c.note, notes)
		}
	}
}

// A statement on the proposed lines rests on points that the adjustment did not
// have, surveyed with other positions than the readings.
func TestOnlyIndependentPointsCount(t *testing.T) {
	_, east, north, want := worked(t)
	st := valveTown(35, east, north, 0.05, false, "total station").statements()
	if len(st) != 1 {
		t.Errorf("evidence of the adjustment makes a statement on its result: %+v", st)
	}
	st = valveTown(35, east, north, 0.05, true, "total station").statements()
	if len(st) != 2 || !strings.HasPrefix(st[0].NSSDA, want) || st[1].State != stateProposed || !strings.HasPrefix(st[1].NSSDA, "Tested 0.000 meters") || !strings.Contains(st[1].ASPRS, "RMSEH = 7.1 (cm)") {
		t.Errorf("held out: %+v", st)
	}
	e := valveTown(35, east, north, 0.05, true, "total station")
	again := e.Survey.Exposures[3] // surveyed once more, as evidence
	again.Check = false
	e.Survey.Exposures = append(e.Survey.Exposures, again)
	if st = e.statements(); len(st) != 2 || st[0].Points != 35 || st[1].Points != 34 {
		t.Errorf("a held-out fitting that is evidence too: %+v", st)
	}
	for _, positions := range []string{"network", ""} {
		st = valveTown(35, east, north, 0.05, true, positions).statements()
		if len(st) != 2 || st[1].Points != 0 || st[1].NSSDA != "" || !strings.Contains(strings.Join(st[1].Notes, " "), "35 held-out points not counted") {
			t.Errorf("the readings' own positions %q: %+v", positions, st)
		}
	}
}

// holes has n test holes on one main whose covers the map has off by the worked
// residuals time and again; the readings have them right to 0.02 m.
func holes(t *testing.T, n int, sigmaM float64, check bool, status survey.Status) *edition {
	t.Helper()
	var p struct{ Height []float64 }
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", "nssda-pers-2014.json"))
	if err == nil {
		err = json.Unmarshal(text, &p)
	}
	if err != nil {
		t.Fatal(err)
	}
	s := &survey.Survey{Records: []survey.Record{{Source: "mains", Parts: orb.MultiLineString{{{0, 0}, {100, 0}}}, Scale: 1, CoverM: 1.2, DiameterM: 0.3}}}
	r := &survey.Result{Survey: s, Judgements: []survey.Judgement{{Depth: survey.VerdictWithin}}}
	r.Model = &survey.Model{Profiles: []survey.Profile{{Cover: survey.Cover{Readings: 9, DifferenceM: 0.02}}}}
	for i := range n {
		x := survey.Exposure{Point: orb.Point{100 * float64(i%2), 100 * float64(i/2%2)}, DepthTo: survey.DepthToTop, DepthM: 1.2 - p.Height[i%len(p.Height)], DepthSigmaM: sigmaM, DiameterM: nan, Check: check}
		if i%3 == 0 { // to the centre, half of 0.3 m deeper
			x.DepthTo, x.DepthM = survey.DepthToCentre, x.DepthM+0.15
		}
		s.Exposures = append(s.Exposures, x)
		r.ExposureMatches = append(r.ExposureMatches, survey.Match{StationM: 50, Status: status})
	}
	return &edition{Result: r, labels: []string{"W1"}}
}

// The worked residuals of heights (Photogrammetric Engineering and Remote Sensing,
// May 2014, p. 397) have an RMSE of .0332 m: 1.96 of that are .0650 m.
func TestVerticalStatements(t *testing.T) {
	for _, c := range []struct {
		name         string
		n            int
		sigmaM       float64
		nssda, asprs string
		note         string
	}{
		{"too few for either", 14, 0.01, "", "", "14 independent holes with a measured depth: NSSDA asks for 20, ASPRS edition 2 for 30. No statement is made in their words. Of 1 record with a cover on the map and depth readings 100.0\u00a0% have it within tolerance."},
		{"one too few", 19, 0.01, "", "", "NSSDA asks for 20"},
		{"enough for NSSDA", 28, 0.01, "Tested 0.065 meters vertical accuracy at 95% confidence level", "", "No ASPRS statement: edition 2 asks for 30 points."},
		{"no accuracy stated", 35, nan, "Tested 0.065 meters vertical accuracy", "", "which 35 depths do not state"},
		// sqrt(.0332^2 + .02^2) = .0388
		{"enough for both", 35, 0.02, "Tested 0.065 meters vertical accuracy", "RMSEV = 3.9 (cm)", groundAside},
	} {
		st := holes(t, c.n, c.sigmaM, false, survey.StatusUsed).vertical()
		if len(st) != 1 || st[0].State != stateHandedIn || st[0].Quantity != quantityVertical || st[0].Points != c.n {
			t.Fatalf("%s: %+v", c.name, st)
		}
		s, notes := st[0], strings.Join(st[0].Notes, " ")
		if !strings.Contains(s.NSSDA, c.nssda) || (c.nssda == "") != (s.NSSDA == "") || !strings.Contains(s.ASPRS, c.asprs) || (c.asprs == "") != (s.ASPRS == "") || !strings.Contains(notes, c.note) {
			t.Errorf("%s: %q and %q, notes %q", c.name, s.NSSDA, s.ASPRS, notes)
		}
	}
	// Of what the readings make of the covers only held-out holes tell: .0332 m
	// about a mean of .0177 m, which 0.02 m more is .0377 m. The RMSE is then
	// sqrt(.0332^2 + 2 .0177 .02 + .02^2) = .0471 m, 1.96 of it .092 m.
	st := holes(t, 28, 0.01, true, survey.StatusCheck).vertical()
	if len(st) != 2 || st[1].State != stateAdjusted || !strings.HasPrefix(st[1].NSSDA, "Tested 0.092 meters vertical") {
		t.Errorf("held out: %+v", st)
	}
	st = holes(t, 28, 0.01, false, survey.StatusAmbiguous).vertical()
	if len(st) != 1 || st[0].Points != 0 || !strings.Contains(strings.Join(st[0].Notes, " "), "28 more are on no record for sure") {
		t.Errorf("holes on no record for sure: %+v", st)
	}
	e := holes(t, 28, 0.01, false, survey.StatusUsed)
	e.Survey.Records[0].DiameterM = nan // a third of the holes have a depth to the centre: 10 of 28
	if st = e.vertical(); len(st) != 1 || st[0].Points != 18 {
		t.Errorf("depths to the centre of nobody knows what: %+v", st)
	}
	e.Survey.Records[0].CoverM = nan
	if st = e.vertical(); len(st) != 0 {
		t.Errorf("no cover on the map: %+v", st)
	}
}

func TestNoFormulaForUnequalErrors(t *testing.T) {
	_, east, north, _ := worked(t)
	for i := range north {
		north[i] /= 3
	}
	s := valveTown(28, east, north, 0.05, false, "").statements()[0]
	if s.NSSDA != "" || !strings.Contains(strings.Join(s.Notes, " "), "appendix 3-A has no formula under 0.6") {
		t.Errorf("%+v", s)
	}
}

func TestHeldOutPlacesAcrossLines(t *testing.T) {
	s := &survey.Survey{
		Traces:  []survey.Trace{{Positions: "network"}},
		Records: []survey.Record{{Parts: orb.MultiLineString{{{0, 0}, {100, 0}}}, Scale: 1}},
	}
	r := &survey.Result{Survey: s, Corrections: []survey.Correction{{Moved: true, Parts: []survey.CorrectedPart{{Line: orb.LineString{{0, 0.9}, {100, 0.9}}, From: []int{0, 1}}}}}}
	for _, y := range []float64{1, 0.8} {
		s.Exposures = append(s.Exposures, survey.Exposure{Point: orb.Point{50, y}, Check: true, Positions: "total station"})
		r.ExposureMatches = append(r.ExposureMatches, survey.Match{Status: survey.StatusCheck})
	}
	e := &edition{Result: r}
	if got, want := e.acrossLines(), "At 2 exposed places that the adjustment did not have, lines lie off by 0.91 m as handed in and by 0.10 m as proposed"; !strings.HasPrefix(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	s.Exposures[0].Positions, s.Exposures[1].Positions = "network", ""
	if got, want := e.acrossLines(), "2 held-out places along lines not counted"; !strings.HasPrefix(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	s.Exposures[0].Check, s.Exposures[1].Check = false, false
	if got := e.acrossLines(); got != "" {
		t.Errorf("%q of evidence", got)
	}
}
