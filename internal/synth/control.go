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
