package publish

import "github.com/paulmach/orb"

// marks is a row a mark, in the survey's order.
func (e *edition) marks() table {
	return table{name: "marks", columns: []column{
		textColumn("source"), integerColumn("row"), integerColumn("line"), textColumn("ticket"), textColumn("utility"), textColumn("crew"),
		textColumn("record"), lengthColumn("station_m"), offsetColumn("offset_m"), probabilityColumn("match_probability"),
		textColumn("status"), textColumn("reason"),
	}, rows: e.markRows}
}

func (e *edition) markRows(yield func(row) bool) {
	cells := make([]cell, 12)
	point := make(orb.LineString, 1)
	at := orb.MultiLineString{point}
	for i := range e.MarkMatches {
		k, m := &e.Survey.Marks[i], &e.MarkMatches[i]
		copy(cells, []cell{
			text(k.File), integer(k.Row), integer(k.Line), text(k.Ticket), text(k.Utility), text(k.Crew),
			text(e.label(m.Record)), number(m.StationM), number(m.OffsetM), number(m.Probability), word(m.Status), text(m.Reason),
		})
		point[0] = k.Point
		if !yield(row{cells, at}) {
			return
		}
	}
}
