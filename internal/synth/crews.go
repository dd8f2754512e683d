package synth

import (
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
)

var firstDay = time.Date(2026, 4, 13, 0, 0, 0, 0, time.UTC)

const (
	areasFile   = "gis/swept.shp"
	controlFile = "control.csv"
	marksFile   = "marks.csv"
	holesFile   = "test_holes.csv"
	network     = "city network"
	morningH    = 13 // UTC: early in a day that is local all through
	workHours   = 7
)

func fieldFile(crew int) string { return fmt.Sprintf("field/crew_%d.csv", crew+1) }

// shift is one session: one crew's day.
type shift struct {
	crew     int
	begin    time.Time
	now      time.Time
	readings int
	position *positioner
	name     string
	truth    Session
}

// field is the crews at work.
type field struct {
	t      *Town
	topo   *topology
	plan   *planner
	rx     []receiver
	source []Source // per crew: where its positions come from
	rows   []int    // per crew: rows written so far
	shifts []*shift
	today  []*shift // per crew
}

// sendCrews walks the town, in the order in which the walks were planned, each
// crew day by day.
func sendCrews(t *Town, topo *topology, areas []sweep) {
	p := t.Params
	f := &field{t: t, topo: topo, rows: make([]int, p.Crews.Crews), today: make([]*shift, p.Crews.Crews)}
	f.plan = &planner{topo: topo, p: p, covered: make([]float64, len(topo.lines)), seed: t.Seed, areas: areas}
	f.plan.plan()
	d := roll(t.Seed, phaseSessions, 0)
	shared := Source{Name: network}
	if d.chance(p.Crews.NetworkErrors) {
		off := d.arrow(d.between(p.Crews.NetworkErrorM))
		shared.East, shared.North = off[0], off[1]
	}
	for c := range p.Crews.Crews {
		f.rx = append(f.rx, receiver{
			name: fmt.Sprintf("RX-%02d", 11+7*c), match: d.normal(p.Signal.CoilMatch), sweepM: d.between(p.Signal.SweepM),
			attention: d.between(p.Signal.Attention), separations: d.chance(p.Signal.SeparationCrews),
		})
		f.source = append(f.source, shared)
		if d.chance(p.Crews.OwnBases) {
			f.source[c] = Source{Name: "base of " + crewName(c)}
		}
	}
	f.schedule()
	byCrew := make([][]int, p.Crews.Crews)
	for i := range f.plan.walks {
		c := f.plan.walks[i].crew
		byCrew[c] = append(byCrew[c], i)
	}
	for _, walks := range byCrew {
		for _, i := range walks {
			f.walk(i)
		}
	}
	f.publish()
}

// schedule sets up every crew's days, with the wrong bases among them: on days
// that have readings.
func (f *field) schedule() {
	p := f.t.Params.Crews
	expected := make([]float64, p.Crews)
	for i := range f.plan.walks {
		w := &f.plan.walks[i]
		expected[w.crew] += (w.toM-w.fromM)/w.spacingM + 1
	}
	for c := range p.Crews {
		days := max(int(math.Ceil(expected[c]/float64(p.DayReadings))), 1)
		for day := range days {
			d := roll(f.t.Seed, phaseSessions, 1+c+day*p.Crews)
			begin := firstDay.AddDate(0, 0, day+day/5*2).Add(morningH*time.Hour + time.Duration(d.IntN(40))*time.Minute)
			s := &shift{crew: c, begin: begin, now: begin}
			s.position = newPositioner(d, p, begin, workHours, vector{f.source[c].East, f.source[c].North})
			date := begin.Format("2006-01-02")
			s.name = fmt.Sprintf("%s / %s / %s", crewName(c), f.rx[c].name, date)
			s.truth = Session{Name: s.name, Crew: crewName(c), Receiver: f.rx[c].name, Date: date, Source: f.source[c].Name}
			f.shifts = append(f.shifts, s)
		}
	}
	d := roll(f.t.Seed, phaseSessions, 1<<30)
	for _, k := range d.Perm(len(f.shifts))[:min(p.WrongBases, len(f.shifts))] {
		f.shifts[k].position.session = d.arrow(d.between(p.WrongBaseM))
		f.shifts[k].truth.WrongBase = true
	}
	for _, s := range f.shifts {
		s.truth.East, s.truth.North = s.position.session[0], s.position.session[1]
	}
}

func crewName(c int) string { return fmt.Sprintf("Crew %d", c+1) }

// day is the shift that a crew's next walk falls into.
func (f *field) day(crew int) *shift {
	s := f.today[crew]
	if s != nil && s.readings < f.t.Params.Crews.DayReadings && s.now.Sub(s.begin) < workHours*time.Hour {
		return s
	}
	for _, next := range f.shifts {
		if next.crew == crew && (s == nil || next.begin.After(s.begin)) {
			f.today[crew] = next
			return next
		}
	}
	return s // the last day is a long one
}

// walk takes the readings of one walk.
func (f *field) walk(index int) {
	w := &f.plan.walks[index]
	day := f.day(w.crew)
	day.now = day.now.Add(4 * time.Minute)
	s := newSensor(f.topo, f.t.Params, f.t.Seed, index, w, &f.rx[w.crew])
	d := roll(f.t.Seed, phasePositions, index)
	file := fieldFile(w.crew)
	name := fmt.Sprintf("%d-%03d", w.crew+1, index+1)
	trace := survey.Trace{
		ID: file + ":" + name, Utility: w.label, Crew: crewName(w.crew), Receiver: f.rx[w.crew].name,
		Session: day.name, Positions: f.source[w.crew].Name, Ticket: w.ticket,
	}
	truth := Trace{Trace: name, File: file, Utility: f.topo.lines[w.path[0].line].Utility, BiasM: s.bias, Label: w.label}
	for at := w.fromM; at <= w.toM; at += w.spacingM * d.between([2]float64{0.8, 1.2}) {
		if at > w.gap[0] && at < w.gap[1] {
			continue
		}
		r := s.sense(at)
		day.now = day.now.Add(time.Duration((7 + 6*d.Float64() + w.spacingM/0.8) * float64(time.Second))).Truncate(time.Second)
		if r.lost {
			continue
		}
		reading, told := f.read(d, w, day, &r)
		f.rows[w.crew]++
		reading.Place = survey.Place{File: file, Row: f.rows[w.crew], Line: f.rows[w.crew] + 1}
		told.Row = f.rows[w.crew]
		trace.Readings = append(trace.Readings, reading)
		truth.Readings = append(truth.Readings, told)
		day.readings++
	}
	if len(trace.Readings) == 0 {
		return
	}
	f.t.survey.Traces = append(f.t.survey.Traces, trace)
	f.t.Truth.Traces = append(f.t.Truth.Traces, truth)
	f.paint(index, w, &trace, &truth)
}

// read gives what was sensed a position and puts it into the survey's words.
func (f *field) read(d dice, w *walk, day *shift, r *sensed) (survey.Reading, Reading) {
	p, along := pointAt(w.points, w.stations, r.stationM)
	right := along.right()
	pole := moved(p, right.times(r.across).plus(along.times(r.along)))
	seen := day.position.at(d, day.now)
	seg, _ := locate(w.stations, r.stationM)
	out := survey.Reading{
		Time: day.now, Point: f.t.Frame.toPlane(moved(pole, seen.off)), ElevationM: nan, SigmaM: seen.sigmaM, Fix: seen.fix,
		DepthM: r.depthM, CurrentA: r.currentA, FrequencyHz: w.frequency, SeparationM: r.separate, Mode: w.mode, Hookup: w.hookup,
	}
	if w.mode == survey.ModeSonde {
		out.DepthTo = survey.DepthToSonde
	}
	if distorted(r.shiftM) && d.chance(f.t.Params.Crews.Doubted) && r.separate > 0.15 {
		out.Doubt = true
	}
	return out, Reading{
		Line: r.line, Target: w.line[seg], Point: f.t.Frame.toPlane(moved(p, right.times(r.lineAt))), Pole: f.t.Frame.toPlane(pole),
		CoverM: r.lineCover, ShiftM: r.shiftM, Jumped: r.jumped, Distorted: distorted(r.shiftM), Float: seen.float,
	}
}

// distortedM is how far a neighbour must move a peak for the reading to count as
// distorted.
const distortedM = 0.10

func distorted(shiftM float64) bool { return math.Abs(shiftM) > distortedM }

// publish puts sessions and sources into the truth and adds control checks and
// test holes.
func (f *field) publish() {
	for _, s := range f.shifts {
		if s.readings > 0 {
			f.t.Truth.Sessions = append(f.t.Truth.Sessions, s.truth)
		}
	}
	for _, s := range f.source {
		if !slices.Contains(f.t.Truth.Sources, s) {
			f.t.Truth.Sources = append(f.t.Truth.Sources, s)
		}
	}
	f.control()
	f.holes()
}
