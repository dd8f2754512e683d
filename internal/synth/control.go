package synth

import (
	"fmt"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// control lets every session occupy two known marks, in towns that have any.
func (f *field) control() {
	d := roll(f.t.Seed, phaseChecks, 0)
	if len(f.topo.lines) == 0 || !d.chance(f.t.Params.Crews.Control) {
		return
	}
	var marks []orb.Point
	for range 6 {
		l := &f.topo.lines[d.IntN(len(f.topo.lines))]
		marks = append(marks, moved(l.Points[0], d.arrow(8)))
	}
	row := 0
	for i, s := range f.shifts {
		if s.readings == 0 {
			continue
		}
		d := roll(f.t.Seed, phaseChecks, i+1)
		for _, at := range []time.Time{s.begin.Add(-3 * time.Minute), s.now.Add(5 * time.Minute)} {
			m := d.IntN(len(marks))
			seen := s.position.at(d, at)
			row++
			f.t.survey.Checks = append(f.t.survey.Checks, survey.Check{
				Place: survey.Place{File: controlFile, Row: row, Line: row + 1}, Mark: fmt.Sprintf("CP%d", m+1), Time: at,
				Observed: f.t.Frame.toPlane(moved(marks[m], seen.off)), Known: f.t.Frame.toPlane(marks[m]), SigmaM: seen.sigmaM,
				Session: s.name, Positions: s.truth.Source, Scale: f.t.Frame.Scale, Convergence: f.t.Frame.Convergence,
			})
		}
	}
}

// holes exposes some lines, in towns that have test holes, and surveys them with
// a session of its own from a total station on control: none of the network's
// error is in it.
func (f *field) holes() {
	d := roll(f.t.Seed, phaseHoles, 0)
	if len(f.topo.lines) == 0 || !d.chance(f.t.Params.Crews.TestHoles) {
		return
	}
	for i := range 8 + len(f.topo.lines)/40 {
		n := d.IntN(len(f.topo.lines))
		l := &f.topo.lines[n]
		at := d.Float64() * last(f.topo.stations[n])
		p, _ := pointAt(l.Points, f.topo.stations[n], at)
		f.t.Holes = append(f.t.Holes, Hole{
			ID: fmt.Sprintf("TH%d", i+1), Utility: l.Utility, Line: n,
			Reading: survey.Reading{
				Place: survey.Place{File: holesFile, Row: i + 1, Line: i + 2}, Time: firstDay.AddDate(0, 0, 12).Add(time.Duration(14*60+9*i) * time.Minute),
				Point: f.t.Frame.toPlane(moved(p, d.vector(0.01))), SigmaM: 0.01, Fix: survey.FixTotalStation, ElevationM: nan, SeparationM: nan, CurrentA: nan, FrequencyHz: nan,
				DepthM: valueAt(l.CoverM, f.topo.stations[n], at) + d.normal(0.01), DepthTo: survey.DepthToTop,
			},
		})
	}
}

// paint marks some of a walk's readings on the ground.
func (f *field) paint(index int, w *walk, trace *survey.Trace, truth *Trace) {
	d := roll(f.t.Seed, phaseMarks, index)
	if !d.chance(f.t.Params.Crews.Marks) {
		return
	}
	step := max(int(8/w.spacingM), 1)
	for k := 0; k < len(trace.Readings); k += step {
		r := trace.Readings[k]
		v := f.t.Frame.grid(d.vector(0.04))
		m := Mark{Utility: trace.Utility, Crew: trace.Crew, Ticket: trace.Ticket, Line: truth.Readings[k].Target}
		m.Reading = survey.Reading{Place: survey.Place{File: marksFile}, Time: r.Time, SigmaM: r.SigmaM, Fix: r.Fix, ElevationM: nan, DepthM: nan, CurrentA: nan, FrequencyHz: nan, SeparationM: nan}
		m.Point = orb.Point{r.Point[0] + v[0], r.Point[1] + v[1]}
		m.Row = len(f.t.Marks) + 1
		m.Place.Line = m.Row + 1
		f.t.Marks = append(f.t.Marks, m)
	}
}
