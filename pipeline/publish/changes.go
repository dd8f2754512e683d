package publish

import (
	"math"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// coordinateColumn is of a coordinate of a record's own system, in its unit: a
// tenth of a millimetre in degrees.
func coordinateColumn(name string) column { return column{name, kindNumber, lonLatDecimals} }

// changes is a row a vertex that moves or is added, and a row a fitting that moves.
func (e *edition) changes() table {
	return table{name: "changes", columns: []column{
		textColumn("record"), textColumn("fitting"), textColumn("source"),
		integerColumn("part"), integerColumn("vertex"), integerColumn("was_vertex"), lengthColumn("station_m"),
		coordinateColumn("before_x"), coordinateColumn("before_y"), coordinateColumn("after_x"), coordinateColumn("after_y"),
		offsetColumn("moved_m"), offsetColumn("u_m"), textColumn("evidence"), integerColumn("readings"),
		textColumn("status"), textColumn("decision"), textColumn("finding"),
	}, rows: func(yield func(row) bool) {
		for i := range e.Survey.Records {
			if c := e.correction(i); c != nil && !e.changesOf(i, c, yield) {
				return
			}
		}
		for i := range e.Survey.Fittings {
			if m := e.fittingMove(i); m != nil && !e.changeOfFitting(m, yield) {
				return
			}
		}
	}}
}

// changesOf are the rows of one record.
func (e *edition) changesOf(i int, c *survey.Correction, yield func(row) bool) bool {
	rec := &e.Survey.Records[i]
	source, toOwn := e.Survey.Layers[rec.Layer].Features[rec.Feature].Parts, e.layers[rec.Layer].fromPlane
	line := lineref.New(rec.Parts, rec.Scale)
	for p := range c.Parts {
		part := &c.Parts[p]
		for v, at := range part.Line {
			if part.MovedM[v] == 0 && part.From[v] >= 0 {
				continue
			}
			before, was := orb.Point{}, math.NaN()
			if part.From[v] >= 0 {
				before, was = source[p][part.From[v]], float64(part.From[v]+1)
			} else {
				before = own(toOwn, line.At(part.StationM[v]))
			}
			after := own(toOwn, at)
			if !yield(row{cells: []cell{
				text(e.labels[i]), text(""), text(rec.Source), integer(p + 1), integer(v + 1), number(was), number(part.StationM[v]),
				number(before[0]), number(before[1]), number(after[0]), number(after[1]),
				number(part.MovedM[v]), number(part.U[v]), text(part.Cause[v].String()), integer(part.Readings[v]),
				text(status(c)), text(e.decision(c)), text(c.Finding),
			}}) {
				return false
			}
		}
	}
	return true
}

// changeOfFitting is the row of one fitting.
func (e *edition) changeOfFitting(m *survey.FittingMove, yield func(row) bool) bool {
	f := &e.Survey.Fittings[m.Fitting]
	before := e.Survey.PointLayers[f.Layer].Features[f.Feature].Parts[0][0]
	after := own(e.points[f.Layer].fromPlane, m.Point)
	c := e.correction(m.Record)
	if c == nil {
		c = &survey.Correction{}
	}
	return yield(row{cells: []cell{
		text(e.label(m.Record)), text(f.ID), text(f.Source), number(math.NaN()), number(math.NaN()), number(math.NaN()), number(math.NaN()),
		number(before[0]), number(before[1]), number(after[0]), number(after[1]),
		number(m.MovedM), number(m.U), text("its line"), number(math.NaN()),
		text(e.fittingStatus(m)), text(e.decision(c)), text(c.Finding),
	}})
}

// own is a point of the plane in a record's own system; NaN where that has none,
// which the writers of the map refuse.
func own(toOwn *crs.Operation, p orb.Point) orb.Point {
	q, err := toOwn.Apply(p)
	if err != nil {
		return orb.Point{math.NaN(), math.NaN()}
	}
	return q
}
