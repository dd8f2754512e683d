package read

import (
	"cmp"
	"context"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// markReader reads the rows of a file of paint marks, flags or stakes.
type markReader struct {
	*cells
	positions
	clock                                                  clock
	time, utility, crew, receiver, session, ticket, remark cell
	solarOffset                                            int
	name                                                   string
}

func readMarks(ctx context.Context, src MarksSource, pl *plane, maxRejectShare float64) (*rowsFile[survey.Mark], error) {
	return readRows(ctx, src.File, survey.RoleMarks, maxRejectShare, func(b *binder, a *account) func(*row) (survey.Mark, fault) {
		r := b.marks(src, pl, a)
		return func(row *row) (survey.Mark, fault) {
			m := r.read(row)
			if r.ok() {
				a.use(m.Point, m.Time)
			}
			return m, r.fault
		}
	})
}

func (b *binder) marks(src MarksSource, pl *plane, a *account) *markReader {
	system := b.system(src.File)
	if system == nil {
		return nil
	}
	if !src.Time.Given() {
		src.Time.Name = b.table.timeColumn
	}
	r := &markReader{
		cells:     newCells(b.table),
		positions: b.positions(src.Positions, pl, system, src.Epoch),
		clock:     b.clock(src.Time),
		time:      b.cell(src.Time), utility: b.cell(src.Utility), ticket: b.cell(src.Ticket), remark: b.cell(src.Remark),
		crew: b.cell(src.Crew), receiver: b.cell(src.Receiver), session: b.cell(src.Session),
		solarOffset: pl.solarOffset,
		name:        src.Name,
	}
	a.reached(src.File, r.points.to)
	r.points.sample = &a.sample
	a.odd = r.odd
	return r
}

func (r *markReader) read(row *row) (m survey.Mark) {
	r.take(row)
	if !r.ok() {
		return m
	}
	m.Place = survey.Place{File: r.name, Row: row.number, Line: row.line}
	m.Point = r.point(&r.points)
	m.SigmaM = r.sigma(&r.positions)
	var day int32
	m.Time, day = r.localDay(&r.time, &r.clock, r.solarOffset)
	if !r.ok() {
		return m
	}
	m.Utility = r.cells.utility(&r.utility)
	m.Crew, m.Receiver = r.text(&r.crew), r.text(&r.receiver)
	m.Session = sessionName(m.Crew, m.Receiver, day, r.text(&r.session))
	m.Positions = r.text(&r.source)
	m.Ticket = r.text(&r.ticket)
	m.Remark = r.cells.remark(&r.remark)
	return m
}

// bareMark is what makes two rows the same mark: all but the place and, where a
// time tells marks apart, what was written to it afterwards.
func bareMark(m *survey.Mark) survey.Mark {
	bare := *m
	bare.Place = survey.Place{}
	bare.Point, bare.SigmaM = comparablePoint(m.Point), comparableNumber(m.SigmaM)
	if !m.Time.IsZero() {
		bare.Ticket, bare.Remark = "", ""
	}
	return bare
}

func compareMarks(a, b *survey.Mark) int {
	return cmp.Or(
		strings.Compare(a.Session, b.Session), a.Time.Compare(b.Time), strings.Compare(a.Utility, b.Utility), strings.Compare(a.Ticket, b.Ticket),
		comparePoints(a.Point, b.Point), cmp.Compare(a.SigmaM, b.SigmaM), strings.Compare(a.Positions, b.Positions),
		strings.Compare(a.Remark, b.Remark), strings.Compare(a.File, b.File))
}
