package read

import (
	"cmp"
	"context"
	"strings"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

type controlReader struct {
	*cells
	positions
	known                               pair
	clock                               clock
	mark, time, crew, receiver, session cell
	plane                               *plane
	name                                string
}

func readControl(ctx context.Context, src ControlSource, pl *plane, maxRejectShare float64) (*rowsFile[survey.Check], error) {
	return readRows(ctx, src.File, survey.RoleControl, maxRejectShare, func(b *binder, a *account) func(*row) (survey.Check, fault) {
		r := b.control(src, pl, a)
		return func(row *row) (survey.Check, fault) {
			check := r.read(row)
			if r.ok() {
				a.use(check.Observed, check.Time)
			}
			return check, r.fault
		}
	})
}

func (b *binder) control(src ControlSource, pl *plane, a *account) *controlReader {
	observed := b.system(src.File)
	if observed == nil {
		return nil
	}
	known, knownEpoch := observed, src.Epoch
	if src.TrueCRS != "" {
		if known = b.system(File{CRS: src.TrueCRS}); known == nil {
			return nil
		}
		knownEpoch = 0
	}
	if !(src.TrueLatitude.Mapped() && src.TrueLongitude.Mapped()) && !(src.TrueEasting.Mapped() && src.TrueNorthing.Mapped()) {
		b.problem("no columns for the known position: map true_latitude and true_longitude, or true_easting and true_northing")
	}
	r := &controlReader{
		cells:     newCells(b.table),
		positions: b.positions(src.Positions, pl, observed, src.Epoch),
		known:     b.pair([4]Column{src.TrueLatitude, src.TrueLongitude, src.TrueEasting, src.TrueNorthing}, pl, known, knownEpoch),
		clock:     b.clock(src.Time),
		mark:      b.cell(src.Mark), time: b.cell(src.Time),
		crew: b.cell(src.Crew), receiver: b.cell(src.Receiver), session: b.cell(src.Session),
		plane: pl,
		name:  src.Name,
	}
	a.reached(src.File, r.points.to)
	r.points.sample = &a.sample
	if to := r.known.to; to.operation != nil && src.TrueCRS != "" {
		a.known = to
		a.Notes = append(a.Notes, "known positions in "+to.from.Name()+": "+to.operation.Name())
	}
	a.odd = r.odd
	return r
}

func (r *controlReader) read(row *row) survey.Check {
	r.take(row)
	if !r.ok() {
		return survey.Check{}
	}
	c := survey.Check{Place: survey.Place{File: r.name, Row: row.number, Line: row.line}}
	c.Observed = r.point(&r.points)
	c.Known = r.point(&r.known)
	c.SigmaM = r.sigma(&r.positions)
	var day int32
	c.Time, day = r.localDay(&r.time, &r.clock, r.plane.solarOffset)
	if !r.ok() {
		return c
	}
	var err error
	if c.Scale, c.Convergence, err = r.plane.factors(c.Known); err != nil {
		r.fail(&r.known.y, "", "lies where the working plane has no scale: "+err.Error())
		return c
	}
	c.Mark = r.text(&r.mark)
	c.Session = sessionName(r.text(&r.crew), r.text(&r.receiver), day, r.text(&r.session))
	c.Positions = r.text(&r.source)
	return c
}

// checkKey is what makes two rows the same check.
type checkKey struct {
	mark, session   string
	time            time.Time
	observed, known orb.Point
}

func bareCheck(c *survey.Check) checkKey {
	return checkKey{c.Mark, c.Session, c.Time, comparablePoint(c.Observed), comparablePoint(c.Known)}
}

func compareChecks(a, b *survey.Check) int {
	return cmp.Or(
		strings.Compare(a.Session, b.Session), a.Time.Compare(b.Time), strings.Compare(a.Mark, b.Mark),
		comparePoints(a.Observed, b.Observed), comparePoints(a.Known, b.Known), strings.Compare(a.File, b.File))
}
