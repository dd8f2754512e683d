package publish

import (
	"math"
	"testing"
	"time"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

const (
	utm17  = "EPSG:26917"
	nad83  = "EPSG:4269"
	hostil = `"><script>alert(1)</script>&<img src=x onerror=alert(2)>`
)

var (
	nan     = math.NaN()
	started = time.Date(2026, 11, 24, 23, 35, 1, 0, time.UTC)
	config  = ConfigFile{Name: "asfound.yaml", SHA256: "c0ffee", Bytes: 12}
)

// handful is a small result with one of everything: five records in two layers,
// a part of a repeated id, every status of a reading, every kind of finding.
func handful(t testing.TB) *survey.Result {
	t.Helper()
	s := &survey.Survey{
		Plane:   utm17,
		Layers:  []survey.Layer{mains(), gas(t)},
		Records: handfulRecords(t),
		Traces:  handfulTraces(),
		Sources: []survey.Source{
			{Name: "gis/mains.shp", Role: survey.RoleRecords, SHA256: "aa", Bytes: 100, Rows: 5, Used: 4, Rejected: 1, CRS: "NAD83 / UTM zone 17N", Operation: "none", Siblings: []survey.Sibling{{Name: "gis/mains.dbf", SHA256: "ab", Bytes: 7}}},
			{Name: "gis/gas.geojson", Role: survey.RoleRecords, SHA256: "ac", Bytes: 90, Rows: 1, Used: 1},
			{Name: "field/a.csv", Role: survey.RoleField, SHA256: "ad", Bytes: 80, Rows: 9, Used: 7, Duplicates: 1, Rejected: 1, First: started.Add(-72 * time.Hour), Last: started.Add(-48 * time.Hour), OperationM: nan, Notes: []string{"2 readings have no time"}},
			{Name: "field/b.csv", Role: survey.RoleField, SHA256: "ae", Bytes: 5, Rows: 3, Rejected: 3, SetAside: "3 of 3 rows are bad"},
		},
		Rejects: []survey.Reject{
			{Place: survey.Place{File: "field/a.csv", Row: 9, Line: 10, Field: "LAT"}, Value: "=HYPERLINK(\"x\",\"y\")", Reason: "is no latitude"},
			{Place: survey.Place{File: "field/b.csv", Row: 1, Line: 2, Field: "LON"}, Value: "-81,5\n\xff", Reason: hostil},
			{Place: survey.Place{File: "gis/mains.shp", Row: 4}, Reason: "the row is deleted"},
		},
		Notes: []string{"Source field/b.csv was set aside."},
	}
	s.Areas = []survey.Area{{Polygon: orb.MultiPolygon{{{{500000, 4399990}, {500200, 4399990}, {500200, 4400090}, {500000, 4399990}}}}, Utilities: []string{"water"}}}
	r := &survey.Result{Job: "Made-up district " + hostil, Version: "test", Banner: "internal <b>only</b>", Decision: "Simple acceptance, guard band 0.", Survey: s}
	r.Matches = handfulMatches()
	r.Model = handfulModel()
	r.Judgements = []survey.Judgement{
		{Record: 0, Tolerance: survey.Tolerance{HorizontalM: .5, DepthM: .3, Rule: "default: horizontal 0.5 m, depth 0.3 m"}, LengthM: 100, CoveredM: 80, WithinM: 20, OutsideM: 60, Position: survey.VerdictOutside, Probability: .999, WorstM: 1.2, WorstU: .08, Depth: survey.VerdictWithin, DepthProbability: .01, Attribution: survey.AttributionRecord, Readings: 4, Stretches: []survey.Stretch{{FromM: 10, ToM: 30, Verdict: survey.VerdictWithin, WorstM: .2, WorstU: .07}, {FromM: 30, ToM: 90, Verdict: survey.VerdictOutside, Probability: .999, WorstM: 1.2, WorstU: .08}}},
		{Record: 1, Tolerance: survey.Tolerance{HorizontalM: .5, DepthM: .3, Rule: "default: horizontal 0.5 m, depth 0.3 m"}, LengthM: 50, Position: survey.VerdictUnsurveyed},
		{Record: 2, Tolerance: survey.Tolerance{HorizontalM: .5, DepthM: .3, Rule: "default: horizontal 0.5 m, depth 0.3 m"}, LengthM: 60, CoveredM: 40, WithinM: 40, Position: survey.VerdictWithin, Probability: .001, WorstM: -.1, WorstU: .05, Readings: 1, Stretches: []survey.Stretch{{FromM: 0, ToM: 40, Verdict: survey.VerdictWithin, WorstM: -.1, WorstU: .05}}},
		{Record: 3, LengthM: 30, Position: survey.VerdictUnsurveyed},
		{Record: 4, Tolerance: survey.Tolerance{HorizontalM: .3, DepthM: .2, Rule: "utility gas: horizontal 0.3 m, depth 0.2 m", Source: "Table of a standard; edition: 1"}, LengthM: 70, CoveredM: 70, UndecidedM: 70, Position: survey.VerdictUndecided, Probability: .5, WorstM: -.31, WorstU: .12, Depth: survey.VerdictOutside, DepthProbability: .98, Attribution: survey.AttributionInseparable, Readings: 2, Stretches: []survey.Stretch{{FromM: 0, ToM: 70, Verdict: survey.VerdictUndecided, Probability: .5, WorstM: -.31, WorstU: .12}}},
	}
	s.Marks = []survey.Mark{
		{Place: survey.Place{File: "field/paint.csv", Row: 1, Line: 2}, Point: s.Records[0].Parts[0][0], SigmaM: nan, Utility: "water", Crew: "Crew 1", Ticket: "T-1"},
		{Place: survey.Place{File: "field/paint.csv", Row: 2, Line: 3}, Point: s.Records[0].Parts[0][0], SigmaM: nan, Crew: hostil, Ticket: "=1+1"},
	}
	r.MarkMatches = []survey.Match{
		{Record: 0, StationM: 0, OffsetM: .2, Probability: .98, Status: survey.StatusUsed},
		{Record: -1, StationM: nan, OffsetM: nan, Probability: .95, Status: survey.StatusUnmapped, Reason: "fits no record"},
	}
	s.Exposures = []survey.Exposure{{Place: survey.Place{File: "field/holes.csv", Row: 1, Line: 2}, ID: "=TH1", DepthM: 1.3, DepthSigmaM: nan, Point: orb.Point{s.Records[0].Parts[0][0][0], s.Records[0].Parts[0][0][1] + .7}, DiameterM: nan, Utility: "water", Time: started}}
	r.ExposureMatches = []survey.Match{{Record: 0, OffsetM: -.7, Probability: .99, Status: survey.StatusUsed}}
	r.MarkChecks = []survey.MarkCheck{
		{Exposure: 0, Marks: []int{0}, Record: 0, OffsetM: .7, OffsetU: .05, ZoneM: .457, Probability: .99, Verdict: survey.VerdictOutside, MapM: .7, Law: "Law <b>1</b>"},
		{Exposure: 0, Marks: []int{1}, Record: 0, OffsetM: nan, OffsetU: nan, ZoneM: nan, Probability: nan, MapM: nan, Reason: "may be of different lines: " + hostil},
	}
	r.Bases = []survey.Basis{{Name: "Minimum cover", Words: "utility gas: table 1, 0.60 m", Source: "Table 1; edition: 7"}}
	r.Findings = handfulFindings()
	r.Sessions = handfulSessions()
	r.Corrections = handfulCorrections()
	s.PointLayers, s.Fittings, r.FittingMoves = handfulFittings()
	r.Resurvey = []survey.Resurvey{
		{Rank: 1, Package: 1, Record: 1, FromM: 0, ToM: 50, LengthM: 50, Probability: .31, Weight: 1, Cost: 490, Benefit: 15.5, CumulativeCost: 490, InBudget: true, Reason: "same sheet as WM-1", Line: s.Records[1].Parts[0]},
		{Rank: 2, Package: 2, Record: 3, FromM: 0, ToM: 30, LengthM: 30, Probability: .1, Weight: 1, Cost: 454, Benefit: 3, CumulativeCost: 944, Reason: "=unsurveyed", Line: s.Records[3].Parts[0]},
	}
	return r
}

func mains() survey.Layer {
	return survey.Layer{
		Source: "gis/mains.shp", Name: "mains", CRS: utm17,
		Fields: []survey.Field{{Name: "ASSET_ID"}, {Name: "DIA_MM", Kind: survey.FieldNumber}, {Name: "LEN", Kind: survey.FieldNumber}, {Name: "ACTIVE", Kind: survey.FieldBool}, {Name: "LAID", Kind: survey.FieldDate}, {Name: "NOTE"}, {Name: "asfound_id"}, {Name: "Fid"}},
		Features: []survey.Feature{
			{Row: 1, Parts: []orb.LineString{{{500000.123456789, 4400000.1}, {500050, 4400000}, {500100, 4400000}}}, Z: [][]float64{{10, 11, 12}}, Values: attributes("WM-1", "150.0", "100.00", "T", "19720401", "=1+1", "own", "7")},
			{Row: 2, Parts: []orb.LineString{{{500100, 4400000}, {500150, 4400000}}}, Z: [][]float64{{12, 13}}, Values: attributes("WM-2", "150", "12345678901234567890", "F", "19991231", hostil, "", "8")},
			{Row: 3, Parts: []orb.LineString{{{500000, 4400050}, {500030, 4400050}}, {{500040, 4400050}, {500070, 4400050}}}, Z: [][]float64{{1, 2}, {3, 4}}, Values: attributes("X-9", ".5", "60", "?", "", "-5", "", "")},
			{Row: 4, Deleted: true, Values: attributes("GONE", "", "", "", "", "", "", "")},
			{Row: 5, Parts: []orb.LineString{{{500000, 4400080}, {500030, 4400080}}}, Values: attributes("WM-4", "-007", "1e3", "n", "20010203", "quote \" and, comma", "", "")},
		},
	}
}

func attributes(texts ...string) []survey.Value {
	out := make([]survey.Value, len(texts))
	for i, s := range texts {
		out[i] = survey.Value{Null: s == "", Text: s}
	}
	return out
}

// gas is a layer in longitude and latitude, 20 m north of the mains.
func gas(t testing.TB) survey.Layer {
	return survey.Layer{
		Source: "gis/gas.geojson", Name: "readings", CRS: nad83,
		Fields:   []survey.Field{{Name: "id"}, {Name: "big", Kind: survey.FieldNumber}, {Name: "tags", Kind: survey.FieldJSON}},
		Features: []survey.Feature{{Row: 1, Parts: []orb.LineString{geographic(t, orb.LineString{{500000, 4400020}, {500070, 4400020}})}, Values: attributes("X-9", "9007199254740993", `{"a":[1,2.50]}`)}},
	}
}

func geographic(t testing.TB, line orb.LineString) orb.LineString {
	t.Helper()
	op := operation(t, utm17, nad83)
	out := make(orb.LineString, len(line))
	for i, p := range line {
		var err error
		if out[i], err = op.Apply(p); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

func operation(t testing.TB, from, to string) *crs.Operation {
	t.Helper()
	a, err := crs.Parse(from)
	if err != nil {
		t.Fatal(err)
	}
	b, err := crs.Parse(to)
	if err != nil {
		t.Fatal(err)
	}
	op, err := crs.NewOperation(a, b)
	if err != nil {
		t.Fatal(err)
	}
	return op
}

func handfulRecords(t testing.TB) []survey.Record {
	water := mains()
	rec := func(id string, feature int, sheet string) survey.Record {
		return survey.Record{Source: "gis/mains.shp", ID: id, Utility: "water", Sheet: sheet, DiameterM: .15, Conductor: survey.ConductorPipe, Parts: orb.MultiLineString(water.Features[feature].Parts), Scale: .9996, CoverM: 1.2, Feature: feature}
	}
	return []survey.Record{
		rec("WM-1", 0, "S-12"), rec("WM-2", 1, "S-12"), rec("X-9", 2, "S-13"), rec("WM-4", 4, hostil),
		{Source: "gis/gas.geojson", ID: "X-9", Utility: "gas", Parts: orb.MultiLineString{{{500000, 4400020}, {500070, 4400020}}}, Scale: .9996, CoverM: .9, DiameterM: nan, Layer: 1},
	}
}

func handfulTraces() []survey.Trace {
	rd := func(row int, x, y float64) survey.Reading {
		return survey.Reading{Place: survey.Place{File: "field/a.csv", Row: row, Line: row + 1}, Point: orb.Point{x, y}, SigmaM: .02, DepthM: 1.3}
	}
	twice := rd(8, 500080, 4399998.8)
	twice.Duplicate = &survey.Place{File: "field/a.csv", Row: 4, Line: 5}
	return []survey.Trace{
		{ID: "a/L1", Utility: "water", Crew: "blue", Session: "blue R1 2026-11-21", Readings: []survey.Reading{rd(1, 500020, 4399999.8), rd(2, 500040, 4399999), rd(3, 500060, 4399998.9), rd(4, 500080, 4399998.8), twice}},
		{ID: "a/L2", Utility: "gas", Crew: "blue", Session: "blue R1 2026-11-21", Readings: []survey.Reading{rd(5, 500030, 4400020.3), rd(6, 500050, 4400020.35)}},
		{ID: "a/L3", Utility: "", Crew: "blue", Session: "blue R1 2026-11-21", Readings: []survey.Reading{rd(7, 500030, 4400110)}},
	}
}

func handfulMatches() [][]survey.Match {
	on := func(record int, station, offset, p float64, st survey.Status, why string) survey.Match {
		return survey.Match{Record: record, StationM: station, OffsetM: offset, Probability: p, Status: st, Reason: why, Inflate: 1}
	}
	return [][]survey.Match{
		{on(0, 20, .2, .998, survey.StatusUsed, ""), on(0, 40, 1, .99, survey.StatusUsed, ""), on(0, 60, 1.1, .99, survey.StatusUsed, ""), on(0, 80, 1.2, .55, survey.StatusAmbiguous, "two records are as near"), {Status: survey.StatusDuplicate}},
		{on(4, 30, -.3, .97, survey.StatusUsed, ""), on(4, 50, -.35, .96, survey.StatusUntrusted, "position indications are apart")},
		{{Record: -1, Probability: .93, Status: survey.StatusUnmapped}},
	}
}

func handfulModel() *survey.Model {
	node := func(station, offset, u float64, vertex int) survey.Node {
		return survey.Node{StationM: station, OffsetM: offset, OffsetU: u, Vertex: vertex, D: survey.Vector{North: -offset, NN: u * u}}
	}
	m := &survey.Model{
		Profiles: make([]survey.Profile, 5),
		Effects: []survey.Effect{
			{Kind: survey.EffectSheet, Name: "S-12", Readings: 3, Records: 2, V: survey.Vector{East: .02, North: -.8, EE: .04, NN: .01}, Significant: true, Explanation: "No blunder that is possible here fits."},
			{Kind: survey.EffectSession, Name: "blue R1 2026-11-21", Crew: "blue", Readings: 5, Checks: 2, V: survey.Vector{East: -.01, North: 0, EE: .0004, NN: .0004}, Others: survey.Vector{East: -.02, North: .01, EE: .0009, NN: .0016}},
		},
		Budget:           []survey.Term{{Name: "a record's local error", Unit: "m", Source: "practice", Value: .25}, {Name: "factor on reported accuracy", Value: 1.5, Source: "practice"}},
		Fit:              survey.Fit{Readings: 5, Unknowns: 31, Redundancy: 2.9, VarianceFactor: 1.03, Iterations: 4, Worst: []survey.Influence{{Trace: 0, Reading: 1, Record: 0, ResidualM: -.12, Standardised: -3.4, Redundancy: .8, WithoutM: .03}}},
		OffsetU:          [][]float32{{.05, .05, .0625, .05, float32(nan)}, {.1, .1}, {float32(nan)}},
		CoverDifferenceM: [][]float32{{.1, .125, float32(nan), .1, float32(nan)}, {.4, .4}, {float32(nan)}},
	}
	m.Profiles[0] = survey.Profile{Nodes: []survey.Node{node(0, .1, .2, 0), node(20, .2, .07, -1), node(40, 1, .06, -1), node(50, 1.05, .07, 1), node(60, 1.1, .08, -1), node(100, .9, .25, 2)}, Cover: survey.Cover{Readings: 2, DifferenceM: .11, U: .05}, Shares: survey.Shares{RawM: .77, SheetM: .5, OwnM: .1, LocalM: .2, SessionM: -.05, NoiseM: .02, Readings: 3}}
	m.Profiles[4] = survey.Profile{Nodes: []survey.Node{node(0, -.3, .15, 0), node(30, -.31, .12, -1), node(70, -.3, .2, 1)}, Cover: survey.Cover{Readings: 2, DifferenceM: .4, U: .06}}
	return m
}

func handfulSessions() []survey.Session {
	return []survey.Session{{
		Effect: 1, Name: "blue R1 2026-11-21", Crew: "blue", Receiver: "R1", First: started.Add(-72 * time.Hour), Last: started.Add(-71 * time.Hour),
		Readings: 8, Used: 5, Distrusted: 1, Sampled: 8, Congested: 2, DistrustedThere: .11, Lines: 2, Sheets: 1, OtherSessions: 1, OtherCrews: 1,
		Checks: 2, CheckEast: -.008, CheckNorth: .004, BiasM: .012, NoiseM: .031, Sentence: "No error of its positions to be seen.",
	}}
}

func handfulFindings() []survey.Finding {
	return []survey.Finding{
		{ID: "P-1", Kind: survey.KindPosition, Record: 0, Utility: "water", Sheet: "S-12", Verdict: survey.VerdictOutside, FromM: 30, ToM: 90, OffsetM: 1.2, OffsetU: .08, Probability: .999, Attribution: survey.AttributionRecord, AttributionProbability: .97, ToleranceM: .5, Readings: 3, Sentence: "WM-1 lies 1.20 m left of where the evidence has it.", Line: orb.MultiLineString{{{500030, 4400000}, {500090, 4400000}}}},
		{ID: "P-2", Kind: survey.KindPosition, Record: 4, Utility: "gas", Verdict: survey.VerdictUndecided, ToM: 70, OffsetM: -.31, OffsetU: .12, Probability: .5, Attribution: survey.AttributionInseparable, ToleranceM: .3, Readings: 2, DecideAtU: .03, Sentence: "The data cannot tell.", Line: orb.MultiLineString{{{500000, 4400020}, {500070, 4400020}}}},
		{ID: "D-1", Kind: survey.KindDepth, Record: 4, Utility: "gas", Verdict: survey.VerdictOutside, ToM: 70, OffsetM: .4, OffsetU: .06, Probability: .98, Attribution: survey.AttributionRecord, ToleranceM: .2, Readings: 2, Line: orb.MultiLineString{{{500000, 4400020}, {500070, 4400020}}}},
		{ID: "C-1", Kind: survey.KindCover, Record: 4, Utility: "gas", Verdict: survey.VerdictOutside, OffsetM: -.1, OffsetU: nan, Probability: nan, ToleranceM: .6, Sentence: "@cover"},
		{ID: "U-1", Kind: survey.KindUnmapped, Record: -1, Utility: "", OffsetM: nan, OffsetU: nan, Probability: nan, ToleranceM: nan, Readings: 1, Line: orb.MultiLineString{{{500030, 4400110}, {500035, 4400111}}, {{500040, 4400112}, {500045, 4400113}}}},
		{ID: "N-1", Kind: survey.KindNotDetected, Record: 3, Utility: "water", Sheet: hostil, ToM: 30, OffsetM: nan, OffsetU: nan, Probability: nan, ToleranceM: nan, Sentence: hostil, Line: orb.MultiLineString{{{500000, 4400080}, {500030, 4400080}}}},
		{ID: "T-1", Kind: survey.KindNotTraceable, Record: 1, Utility: "water", FromM: 4, ToM: 40, OffsetM: nan, OffsetU: nan, Probability: nan, ToleranceM: nan, Sentence: "Not traceable.", Line: orb.MultiLineString{{{500104, 4400000}, {500140, 4400000}}}},
		{ID: "M-1", Kind: survey.KindMark, Record: -1, Utility: "water", Verdict: survey.VerdictOutside, OffsetM: .7, OffsetU: .05, Probability: .99, ToleranceM: .457, Line: orb.MultiLineString{{{500010, 4400001}}}},
	}
}

// handfulCorrections moves the middle of the first record and adds a vertex;
// the gas line moves as a whole.
func handfulCorrections() []survey.Correction {
	c := make([]survey.Correction, 5)
	for i := range c {
		c[i].Record = i
	}
	first := mains().Features[0].Parts[0]
	c[0] = survey.Correction{Record: 0, Moved: true, MovedM: 1.2, U: .08, Finding: "P-1", Parts: []survey.CorrectedPart{{
		Line: orb.LineString{first[0], {500025, 4399999.5}, {500050, 4399998.8}, first[2]}, From: []int{0, -1, 1, 2}, MovedM: []float64{0, .5, 1.2, 0}, U: []float64{nan, .07, .08, nan}, StationM: []float64{0, 25, 50, 100},
		Cause: []survey.Cause{survey.CauseNone, survey.CauseFade, survey.CauseEvidence, survey.CauseNone}, Readings: []int{0, 1, 3, 0},
	}}}
	c[4] = survey.Correction{Record: 4, Moved: true, MovedM: .31, U: .12, Neighbor: true, Parts: []survey.CorrectedPart{{
		Line: orb.LineString{{500000, 4400020}, {500070, 4400020.31}}, From: []int{0, 1}, MovedM: []float64{0, .31}, U: []float64{nan, .12}, StationM: []float64{0, 70}, Cause: []survey.Cause{survey.CauseNone, survey.CauseJunction}, Readings: []int{0, 0},
	}}}
	return c
}

// handfulFittings are a valve that moves with the first record and one on no
// line, with heights, in a system of their own.
func handfulFittings() ([]survey.Layer, []survey.Fitting, []survey.FittingMove) {
	l := survey.Layer{
		Source: "gis/valves.shp", Name: "valves", CRS: utm17, Fields: []survey.Field{{Name: "VALVE"}},
		Features: []survey.Feature{
			{Row: 1, Parts: []orb.LineString{{{500050, 4400000}}}, Z: [][]float64{{11}}, Values: attributes("V1")},
			{Row: 2, Parts: []orb.LineString{{{500300.1, 4400000.7}}}, Z: [][]float64{{7}}, Values: attributes(hostil)},
		},
	}
	fs := []survey.Fitting{
		{Source: "gis/valves.shp", ID: "V1", Utility: "water", Point: l.Features[0].Parts[0][0], Scale: .9996},
		{Source: "gis/valves.shp", ID: hostil, Point: l.Features[1].Parts[0][0], Scale: .9996, Feature: 1},
	}
	return []survey.Layer{l}, fs, []survey.FittingMove{
		{Fitting: 0, Record: 0, Point: orb.Point{500050, 4399998.8}, MovedM: 1.2, U: .08},
		{Fitting: 1, Record: -1, Point: fs[1].Point, U: nan},
	}
}

// nothing is a result of a job that read no readings and found nothing.
func nothing() *survey.Result {
	return &survey.Result{Job: "empty", Version: "test", Survey: &survey.Survey{Plane: utm17}}
}
