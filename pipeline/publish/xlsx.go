package publish

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/xuri/excelize/v2"

	"github.com/asfound/asfound/internal/sortedzip"
)

// maxSheetRows is how many rows a sheet gets: a spreadsheet holds 1,048,576.
const maxSheetRows = 1_000_000

// heads are the heads of the register's columns, with units. Every "one
// standard deviation" is spelled out, since a register travels without this
// program.
var heads = map[string]string{
	"finding": "Finding", "kind": "Kind", "record": "Record", "utility": "Utility", "sheet": "Sheet", "verdict": "Verdict",
	"from_m": "From station (m)", "to_m": "To station (m)", "offset_m": "Offset, + right, or cover difference (m)", "offset_u_m": "One standard deviation (m)",
	"probability": "Probability of being outside", "attribution": "The data attributes it to", "tolerance_m": "Tolerance, minimum cover or zone (m)",
	"readings": "Readings", "decide_at_u_m": "Standard deviation that would decide (m)", "basis": "Held against", "life": "Status", "life_reason": "Status, why", "sentence": "In words",
	"length_m": "Length (m)", "covered_m": "Surveyed (m)", "within_m": "Within (m)", "outside_m": "Outside (m)", "undecided_m": "Undecided (m)",
	"position": "Position", "worst_offset_m": "Worst offset, + right (m)", "worst_offset_u_m": "Its standard deviation (m)",
	"depth": "Depth", "cover_difference_m": "Cover, field minus record (m)", "cover_difference_u_m": "Its standard deviation (m)", "moved_m": "Proposed move (m)",
	"effect": "Effect", "name": "Name", "east_m": "East (m)", "north_m": "North (m)", "east_u_m": "East, one standard deviation (m)",
	"north_u_m": "North, one standard deviation (m)", "significant": "Significant", "explanation": "Explanation",
	"rank": "Rank", "package": "Work package", "probability_outside": "Probability of being outside", "weight": "Weight",
	"cost": "Cost (money)", "benefit": "Benefit (weighted m resolved)", "cumulative_cost": "Cost so far (money)", "reason": "Reason", "in_budget": "In budget", "control": "Drawn at random",
	"records": "Records", "east_north_m2": "Their covariance (m2)", "rests_on": "Rests on the word of", "cover_m": "Cover on the map, top of line to grade (m)", "positions": "Source of positions", "exposure": "Exposed in", "exposed_on": "Exposed on", "rows": "Rows of the marks", "marked_on": "Marked on", "ticket": "Ticket", "crew": "Crew",
	"zone_m": "Zone, to either side (m)", "law": "By", "map_offset_m": "Map, + right of the exposed line (m)",
	"attribution_probability": "Its probability, no session's own word counted",
	"session":                 "Session", "receiver": "Receiver", "first": "First reading", "last": "Last reading", "used": "Used", "distrusted": "Distrusted",
	"distrusted_share": "Share distrusted", "congested_share": "Share beside another line", "distrusted_there": "Share that the job distrusts at such places",
	"lines": "Records read", "sheets": "Sheets read", "lines_of_other_sessions": "Of these, read in other sessions too", "lines_of_other_crews": "Of these, read by other crews too",
	"checks": "Control checks", "check_east_m": "Their median, east (m)", "check_north_m": "Their median, north (m)",
	"bias_m": "Bias, + right of walking (m)", "noise_m": "Noise, one standard deviation (m)",
	"others_east_m": "Error without its own word, east (m)", "others_north_m": "Error without its own word, north (m)",
	"others_east_u_m": "Its standard deviation, east (m)", "others_north_u_m": "Its standard deviation, north (m)",
	"source": "Source", "row": "Row", "line": "Line", "field": "Field", "value": "Value",
}

// wide are the columns that hold sentences.
var wide = map[string]float64{"sentence": 90, "explanation": 70, "reason": 60, "value": 30, "name": 34, "finding": 18, "record": 22, "source": 34, "basis": 40, "life_reason": 40}

// register is a workbook being written.
type register struct {
	file     *excelize.File
	head     int
	styles   map[string]int // by number format
	excluded []string       // what did not fit
}

// writeRegister writes register.xlsx.
func (e *edition) writeRegister(out *bufio.Writer) (err error) {
	x := &register{file: excelize.NewFile(), styles: map[string]int{}}
	defer func() { err = errors.Join(err, x.file.Close()) }()
	x.file.SetZipWriter(func(w io.Writer) excelize.ZipWriter { return sortedzip.New(w) })
	if err = x.prepare(e); err != nil {
		return err
	}
	depth := e.findings("Depth", survey.KindDepth, survey.KindCover, survey.KindCoverPattern)
	records := e.records()
	records.name, records.rows = "Records", e.recordRows(e.hasFinding())
	effects, sessions, resurvey, rejects := e.effectsTable(), e.sessionsTable(), e.resurvey(), e.rejects()
	effects.name, sessions.name, resurvey.name, rejects.name = "Effects", "Sessions", "Re-survey", "Rejects"
	marks := e.markChecks()
	marks.name = "Marks"
	for _, t := range []table{
		e.findings("Findings"), records, depth, marks, effects, sessions, resurvey,
		e.findings("Unmapped", survey.KindUnmapped), e.findings("Not detected", survey.KindNotDetected),
		e.findings("Not traceable", survey.KindNotTraceable), rejects,
	} {
		if err = x.sheet(t); err != nil {
			return fmt.Errorf("sheet %s: %w", t.name, err)
		}
	}
	if err = x.method(e); err != nil {
		return fmt.Errorf("sheet Method: %w", err)
	}
	return x.file.Write(out)
}

// hasFinding tells the records that some finding is of.
func (e *edition) hasFinding() func(record int) bool {
	has := make([]bool, len(e.Survey.Records))
	for i := range e.Findings {
		if r := e.Findings[i].Record; r >= 0 {
			has[r] = true
		}
	}
	return func(record int) bool { return has[record] }
}

// prepare sets what makes a workbook the same every time, and the head's style.
func (x *register) prepare(e *edition) (err error) {
	// A new file has one sheet: it becomes the first and stays the one that opens.
	// Deleting it at the end would read all sheets back.
	if err = x.file.SetSheetName("Sheet1", "Findings"); err != nil {
		return err
	}
	stamp := strings.Replace(e.dataTime(), ".000Z", "Z", 1)
	if err = x.file.SetDocProps(&excelize.DocProperties{
		Title: cleanName(e.Job), Subject: "Correction register", Description: caution(),
		Creator: "asfound", LastModifiedBy: "asfound", Created: stamp, Modified: stamp,
	}); err != nil {
		return err
	}
	x.head, err = x.file.NewStyle(&excelize.Style{
		Font:      &excelize.Font{Bold: true, Color: "FFFFFF"},
		Fill:      excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"33424F"}},
		Alignment: &excelize.Alignment{WrapText: true, Vertical: "center"},
	})
	return err
}

// style is the style of a column: numbers with their decimals, text as text, so
// that a spreadsheet neither reads a number nor a formula into an id.
func (x *register) style(c column) (int, error) {
	format := "0"
	switch c.kind {
	case kindText:
		format = "@"
	case kindNumber:
		format = "0." + strings.Repeat("0", c.decimals)
	}
	if id, ok := x.styles[format]; ok {
		return id, nil
	}
	style := &excelize.Style{CustomNumFmt: &format}
	if format == "@" {
		style.Alignment = &excelize.Alignment{Vertical: "top", WrapText: true}
	}
	id, err := x.file.NewStyle(style)
	x.styles[format] = id
	return id, err
}

// sheet writes a table as a sheet: a frozen head with filters, then the rows.
func (x *register) sheet(t table) error {
	if _, err := x.file.NewSheet(t.name); err != nil {
		return err
	}
	w, err := x.file.NewStreamWriter(t.name)
	if err != nil {
		return err
	}
	top := make([]any, len(t.columns))
	line := make([]any, len(t.columns))
	styles := make([]int, len(t.columns))
	for i, c := range t.columns {
		top[i] = excelize.Cell{StyleID: x.head, Value: heads[c.name]}
		if styles[i], err = x.style(c); err != nil {
			return err
		}
		width := wide[c.name]
		if width == 0 {
			width = 14
		}
		if err := w.SetColWidth(i+1, i+1, width); err != nil {
			return err
		}
	}
	if err := w.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	if err := w.SetRow("A1", top, excelize.RowOpts{Height: 45}); err != nil {
		return err
	}
	n := 0
	for r := range t.rows {
		if n == maxSheetRows {
			x.excluded = append(x.excluded, fmt.Sprintf("The sheet %s holds the first %d rows only.", t.name, maxSheetRows))
			break
		}
		n++
		for i, c := range t.columns {
			line[i] = excelize.Cell{StyleID: styles[i], Value: c.xlsxValue(r.cells[i])}
		}
		if err := w.SetRow(fmt.Sprintf("A%d", n+1), line); err != nil {
			return err
		}
	}
	last, err := excelize.ColumnNumberToName(len(t.columns))
	if err != nil {
		return err
	}
	if err := x.file.AutoFilter(t.name, fmt.Sprintf("A1:%s%d", last, n+1), nil); err != nil {
		return err
	}
	return w.Flush()
}

// xlsxValue is a cell as the workbook holds it. A text stays text whatever it
// begins with.
func (c column) xlsxValue(v cell) any {
	switch {
	case c.unknown(v):
		return nil
	case c.kind == kindText:
		return strings.ToValidUTF8(v.text, "\uFFFD")
	case c.kind == kindNumber:
		return rounded(v.number, c.decimals)
	case c.kind == kindBool:
		return v.number != 0
	}
	return int64(v.number)
}

// method writes the sheet that says how the register came about.
func (x *register) method(e *edition) error {
	if _, err := x.file.NewSheet("Method"); err != nil {
		return err
	}
	w, err := x.file.NewStreamWriter("Method")
	if err != nil {
		return err
	}
	text, err := x.style(column{})
	if err != nil {
		return err
	}
	if err := errors.Join(w.SetColWidth(1, 1, 34), w.SetColWidth(2, 2, 100), w.SetColWidth(3, 3, 60),
		w.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})); err != nil {
		return err
	}
	rows := slices.Concat([]fact{{"Subject", "What", "Source"}}, e.cautions(), e.method())
	for _, s := range x.excluded {
		rows = append(rows, fact{Name: "Left out", Value: s})
	}
	for i, f := range rows {
		style := text
		if i == 0 {
			style = x.head
		}
		cells := []any{
			excelize.Cell{StyleID: style, Value: f.Name}, excelize.Cell{StyleID: style, Value: f.Value}, excelize.Cell{StyleID: style, Value: f.Source},
		}
		if err := w.SetRow(fmt.Sprintf("A%d", i+1), cells); err != nil {
			return err
		}
	}
	return w.Flush()
}
