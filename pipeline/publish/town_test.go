package publish

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// town is a made-up result of any size: streets in a grid with three lines in
// each, sheets with shifts, traces along every other street. It is no adjusted
// model, only numbers that look like one: enough to look at a report and to
// measure how long writing takes. readingsEach is the readings on a surveyed
// record.
func town(t testing.TB, blocks, readingsEach int) *survey.Result {
	t.Helper()
	b := townBuilder{rnd: rand.New(rand.NewPCG(7, 11)), each: readingsEach}
	b.r = &survey.Result{Job: "Harbour district, autumn", Version: "v0.0.0-test", Banner: "internal", Survey: &survey.Survey{Plane: utm17}}
	b.r.Model = &survey.Model{Budget: handfulModel().Budget, Fit: survey.Fit{Unknowns: 5210, VarianceFactor: 1.04, Iterations: 5}}
	b.r.Survey.Layers = []survey.Layer{{Source: "gis/lines.shp", Name: "lines", CRS: utm17, Fields: []survey.Field{{Name: "ASSET_ID"}, {Name: "DIA", Kind: survey.FieldNumber}}}}
	for row := range blocks {
		for column := range blocks {
			b.street(row, column, true)
			b.street(row, column, false)
		}
	}
	b.shared(blocks)
	return b.r
}

type townBuilder struct {
	r    *survey.Result
	rnd  *rand.Rand
	each int
}

// street adds a water main, a gas main and a sewer along one side of a block.
func (b *townBuilder) street(row, column int, eastward bool) {
	const block = 90.0
	x, y := 500000+block*float64(column), 4400000+block*float64(row)
	for k, utility := range []string{"water", "gas", "sewer"} {
		side := 3 * float64(k-1)
		line := orb.LineString{{x, y + side}, {x + block/2, y + side + 2*math.Sin(float64(row))}, {x + block, y + side}}
		if !eastward {
			line = orb.LineString{{x + side, y}, {x + side + 1.5, y + block/2}, {x + side, y + block}}
		}
		sheet := fmt.Sprintf("S-%d%d", row/3, column/3)
		surveyed := (row+column)%2 == 0
		b.record(utility, sheet, line, surveyed)
	}
}

func (b *townBuilder) record(utility, sheet string, line orb.LineString, surveyed bool) {
	s := b.r.Survey
	i := len(s.Records)
	rec := survey.Record{Source: "gis/lines.shp", ID: fmt.Sprintf("%s-%d", utility[:1], i+1), Utility: utility, Sheet: sheet, Parts: orb.MultiLineString{line}, Scale: .9996, CoverM: 1.1, DiameterM: .2, Conductor: survey.ConductorPipe, Feature: i}
	s.Layers[0].Features = append(s.Layers[0].Features, survey.Feature{Row: i + 1, Parts: []orb.LineString{line}, Values: attributes(rec.ID, "200")})
	s.Records = append(s.Records, rec)
	length := groundLength(&rec)
	j := survey.Judgement{Record: i, Tolerance: survey.Tolerance{HorizontalM: .5, DepthM: .3, Rule: "default: horizontal 0.5 m, depth 0.3 m"}, LengthM: length, Position: survey.VerdictUnsurveyed}
	profile, correction := survey.Profile{}, survey.Correction{Record: i}
	if surveyed {
		b.trace(i, &rec, length, &j, &profile, &correction)
	}
	b.r.Judgements = append(b.r.Judgements, j)
	b.r.Model.Profiles = append(b.r.Model.Profiles, profile)
	b.r.Corrections = append(b.r.Corrections, correction)
}

// trace walks a record and fills what the stages would say of it.
func (b *townBuilder) trace(i int, rec *survey.Record, length float64, j *survey.Judgement, profile *survey.Profile, c *survey.Correction) {
	base := .12 * b.rnd.NormFloat64()
	switch {
	case rec.Sheet == "S-01":
		base += 1.1
	case b.rnd.Float64() < .12:
		base += .9
	case b.rnd.Float64() < .15:
		base += .42
	}
	wave := b.rnd.Float64() * 6
	offset := func(station float64) float64 { return base + .12*math.Sin(wave+station/14) }
	line := lineref.New(rec.Parts, rec.Scale)
	tr := survey.Trace{ID: fmt.Sprintf("field/crews.csv:L%d", i), Utility: rec.Utility, Crew: "blue", Session: "blue R1 2026-09-14"}
	var ms []survey.Match
	var us, covers []float32
	from, to := .04*length, .9*length
	for k := range b.each {
		station := from + (to-from)*float64(k)/float64(max(b.each-1, 1))
		o := offset(station) + .05*b.rnd.NormFloat64()
		part, seg := line.Locate(station)
		at, d := line.At(station), line.Direction(part, seg)
		status, why := survey.StatusUsed, ""
		if b.rnd.Float64() < .06 {
			status, why, o = survey.StatusUntrusted, "two position indications are 31 cm apart", o+.5
		}
		row := int(b.r.Model.Fit.Readings) + len(ms) + 1
		tr.Readings = append(tr.Readings, survey.Reading{Place: survey.Place{File: "field/crews.csv", Row: row, Line: row + 1}, Point: orb.Point{at[0] + d[1]*o, at[1] - d[0]*o}, SigmaM: .02, DepthM: 1.2})
		ms = append(ms, survey.Match{Record: i, Part: part, Segment: seg, StationM: station, OffsetM: o, Probability: .99, Status: status, Reason: why, Inflate: 1})
		us, covers = append(us, .06), append(covers, float32(.1*b.rnd.NormFloat64()))
	}
	b.r.Survey.Traces = append(b.r.Survey.Traces, tr)
	b.r.Matches = append(b.r.Matches, ms)
	b.r.Model.OffsetU = append(b.r.Model.OffsetU, us)
	b.r.Model.CoverDifferenceM = append(b.r.Model.CoverDifferenceM, covers)
	b.r.Model.Fit.Readings += len(ms)
	for station := 0.0; station <= length; station += length / 24 {
		beyond := max(from-station, station-to, 0)
		profile.Nodes = append(profile.Nodes, survey.Node{StationM: station, Vertex: -1, OffsetM: offset(station), OffsetU: math.Min(.05+.012*beyond, .3)})
	}
	profile.Cover = survey.Cover{Readings: len(ms), DifferenceM: .02, U: .04}
	profile.Shares = survey.Shares{RawM: base, SheetM: base * .6, OwnM: base * .2, LocalM: base * .15, SessionM: .02, BiasM: -.01, NoiseM: .01, Readings: len(ms)}
	b.verdict(i, rec, j, c, offset, from, to, base)
}

func (b *townBuilder) verdict(i int, rec *survey.Record, j *survey.Judgement, c *survey.Correction, offset func(float64) float64, from, to, base float64) {
	j.CoveredM, j.Readings, j.WorstU = to-from, b.each, .06
	j.WorstM = base
	v := survey.VerdictWithin
	switch a := math.Abs(base); {
	case a > .62:
		v, j.OutsideM, j.Probability, j.Attribution = survey.VerdictOutside, to-from, .998, survey.AttributionRecord
	case a > .38:
		v, j.UndecidedM, j.Probability, j.Attribution = survey.VerdictUndecided, to-from, .6, survey.AttributionInseparable
	default:
		j.WithinM = to - from
	}
	j.Position, j.Depth = v, survey.VerdictWithin
	j.Stretches = []survey.Stretch{{FromM: from, ToM: to, Verdict: v, Probability: j.Probability, WorstM: base, WorstU: .06}}
	if v == survey.VerdictWithin {
		return
	}
	line := lineref.New(rec.Parts, rec.Scale)
	id := fmt.Sprintf("P-%04d", len(b.r.Findings)+1)
	b.r.Findings = append(b.r.Findings, survey.Finding{
		ID: id, Kind: survey.KindPosition, Record: i, Utility: rec.Utility, Sheet: rec.Sheet, Verdict: v, FromM: from, ToM: to, OffsetM: base, OffsetU: .06,
		Probability: j.Probability, Attribution: j.Attribution, ToleranceM: .5, Readings: b.each, Line: line.Between(from, to),
		Sentence: fmt.Sprintf("From station %.1f m to %.1f m the line lies %.2f m to the right of %s, ± 0.12 m; the tolerance is 0.50 m.", from, to, base, rec.ID),
	})
	if v == survey.VerdictOutside {
		moved := rec.Parts[0].Clone()
		d := line.Direction(0, 0)
		moved[1] = orb.Point{moved[1][0] + d[1]*base, moved[1][1] - d[0]*base}
		*c = survey.Correction{Record: i, Moved: true, MovedM: math.Abs(base), U: .06, Finding: id, Parts: []survey.CorrectedPart{{Line: moved, From: []int{0, 1, 2}, MovedM: []float64{0, math.Abs(base), 0}, U: []float64{.3, .06, .3}, StationM: []float64{0, 1, 2}, Cause: make([]survey.Cause, 3), Readings: make([]int, 3)}}}
	}
}

// shared adds what belongs to no record alone.
func (b *townBuilder) shared(blocks int) {
	r, s := b.r, b.r.Survey
	n := r.Model.Fit.Readings
	last := started.Add(-30 * 24 * time.Hour)
	s.Sources = []survey.Source{
		{Name: "gis/lines.shp", Role: survey.RoleRecords, SHA256: "5d41402abc4b2a76b9719d911017c592aa0b1c2d3e4f5061728394a5b6c7d8e9", Rows: len(s.Records), Used: len(s.Records), CRS: "NAD83 / UTM zone 17N", Operation: "no change of datum (NAD83)"},
		{Name: "field/crews.csv", Role: survey.RoleField, SHA256: "7d793037a0760186574b0282f2f435e7aa0b1c2d3e4f5061728394a5b6c7d8e9", Rows: n, Used: n, CRS: "NAD83", Operation: "no change of datum (NAD83)", First: last.Add(-12 * 24 * time.Hour), Last: last},
		{Name: "field/extra.csv", Role: survey.RoleField, SHA256: "9d5ed678fe57bcca610140957afab571aa0b1c2d3e4f5061728394a5b6c7d8e9", Rows: 42, Used: 0, Rejected: 42, CRS: "NAD83", SetAside: "42 of 42 rows are bad (more than 5 %): LAT is no latitude"},
	}
	s.Rejects = []survey.Reject{{Place: survey.Place{File: "field/extra.csv", Row: 1, Line: 2, Field: "LAT"}, Value: "N/A", Reason: "is no latitude; write decimal degrees"}}
	s.Notes = []string{"Half of the readings have no separation of position indications: their signal cannot be checked."}
	r.Model.Effects = []survey.Effect{
		{Kind: survey.EffectSheet, Name: "S-01", Readings: 300, Records: 27, V: survey.Vector{East: .31, North: -1.08, EE: .0036, NN: .0025}, Significant: true, Explanation: "A shift of 1.12 m. No blunder that is possible here explains it."},
		{Kind: survey.EffectSheet, Name: "S-00", Readings: 320, Records: 30, V: survey.Vector{East: .02, North: .03, EE: .0036, NN: .0025}},
		{Kind: survey.EffectSession, Name: "blue R1 2026-09-14", Readings: n, Checks: 4, V: survey.Vector{East: .012, North: -.008, EE: .0001, NN: .0001}, Explanation: "Agrees with its control checks."},
		{Kind: survey.EffectSource, Name: "city network", Readings: n, V: survey.Vector{East: 0, North: .01, EE: .0004, NN: .0004}},
	}
	cost := 0.0
	for i := range s.Records {
		if r.Judgements[i].Position != survey.VerdictUnsurveyed || len(r.Resurvey) == 40 {
			continue
		}
		rank, length := len(r.Resurvey)+1, r.Judgements[i].LengthM
		cost += 162
		r.Resurvey = append(r.Resurvey, survey.Resurvey{Rank: rank, Package: 1 + (rank-1)/8, Record: i, ToM: length, LengthM: length, Probability: .4 / math.Sqrt(float64(rank)), Weight: 1, Cost: 162, Benefit: 30 / float64(rank), CumulativeCost: cost, InBudget: rank <= 24, Reason: "unsurveyed, on a sheet whose other records are outside", Line: s.Records[i].Parts[0]})
	}
	unmapped := orb.LineString{{500040, 4400040}, {500060, 4400058}, {500085, 4400060}}
	r.Findings = append(r.Findings,
		survey.Finding{ID: "U-0001", Kind: survey.KindUnmapped, Record: -1, Utility: "gas", OffsetM: nan, OffsetU: nan, Probability: nan, ToleranceM: nan, Readings: 12, Sentence: "12 readings over 53 m fit no record.", Line: orb.MultiLineString{unmapped}},
		survey.Finding{ID: "N-0001", Kind: survey.KindNotDetected, Record: len(s.Records) - 1, Utility: "sewer", OffsetM: nan, OffsetU: nan, Probability: nan, ToleranceM: nan, Sentence: "Swept for sewer on 14 Sep 2026 with no reading on it. This does not say that the line is absent.", Line: s.Records[len(s.Records)-1].Parts},
	)
}
