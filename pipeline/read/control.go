package read

import (
	"context"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// controlFile is one file of control checks.
type controlFile struct {
	account
	checks []survey.Check
}

type controlReader struct {
	*cells
	positions
	known                               pair
	clock                               clock
	mark, time, crew, receiver, session cell
	plane                               *plane
	name                                string
}

func readControl(ctx context.Context, src ControlSource, pl *plane, maxRejectShare float64) (*controlFile, error) {
	f := &controlFile{account: account{Source: survey.Source{Name: src.Name, Role: survey.RoleControl}}}
	bind := func(b *binder) func(*row) fault {
		r := b.control(src, pl, &f.account)
		return func(row *row) fault {
			check := r.read(row)
			if !r.ok() {
				return r.fault
			}
			f.use(check.Observed, check.Time)
			f.checks = append(f.checks, check)
			return fault{}
		}
	}
	places := func() []survey.Place {
		places := make([]survey.Place, len(f.checks))
		for i := range f.checks {
			places[i] = f.checks[i].Place
		}
		return places
	}
	if err := f.readTable(ctx, src.File, maxRejectShare, bind, places); err != nil {
		return nil, err
	}
	if f.SetAside != "" {
		f.checks = nil
	}
	return f, nil
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
	mark, session     string
	second            int64
	x, y, trueX, truY int64
}

// markCheckDuplicates keeps the first of checks that say the same, in the
// order of files and rows, and counts the others. A check need not be kept for
// the trail, so that the later ones are left out.
func markCheckDuplicates(files []*controlFile) {
	first := map[checkKey]bool{}
	for _, f := range files {
		kept := f.checks[:0]
		for _, c := range f.checks {
			k := checkKey{c.Mark, c.Session, c.Time.UnixNano(), micrometres(c.Observed[0]), micrometres(c.Observed[1]), micrometres(c.Known[0]), micrometres(c.Known[1])}
			if first[k] {
				f.Used--
				f.Duplicates++
				continue
			}
			first[k] = true
			kept = append(kept, c)
		}
		f.checks = kept
	}
}

// micrometres rounds a coordinate so that the last digits of a transformation
// do not tell two equal positions apart.
func micrometres(v float64) int64 { return int64(math.Round(v * 1e6)) }
