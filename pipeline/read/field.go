package read

import (
	"context"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
)

// walk is what the readings of one trace have in common before gaps are
// looked at.
type walk struct {
	label                                              string // of the trace column; "" forms traces by gaps
	crew, receiver, utility, ticket, session, position string
	day                                                int32 // local, since 1970-01-01; noDay where no time is known
}

const noDay = math.MinInt32

// fieldFile is one file of readings. Readings stand in the file's order;
// walkOf names the walk of each.
type fieldFile struct {
	account
	readings []survey.Reading
	walks    []walk
	walkOf   []int32
}

// fieldReader reads the rows of a field file.
type fieldReader struct {
	*cells
	positions
	clock                                                              clock
	solarOffset                                                        int
	trace, time, fix, depth, current, frequency, mode, hookup, utility cell
	crew, receiver, session, separation, doubt, remark, ticket         cell
	fixes                                                              vocabulary[survey.Fix]
	modes                                                              vocabulary[survey.Mode]
	hookups                                                            vocabulary[survey.Hookup]
	doubts                                                             vocabulary[bool]
	depthTo                                                            survey.DepthTo
	name                                                               string
}

// readField reads one file of readings. Whatever is wrong with the file stays
// with it: it is set aside.
func readField(ctx context.Context, src FieldSource, pl *plane, maxRejectShare float64) (*fieldFile, error) {
	f := &fieldFile{account: account{Source: survey.Source{Name: src.Name, Role: survey.RoleField}}}
	index := map[walk]int32{}
	var w, last walk
	lastOf := int32(-1)
	bind := func(b *binder) func(*row) fault {
		r := b.field(src, pl, &f.account)
		return func(row *row) fault {
			f.makeRoom(row)
			f.readings = append(f.readings, survey.Reading{})
			reading := &f.readings[len(f.readings)-1] // filled where it stays: it is large
			if !r.read(row, reading, &w) {
				f.readings = f.readings[:len(f.readings)-1]
				return r.fault
			}
			if lastOf < 0 || w != last {
				of, met := index[w]
				if !met {
					of = int32(len(f.walks))
					index[w] = of
					f.walks = append(f.walks, w)
				}
				last, lastOf = w, of
			}
			f.walkOf = append(f.walkOf, lastOf)
			f.use(reading.Point, reading.Time)
			return fault{}
		}
	}
	if err := f.readTable(ctx, src.File, maxRejectShare, bind, f.places); err != nil {
		return nil, err
	}
	if f.SetAside != "" {
		f.readings, f.walks, f.walkOf = nil, nil, nil
	}
	return f, nil
}

// makeRoom allocates for the whole file once the first rows have shown how long
// a row is: growing step by step would copy every reading several times.
func (f *fieldFile) makeRoom(r *row) {
	const enough = 1024
	if len(f.readings) != enough || r.offset <= 0 {
		return
	}
	rows := int(float64(f.Bytes) / float64(r.offset) * float64(r.number) * 1.02)
	f.readings = slices.Grow(f.readings, max(rows-enough, 0))
	f.walkOf = slices.Grow(f.walkOf, max(rows-enough, 0))
}

func (f *fieldFile) places() []survey.Place {
	places := make([]survey.Place, len(f.readings))
	for i := range f.readings {
		places[i] = f.readings[i].Place
	}
	return places
}

func (b *binder) field(src FieldSource, pl *plane, a *account) *fieldReader {
	system := b.system(src.File)
	if system == nil {
		return nil
	}
	if !src.Time.Given() {
		src.Time.Name = b.table.timeColumn
	}
	b.openLog(&src, a)
	r := &fieldReader{
		cells:     newCells(b.table),
		positions: b.positions(src.Positions, pl, system, src.Epoch),
		clock:     b.clock(src.Time),
		trace:     b.cell(src.Trace), time: b.cell(src.Time), fix: b.cell(src.Fix),
		depth: b.cell(src.Depth), current: b.cell(src.Current), frequency: b.cell(src.Frequency),
		mode: b.cell(src.Mode), hookup: b.cell(src.Hookup), utility: b.cell(src.Utility),
		crew: b.cell(src.Crew), receiver: b.cell(src.Receiver), session: b.cell(src.Session),
		separation: b.cell(src.Separation), doubt: b.cell(src.Doubt), remark: b.cell(src.Remark), ticket: b.cell(src.Ticket),
		fixes:       newVocabulary(fixWords, "the kind of position", survey.FixUnknown),
		modes:       newVocabulary(modeWords, "the mode", survey.ModeUnknown),
		hookups:     newVocabulary(hookupWords, "the hook-up", survey.HookupUnknown),
		doubts:      newVocabulary(doubtWords, "doubt, taken as doubt", true),
		depthTo:     src.DepthTo,
		solarOffset: pl.solarOffset,
		name:        src.Name,
	}
	a.reached(src.File, r.points.to)
	r.points.sample = &a.sample
	a.odd = r.odd
	return r
}

// read takes one row to a reading and its walk, and says whether it can be
// used: r.fault says why not.
func (r *fieldReader) read(row *row, m *survey.Reading, w *walk) bool {
	r.take(row)
	if !r.ok() {
		return false
	}
	m.File, m.Row, m.Line = r.name, row.number, row.line
	m.Time, w.day = r.localDay(&r.time, &r.clock, r.solarOffset)
	r.locate(m)
	m.DepthM = r.size(&r.depth)
	m.DepthTo = r.depthTo
	m.CurrentA = r.number(&r.current)
	m.FrequencyHz = r.size(&r.frequency)
	m.SeparationM = math.Abs(r.number(&r.separation)) // its sign says on which side
	m.Mode = r.modes.read(r.cells, &r.mode)
	m.Hookup = r.hookups.read(r.cells, &r.hookup)
	m.Doubt = r.doubts.read(r.cells, &r.doubt)
	if m.Mode == survey.ModeSonde && m.DepthTo == survey.DepthToCentre {
		m.DepthTo = survey.DepthToSonde
	}
	if !r.ok() {
		return false
	}
	m.Remark = r.cells.remark(&r.remark)
	w.label = r.text(&r.trace)
	w.crew = r.text(&r.crew)
	w.receiver = r.text(&r.receiver)
	w.utility = r.cells.utility(&r.utility)
	w.ticket = r.text(&r.ticket)
	w.session = r.text(&r.session)
	w.position = r.text(&r.source)
	return true
}

// openLog reads the log that a file's positions come from.
func (b *binder) openLog(src *FieldSource, a *account) {
	if src.Log.Path == "" {
		return
	}
	if !src.Time.Given() {
		b.problem("its positions come from %s by time, but no column holds the time", src.Log.Name)
		return
	}
	log, err := openLog(src.Log)
	if err != nil {
		b.problem("the log of its positions cannot be read: %w", err)
		return
	}
	b.log = log
	sum, size, err := digest(src.Log.Path)
	if err != nil {
		b.problem("the log of its positions cannot be read: %w", err)
		return
	}
	a.Siblings = append(a.Siblings, survey.Sibling{Name: src.Log.Name, SHA256: sum, Bytes: size})
	a.Notes = append(a.Notes, log.notes()...)
}

// locate reads where a reading lies and how well that is known, from its row or
// from the log.
func (r *fieldReader) locate(m *survey.Reading) {
	m.SigmaM = r.sigma(&r.positions)
	log := r.points.log
	if log == nil {
		m.Point = r.point(&r.points)
		m.ElevationM = r.height(&r.positions)
		m.Fix = r.fixOf()
		return
	}
	if m.Time.IsZero() {
		r.fail(&r.time, "", "has no time to find its position by")
		return
	}
	p, why := log.position(m.Time)
	if why != "" {
		r.fail(&r.time, r.raw(&r.time), why)
		return
	}
	m.Point = r.place(&r.points, p.at)
	m.ElevationM, m.Fix = p.elevationM, p.fix
	if !math.IsNaN(p.sigmaM) {
		m.SigmaM = p.sigmaM
	}
}

// fixOf is the kind of position. A row whose receiver says that it has none
// holds no measured position.
func (r *fieldReader) fixOf() survey.Fix {
	fix := r.fixes.read(r.cells, &r.fix)
	if fix == noFix {
		r.fail(&r.fix, r.raw(&r.fix), "says that the receiver had no position")
	}
	return fix
}

// localDay reads a time and tells the day on which it was there: by the
// column's zone, by the offset written with it or, where it is given in UTC, by
// the sun.
func (c *cells) localDay(b *cell, k *clock, solarOffset int) (time.Time, int32) {
	t, offset, local := c.moment(b, k)
	if t.IsZero() {
		return t, noDay
	}
	if !local {
		offset = solarOffset
	}
	const day = 24 * 60 * 60
	return t, int32(math.Floor(float64(t.Unix()+int64(offset)) / day))
}

// sessionName names one positioning set-up within the job: crew, receiver,
// local day and, where a column says so, the crew's own word for it.
func sessionName(crew, receiver string, day int32, session string) string {
	parts := []string{or(crew, "unnamed crew"), or(receiver, "unnamed receiver")}
	if day != noDay {
		parts = append(parts, time.Unix(int64(day)*24*60*60, 0).UTC().Format(time.DateOnly))
	}
	if session != "" {
		parts = append(parts, session)
	}
	return strings.Join(parts, " / ")
}

func or(s, instead string) string {
	if s == "" {
		return instead
	}
	return s
}

// solarOffset is the offset of the sun's time at a longitude, whole hours in
// seconds.
func solarOffset(longitude float64) int {
	return int(math.Round(longitude/15)) * 3600
}
