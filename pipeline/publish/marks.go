package publish

import (
	"strconv"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

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

// markChecks is a row a row of marks beside an exposed line: how far off it is
// and, where the two are not held against each other, why.
func (e *edition) markChecks() table {
	return table{name: "mark_checks", columns: []column{
		textColumn("exposure"), textColumn("exposed_on"), textColumn("source"), textColumn("rows"), textColumn("marked_on"), textColumn("ticket"), textColumn("crew"),
		textColumn("utility"), textColumn("record"), offsetColumn("offset_m"), offsetColumn("offset_u_m"), lengthColumn("zone_m"), textColumn("law"),
		probabilityColumn("probability"), textColumn("verdict"), offsetColumn("map_offset_m"), textColumn("reason"),
	}, rows: func(yield func(row) bool) {
		cells := make([]cell, 17)
		for i := range e.MarkChecks {
			c := &e.MarkChecks[i]
			x, k := &e.Survey.Exposures[c.Exposure], &e.Survey.Marks[c.Marks[0]]
			rows := make([]string, len(c.Marks))
			at := orb.MultiLineString{{x.Point}}
			for n, m := range c.Marks {
				rows[n] = strconv.Itoa(e.Survey.Marks[m].Row)
				at = append(at, orb.LineString{e.Survey.Marks[m].Point})
			}
			copy(cells, []cell{
				text(exposureName(x)), text(day(x.Time)), text(k.File), text(strings.Join(rows, " ")), text(day(k.Time)), text(k.Ticket), text(k.Crew),
				text(k.Utility), text(e.label(c.Record)), number(c.OffsetM), number(c.OffsetU), number(c.ZoneM), text(c.Law),
				number(c.Probability), word(c.Verdict), number(c.MapM), text(c.Reason),
			})
			if !yield(row{cells, at}) {
				return
			}
		}
	}}
}

// exposureName is what a person calls an exposure: its id, or where it stands.
func exposureName(x *survey.Exposure) string {
	if x.ID != "" {
		return x.ID
	}
	return x.File + " row " + strconv.Itoa(x.Row)
}

func day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format("2006-01-02")
}

// markRow is one row of the report's table of marks beside exposed lines.
type markRow struct {
	Exposure, Exposed, Marked, Utility, Record, Offset, OffsetU, Zone, Law, Probability, Verdict, Symbol, Map, Reason string
	Focus                                                                                                             string
}

func (e *edition) markCheckRows(m *mapView) []markRow {
	var rows []markRow
	for i := range e.MarkChecks[:min(len(e.MarkChecks), maxRows)] {
		c := &e.MarkChecks[i]
		x, k := &e.Survey.Exposures[c.Exposure], &e.Survey.Marks[c.Marks[0]]
		rows = append(rows, markRow{
			Exposure: exposureName(x), Exposed: day(x.Time), Marked: day(k.Time), Utility: orNone(x.Utility), Record: e.label(c.Record),
			Offset: signed(c.OffsetM, 2), OffsetU: fixed(1.96*c.OffsetU, 2), Zone: fixed(c.ZoneM, 2), Law: c.Law, Probability: fixed(c.Probability, 3),
			Verdict: string(c.Verdict), Symbol: symbols[c.Verdict], Map: signed(c.MapM, 2), Reason: c.Reason,
			Focus: m.focus(orb.MultiLineString{{x.Point}}),
		})
	}
	return rows
}
