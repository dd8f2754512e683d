// Package decisions reads and writes the living list of decisions: a workbook in
// which people say what is to become of findings, outside any run.
//
// A row is told by its finding, a column by its head, wherever both stand: people
// sort, filter, add columns, comments and sheets, and all of that stays. The
// program writes its own columns only; what is typed in the four of the people is
// theirs.
package decisions

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"github.com/asfound/asfound/internal/life"
)

// Name is what the workbook is called, Beside where it is written while somebody
// has it open.
const (
	Name   = "decisions.xlsx"
	Beside = "decisions-beside.xlsx"
)

// The heads by which columns are found. The last four are for people.
const (
	headFinding  = "Finding"
	headLife     = "Status"
	headEarlier  = "Decided earlier"
	headDecision = "Decision"
	headUntil    = "Until"
	headWho      = "Who"
	headRemark   = "Remark"

	sheetName = "Decisions"
)

// people are the heads of the columns in which people type.
var people = []string{headDecision, headUntil, headWho, headRemark}

// Row is what was typed beside a finding, and where.
type Row struct {
	File    string // as messages call it
	Sheet   string
	Number  int // of the sheet
	Finding string
	life.Typed
	savedBy string         // who saved the workbook last
	columns map[string]int // of the heads
}

// At is the address of a cell in the row: sheet and cell.
func (r *Row) At(head string) string {
	cell, err := excelize.CoordinatesToCellName(r.columns[head], r.Number)
	if err != nil {
		cell = strconv.Itoa(r.Number)
	}
	return r.Sheet + "!" + cell
}

// Read reads the rows of a workbook; name is what messages call it.
func Read(data []byte, name string) ([]Row, error) {
	b, err := openBook(data)
	if err != nil {
		return nil, fmt.Errorf("it cannot be read as a workbook: %w", err)
	}
	defer b.file.Close()
	who := b.lastSavedBy()
	var out []Row
	for n := b.head + 1; n <= b.last; n++ {
		id := b.text(headFinding, n)
		if id == "" {
			continue
		}
		r := Row{File: name, Sheet: b.sheet, Number: n, Finding: id, savedBy: who, columns: b.columns}
		r.Word = strings.ToLower(b.text(headDecision, n))
		r.Until = b.date(n)
		r.Who, r.Remark = b.text(headWho, n), b.text(headRemark, n)
		out = append(out, r)
	}
	return out, nil
}

// book is an open workbook and where its columns are.
type book struct {
	file    *excelize.File
	sheet   string
	head    int            // row of the heads
	last    int            // last row that is used
	columns map[string]int // by head, from 1
	rows    [][]string     // raw values
	date04  bool           // dates count from 1904
}

// headRows is how far down the heads are looked for: people put titles above.
const headRows = 20

func openBook(data []byte) (*book, error) {
	file, err := excelize.OpenReader(strings.NewReader(string(data)), excelize.Options{RawCellValue: true})
	if err != nil {
		return nil, err
	}
	b := &book{file: file, columns: map[string]int{}}
	if p, err := file.GetWorkbookProps(); err == nil && p.Date1904 != nil {
		b.date04 = *p.Date1904
	}
	sheets := file.GetSheetList()
	slices.SortStableFunc(sheets, func(x, y string) int { // ours first, as it is called
		return strings.Compare(mark(x == sheetName), mark(y == sheetName))
	})
	for _, sheet := range sheets {
		rows, err := file.GetRows(sheet, excelize.Options{RawCellValue: true})
		if err != nil {
			return nil, errors.Join(err, file.Close())
		}
		for i, row := range rows[:min(len(rows), headRows)] {
			if slices.ContainsFunc(row, func(s string) bool { return strings.TrimSpace(s) == headFinding }) {
				b.sheet, b.head, b.last, b.rows = sheet, i+1, len(rows), rows
				for c, s := range row {
					if s = strings.TrimSpace(s); b.columns[s] == 0 {
						b.columns[s] = c + 1
					}
				}
				for _, head := range people {
					if b.columns[head] == 0 {
						return nil, errors.Join(fmt.Errorf("its sheet %s has no column %q", sheet, head), file.Close())
					}
				}
				return b, nil
			}
		}
	}
	return nil, errors.Join(fmt.Errorf("no sheet has a column %q", headFinding), file.Close())
}

func mark(first bool) string {
	if first {
		return "0"
	}
	return "1"
}

// text is a cell of a row, without the space around it; "" where there is none.
func (b *book) text(head string, row int) string {
	c := b.columns[head]
	if c == 0 || row > len(b.rows) || c > len(b.rows[row-1]) {
		return ""
	}
	return strings.TrimSpace(b.rows[row-1][c-1])
}

// date is the day typed under Until: a date of the spreadsheet as YYYY-MM-DD, a
// text as it stands.
func (b *book) date(row int) string {
	s := b.text(headUntil, row)
	serial, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return s
	}
	t, err := excelize.ExcelDateToTime(serial, b.date04)
	if err != nil {
		return s
	}
	return t.Format(time.DateOnly)
}

// lastSavedBy is who saved the workbook last, where that was not this program.
func (b *book) lastSavedBy() string {
	p, err := b.file.GetDocProps()
	if err != nil || p.LastModifiedBy == program {
		return ""
	}
	return strings.TrimSpace(p.LastModifiedBy)
}

const program = "asfound"
