package decisions

import (
	"errors"
	"fmt"
	"strings"

	"github.com/xuri/excelize/v2"

	"github.com/asfound/asfound/internal/life"
	"github.com/asfound/asfound/pipeline/survey"
)

// newBook is a workbook without a row.
func newBook() (*book, error) {
	f := excelize.NewFile()
	// The same workbook every time, as far as it is the program's: no clock in it.
	const made = "2000-01-01T00:00:00Z"
	err := errors.Join(f.SetSheetName("Sheet1", sheetName), f.SetDocProps(&excelize.DocProperties{
		Title: "Decisions", Description: survey.Caution, Creator: program, LastModifiedBy: program, Created: made, Modified: made,
	}))
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return &book{file: f, sheet: sheetName, head: 1, last: 1, columns: map[string]int{}}, nil
}

// finish gives a new workbook its looks, a list of the words to choose from, and a
// page that says how it is used.
func (b *book) finish() error {
	styles, err := b.styles()
	if err != nil {
		return err
	}
	const rows = 100_000 // that filters and lists reach, however many are added
	last, err := excelize.ColumnNumberToName(len(b.columns))
	if err != nil {
		return err
	}
	choose := excelize.NewDataValidation(true)
	choose.Sqref = b.column(headDecision, 2, rows)
	err = errors.Join(
		choose.SetDropList(life.Words()),
		b.file.AddDataValidation(b.sheet, choose),
		b.file.SetCellStyle(b.sheet, "A1", last+"1", styles.head),
		b.file.SetPanes(b.sheet, &excelize.Panes{Freeze: true, XSplit: 1, YSplit: 1, TopLeftCell: "B2", ActivePane: "bottomRight"}),
		b.file.AutoFilter(b.sheet, fmt.Sprintf("A1:%s%d", last, rows), nil),
	)
	for _, c := range []struct {
		head  string
		style int
	}{{headFinding, styles.text}, {headRemark, styles.wrapped}, {headWho, styles.text}, {headUntil, styles.date}, {"What the data says", styles.wrapped}} {
		name, _, _ := strings.Cut(b.column(c.head, 1, 1), "1")
		err = errors.Join(err, b.file.SetColStyle(b.sheet, name, c.style))
	}
	return errors.Join(err, b.file.SetCellStyle(b.sheet, "A1", last+"1", styles.head), b.explain(styles))
}

// column is a range of a column's cells.
func (b *book) column(head string, from, to int) string {
	name, err := excelize.ColumnNumberToName(b.columns[head])
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%s%d:%s%d", name, from, name, to)
}

type styles struct{ head, text, wrapped, date int }

func (b *book) styles() (s styles, err error) {
	style := func(of *excelize.Style) int {
		id, e := b.file.NewStyle(of)
		err = errors.Join(err, e)
		return id
	}
	text, date := "@", "yyyy-mm-dd"
	s.head = style(&excelize.Style{
		Font:      &excelize.Font{Bold: true, Color: "FFFFFF"},
		Fill:      excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"33424F"}},
		Alignment: &excelize.Alignment{WrapText: true, Vertical: "center"},
	})
	s.text = style(&excelize.Style{CustomNumFmt: &text})
	s.wrapped = style(&excelize.Style{CustomNumFmt: &text, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	s.date = style(&excelize.Style{CustomNumFmt: &date})
	return s, err
}

// explain writes the page that says how the workbook is used.
func (b *book) explain(s styles) error {
	const page = "How"
	if _, err := b.file.NewSheet(page); err != nil {
		return err
	}
	lines := append([]string{
		"Type in the last four columns of the sheet Decisions: the next run reads them. Sort, filter, add columns, comments and sheets as you like; they stay.",
		"accepted: the finding is right; with correct.apply: accepted its line goes into the updated records.",
		"rejected: it is not; it stays quiet until the evidence changes beyond the uncertainty that it had.",
		"deferred: it stays quiet until the day under Until (2026-12-31).",
		"Nothing: it is open. A decision that no longer holds moves to Decided earlier, and Why says what happened.",
		"What cannot be read is listed in rejects.csv of the run, with the cell.",
	}, survey.Cautions()...)
	err := b.file.SetColWidth(page, "A", "A", 120)
	for i, line := range lines {
		cell := fmt.Sprintf("A%d", i+1)
		err = errors.Join(err, b.file.SetCellStr(page, cell, line), b.file.SetCellStyle(page, cell, cell, s.wrapped))
	}
	return err
}
