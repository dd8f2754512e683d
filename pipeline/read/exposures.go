package read

import (
	"cmp"
	"context"
	"math"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// exposureReader reads the rows of a file of exposed lines.
type exposureReader struct {
	*cells
	positions
	clock                                                   clock
	id, time, depth, depthSigma, diameter, utility, fitting cell
	crew, receiver, session, ticket, remark                 cell
	depthTo                                                 survey.DepthTo
	check                                                   bool
	plane                                                   *plane
	name                                                    string
}

func readExposures(ctx context.Context, src ExposuresSource, pl *plane, maxRejectShare float64) (*rowsFile[survey.Exposure], error) {
	return readRows(ctx, src.File, survey.RoleExposures, maxRejectShare, func(b *binder, a *account) func(*row) (survey.Exposure, fault) {
		r := b.exposures(src, pl, a)
		return func(row *row) (survey.Exposure, fault) {
			e := r.read(row)
			if r.ok() {
				a.use(e.Point, e.Time)
			}
			return e, r.fault
		}
	})
}

func (b *binder) exposures(src ExposuresSource, pl *plane, a *account) *exposureReader {
	system := b.system(src.File)
	if system == nil {
		return nil
	}
	if !src.Time.Given() {
		src.Time.Name = b.table.timeColumn
	}
	r := &exposureReader{
		cells:     newCells(b.table),
		positions: b.positions(src.Positions, pl, system, src.Epoch),
		clock:     b.clock(src.Time),
		id:        b.cell(src.ID), time: b.cell(src.Time), depth: b.cell(src.Depth), depthSigma: b.cell(src.DepthAccuracy), diameter: b.cell(src.Diameter),
		utility: b.cell(src.Utility), fitting: b.cell(src.Fitting),
		crew: b.cell(src.Crew), receiver: b.cell(src.Receiver), session: b.cell(src.Session),
		ticket: b.cell(src.Ticket), remark: b.cell(src.Remark),
		depthTo: src.DepthTo, check: src.Check,
		plane: pl,
		name:  src.Name,
	}
	a.reached(src.File, r.points.to)
	r.points.sample = &a.sample
	a.odd = r.odd
	return r
}

// surveyors stand for the crew of exposures of which no crew is told: whoever
// surveyed them is not the unnamed crew of some readings.
const surveyors = "survey of exposures"

func (r *exposureReader) read(row *row) (e survey.Exposure) {
	r.take(row)
	if !r.ok() {
		return e
	}
	e.Place = survey.Place{File: r.name, Row: row.number, Line: row.line}
	e.Point = r.point(&r.points)
	e.ElevationM = r.height(&r.positions)
	e.SigmaM = r.sigma(&r.positions)
	e.DepthM, e.DepthTo, e.Check = r.size(&r.depth), r.depthTo, r.check
	e.DepthSigmaM, e.DiameterM = r.size(&r.depthSigma), r.size(&r.diameter)
	var day int32
	e.Time, day = r.localDay(&r.time, &r.clock, r.plane.solarOffset)
	if !r.ok() {
		return e
	}
	var err error
	if e.Scale, e.Convergence, err = r.plane.factors(e.Point); err != nil {
		r.fail(&r.points.y, "", "lies where the working plane has no scale: "+err.Error())
		return e
	}
	if e.DiameterM == 0 {
		r.odd.note(r.diameter.Name+": a diameter of 0 is taken as not stated", "")
		e.DiameterM = math.NaN()
	}
	e.ID = r.text(&r.id)
	e.Utility = r.cells.utility(&r.utility)
	e.Fitting = r.text(&r.fitting)
	e.Crew, e.Receiver = r.text(&r.crew), r.text(&r.receiver)
	e.Session = sessionName(or(e.Crew, surveyors), e.Receiver, day, r.text(&r.session))
	e.Positions = r.text(&r.source)
	e.Ticket = r.text(&r.ticket)
	e.Remark = r.cells.remark(&r.remark)
	return e
}

// bareExposure is what makes two rows the same exposure, as bareMark is.
func bareExposure(e *survey.Exposure) survey.Exposure {
	bare := *e
	bare.Place = survey.Place{}
	bare.Point, bare.Scale, bare.Convergence = comparablePoint(e.Point), 0, 0
	for _, v := range []*float64{&bare.ElevationM, &bare.SigmaM, &bare.DepthM, &bare.DepthSigmaM, &bare.DiameterM} {
		*v = comparableNumber(*v)
	}
	if !e.Time.IsZero() {
		bare.Ticket, bare.Remark = "", ""
	}
	return bare
}

func compareExposures(a, b *survey.Exposure) int {
	return cmp.Or(
		strings.Compare(a.Session, b.Session), a.Time.Compare(b.Time), strings.Compare(a.ID, b.ID), strings.Compare(a.Fitting, b.Fitting),
		strings.Compare(a.Utility, b.Utility), comparePoints(a.Point, b.Point), cmp.Compare(a.DepthM, b.DepthM), cmp.Compare(a.DepthTo, b.DepthTo),
		cmp.Compare(a.DiameterM, b.DiameterM), cmp.Compare(a.DepthSigmaM, b.DepthSigmaM), cmp.Compare(a.ElevationM, b.ElevationM), cmp.Compare(a.SigmaM, b.SigmaM),
		strings.Compare(a.Ticket, b.Ticket), strings.Compare(a.Positions, b.Positions), strings.Compare(a.Remark, b.Remark),
		strings.Compare(a.File, b.File))
}
