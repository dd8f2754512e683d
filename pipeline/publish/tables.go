package publish

import (
	"iter"
	"math"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// findings is a row a finding, of some kinds or, if none is named, of all.
func (e *edition) findings(name string, kinds ...survey.Kind) table {
	return table{name: name, columns: []column{
		textColumn("finding"), textColumn("kind"), textColumn("record"), textColumn("utility"), textColumn("sheet"),
		textColumn("verdict"), lengthColumn("from_m"), lengthColumn("to_m"), offsetColumn("offset_m"), offsetColumn("offset_u_m"),
		probabilityColumn("probability"), textColumn("attribution"), lengthColumn("tolerance_m"), integerColumn("readings"),
		offsetColumn("decide_at_u_m"), textColumn("sentence"), textColumn("basis"), probabilityColumn("attribution_probability"),
		textColumn("records"), textColumn("life"), textColumn("life_reason"),
	}, rows: func(yield func(row) bool) {
		cells := make([]cell, 21)
		for i := range e.Findings {
			f := &e.Findings[i]
			if !isOf(f.Kind, kinds) {
				continue
			}
			from, to, decide, attributed := f.FromM, f.ToM, f.DecideAtU, f.AttributionProbability
			if f.Record < 0 { // stations are a record's
				from, to = math.NaN(), math.NaN()
			}
			if decide == 0 {
				decide = math.NaN()
			}
			if f.Kind != survey.KindPosition || f.Attribution == survey.AttributionNone {
				attributed = math.NaN()
			}
			copy(cells, []cell{
				text(f.ID), word(f.Kind), text(e.label(f.Record)), text(f.Utility), text(f.Sheet),
				word(f.Verdict), number(from), number(to), number(f.OffsetM), number(f.OffsetU),
				number(f.Probability), word(f.Attribution), number(f.ToleranceM), integer(f.Readings),
				number(decide), text(f.Sentence), text(f.Basis), number(attributed),
				text(e.labelsOf(f.Records)), word(f.Life), text(f.LifeReason),
			})
			if !yield(row{cells, f.Line}) {
				return
			}
		}
	}}
}

// labelsOf are the words of some records.
func (e *edition) labelsOf(records []int) string {
	var all []string
	for _, r := range records {
		all = append(all, e.labels[r])
	}
	return listed(all)
}

// effectNames are the names of some effects.
func (e *edition) effectNames(effects []int) string {
	var all []string
	for _, i := range effects {
		all = append(all, e.Model.Effects[i].Name)
	}
	return listed(all)
}

func listed(all []string) string { return strings.Join(all, ", ") }

func isOf(k survey.Kind, kinds []survey.Kind) bool {
	for _, want := range kinds {
		if k == want {
			return true
		}
	}
	return len(kinds) == 0
}

// readings is a row a reading, in the order of traces and walking.
func (e *edition) readings() table {
	return table{name: "readings", columns: []column{
		textColumn("source"), integerColumn("row"), integerColumn("line"), textColumn("trace"), textColumn("record"),
		lengthColumn("station_m"), offsetColumn("offset_m"), offsetColumn("offset_u_m"), offsetColumn("cover_difference_m"),
		probabilityColumn("match_probability"), textColumn("status"), textColumn("reason"),
		textColumn("session"), textColumn("crew"), lengthColumn("right_deg"),
	}, rows: e.readingRows}
}

func (e *edition) readingRows(yield func(row) bool) {
	cells := make([]cell, 15)
	point := make(orb.LineString, 1)
	at := orb.MultiLineString{point}
	for t := range e.Survey.Traces {
		tr := &e.Survey.Traces[t]
		for i := range tr.Readings {
			rd := &tr.Readings[i]
			m := e.match(t, i)
			station, offset, u, cover, right := math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
			if m.Record >= 0 {
				right = bearing(e.Survey.Records[m.Record].Right(m.Part, m.Segment))
				station, offset = m.StationM, m.OffsetM
				u, cover = e.offsetU(t, i), e.coverDifference(t, i)
			}
			copy(cells, []cell{
				text(rd.File), integer(rd.Row), integer(rd.Line), text(tr.ID), text(e.label(m.Record)),
				number(station), number(offset), number(u), number(cover),
				number(m.Probability), word(m.Status), text(m.Reason),
				text(tr.Session), text(tr.Crew), number(right),
			})
			point[0] = rd.Point
			if !yield(row{cells, at}) {
				return
			}
		}
	}
}

// bearing is that of a vector, in degrees from true north.
func bearing(east, north float64) float64 {
	return math.Mod(math.Atan2(east, north)*180/math.Pi+360, 360)
}

// offsetU is one standard deviation of a reading's offset, after the model.
func (e *edition) offsetU(trace, reading int) float64 {
	if e.Model == nil {
		return math.NaN()
	}
	return modelled(e.Model.OffsetU, trace, reading)
}

// coverDifference is a reading's cover minus its record's, after the model.
func (e *edition) coverDifference(trace, reading int) float64 {
	if e.Model == nil {
		return math.NaN()
	}
	return modelled(e.Model.CoverDifferenceM, trace, reading)
}

func modelled(values [][]float32, trace, reading int) float64 {
	if trace >= len(values) || reading >= len(values[trace]) {
		return math.NaN()
	}
	return float64(values[trace][reading])
}

// records is a row a record.
func (e *edition) records() table {
	return table{name: "records", columns: []column{
		textColumn("record"), textColumn("utility"), textColumn("sheet"),
		lengthColumn("length_m"), lengthColumn("covered_m"), lengthColumn("within_m"), lengthColumn("outside_m"), lengthColumn("undecided_m"),
		textColumn("position"), offsetColumn("worst_offset_m"), offsetColumn("worst_offset_u_m"),
		textColumn("depth"), offsetColumn("cover_difference_m"), offsetColumn("cover_difference_u_m"),
		textColumn("attribution"), offsetColumn("moved_m"), offsetColumn("cover_m"),
	}, rows: e.recordRows(func(int) bool { return true })}
}

// recordRows walks over the records that a test keeps.
func (e *edition) recordRows(keep func(record int) bool) iter.Seq[row] {
	return func(yield func(row) bool) {
		cells := make([]cell, 17)
		for i := range e.Survey.Records {
			if !keep(i) {
				continue
			}
			rec := &e.Survey.Records[i]
			j := survey.Judgement{Position: survey.VerdictUnsurveyed, WorstM: math.NaN(), WorstU: math.NaN(), LengthM: groundLength(rec)}
			if judged := e.judgement(i); judged != nil {
				j = *judged
			}
			if j.Readings == 0 && j.CoveredM == 0 {
				j.WorstM, j.WorstU = math.NaN(), math.NaN()
			}
			cover, coverU := math.NaN(), math.NaN()
			if p := e.profile(i); p != nil && p.Cover.Readings > 0 && !math.IsNaN(rec.CoverM) {
				cover, coverU = p.Cover.DifferenceM, p.Cover.U
			}
			moved := 0.0
			if c := e.correction(i); c != nil {
				moved = c.MovedM
			}
			copy(cells, []cell{
				text(e.labels[i]), text(rec.Utility), text(rec.Sheet),
				number(j.LengthM), number(j.CoveredM), number(j.WithinM), number(j.OutsideM), number(j.UndecidedM),
				word(j.Position), number(j.WorstM), number(j.WorstU),
				word(j.Depth), number(cover), number(coverU),
				word(j.Attribution), number(moved), number(rec.CoverM),
			})
			if !yield(row{cells, rec.Parts}) {
				return
			}
		}
	}
}

// effectsTable is a row a sheet, session or source of positions.
func (e *edition) effectsTable() table {
	return table{name: "effects", columns: []column{
		textColumn("effect"), textColumn("name"), integerColumn("readings"),
		offsetColumn("east_m"), offsetColumn("north_m"), offsetColumn("east_u_m"), offsetColumn("north_u_m"),
		boolColumn("significant"), textColumn("explanation"), integerColumn("records"), integerColumn("checks"),
		{"east_north_m2", kindNumber, 6},
		textColumn("rests_on"),
	}, rows: func(yield func(row) bool) {
		cells := make([]cell, 13)
		for _, f := range e.effects() {
			copy(cells, []cell{
				word(f.Kind), text(f.Name), integer(f.Readings),
				number(f.V.East), number(f.V.North), number(math.Sqrt(f.V.EE)), number(math.Sqrt(f.V.NN)),
				truth(f.Significant), text(f.Explanation), integer(f.Records), integer(f.Checks),
				number(f.V.EN), text(e.effectNames(f.RestsOn)),
			})
			if !yield(row{cells: cells}) {
				return
			}
		}
	}}
}

// resurvey is a row a stretch, in the order in which to survey next.
func (e *edition) resurvey() table {
	return table{name: "resurvey", columns: []column{
		integerColumn("rank"), integerColumn("package"), textColumn("record"),
		lengthColumn("from_m"), lengthColumn("to_m"), lengthColumn("length_m"),
		probabilityColumn("probability_outside"),
		{"weight", kindNumber, 3},
		moneyColumn("cost"),
		{"benefit", kindNumber, 3},
		moneyColumn("cumulative_cost"), textColumn("reason"), boolColumn("in_budget"), boolColumn("control"),
	}, rows: func(yield func(row) bool) {
		cells := make([]cell, 14)
		line := make(orb.MultiLineString, 1)
		for i := range e.Resurvey {
			v := &e.Resurvey[i]
			copy(cells, []cell{
				integer(v.Rank), integer(v.Package), text(e.label(v.Record)),
				number(v.FromM), number(v.ToM), number(v.LengthM),
				number(v.Probability), number(v.Weight), number(v.Cost), number(v.Benefit),
				number(v.CumulativeCost), text(v.Reason), truth(v.InBudget), truth(v.Control),
			})
			line[0] = v.Line
			if !yield(row{cells, line}) {
				return
			}
		}
	}}
}

// rejects is a row an input value that could not be used.
func (e *edition) rejects() table {
	return table{name: "rejects", columns: []column{
		textColumn("source"), integerColumn("row"), integerColumn("line"), textColumn("field"), textColumn("value"), textColumn("reason"),
	}, rows: func(yield func(row) bool) {
		cells := make([]cell, 6)
		for i := range e.Survey.Rejects {
			r := &e.Survey.Rejects[i]
			copy(cells, []cell{text(r.File), integer(r.Row), integer(r.Line), text(r.Field), text(r.Value), text(r.Reason)})
			if !yield(row{cells: cells}) {
				return
			}
		}
	}}
}

// groundLength is the length of a record, ground metres.
func groundLength(rec *survey.Record) float64 {
	length := 0.0
	for _, part := range rec.Parts {
		for i := 1; i < len(part); i++ {
			length += math.Hypot(part[i][0]-part[i-1][0], part[i][1]-part[i-1][1])
		}
	}
	if rec.Scale > 0 {
		length /= rec.Scale
	}
	return length
}
