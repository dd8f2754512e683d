package synth

import (
	"fmt"
	"math"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

const (
	holesPositions = "total station" // on control: none of the network's error is in it
	holesCrew      = "Survey"
	holesReceiver  = "TS-01"
	holesSigmaM    = 0.01  // per axis
	holesDepthM    = 0.01  // standard deviation of a cover measured in a hole
	holesADay      = 40    // so that a day ends before dusk
	tapeSigmaM     = 0.002 // of a diameter measured in a hole
)

// holes exposes some lines, in towns that have test holes, and surveys them with
// a session of its own.
func (f *field) holes() {
	d := roll(f.t.Seed, phaseHoles, 0)
	if len(f.topo.lines) == 0 || !d.chance(f.t.Params.Crews.TestHoles) {
		return
	}
	for range 8 + len(f.topo.lines)/40 {
		n := d.IntN(len(f.topo.lines))
		l := &f.topo.lines[n]
		at := d.Float64() * last(f.topo.stations[n])
		p, _ := pointAt(l.Points, f.topo.stations[n], at)
		point := f.t.Frame.toPlane(moved(p, d.vector(holesSigmaM)))
		f.expose(n, point, valueAt(l.CoverM, f.topo.stations[n], at)+d.normal(holesDepthM), "")
	}
	// Some of the valves are dug up too: each can be told from all others.
	more := roll(f.t.Seed, phaseHoleDetails, 0)
	for _, k := range more.Perm(len(f.t.Fittings))[:min(len(f.t.Fittings), 3+len(f.t.Fittings)/40)] {
		v := &f.t.Fittings[k]
		l := &f.topo.lines[v.Line]
		cover := l.CoverM[0]
		if v.True != f.t.Frame.toPlane(l.Points[0]) {
			cover = l.CoverM[len(l.CoverM)-1]
		}
		off := f.t.Frame.grid(more.vector(holesSigmaM))
		f.expose(v.Line, orb.Point{v.True[0] + off[0], v.True[1] + off[1]}, cover+more.normal(holesDepthM), v.ID)
	}
}

// expose surveys a line, or a fitting on it, in a hole.
func (f *field) expose(line int, at orb.Point, coverM float64, fitting string) {
	i := len(f.t.Holes)
	l := &f.topo.lines[line]
	when := firstDay.AddDate(0, 0, 12+i/holesADay).Add(time.Duration(14*60+9*(i%holesADay)) * time.Minute)
	measured := l.DiameterM + roll(f.t.Seed, phaseHoleDetails, 1+i).normal(tapeSigmaM)
	h := Hole{Line: line, Exposure: survey.Exposure{
		Place: survey.Place{File: holesFile, Row: i + 1, Line: i + 2},
		ID:    fmt.Sprintf("TH%d", i+1), Time: when, Point: at, ElevationM: nan, SigmaM: holesSigmaM,
		DepthM: coverM, DepthTo: survey.DepthToTop, DiameterM: max(measured, 0.005), Utility: l.Utility, Fitting: fitting,
		Crew: holesCrew, Receiver: holesReceiver, Positions: holesPositions,
		Session: fmt.Sprintf("%s / %s / %s", holesCrew, holesReceiver, when.Format("2006-01-02")),
		Scale:   f.t.Frame.Scale, Convergence: f.t.Frame.Convergence,
	}}
	f.t.Holes = append(f.t.Holes, h)
	f.t.survey.Exposures = append(f.t.survey.Exposures, h.Exposure)
}

// paint marks some of a walk's readings on the ground: where the crew believed
// the line to be, give or take a hand.
func (f *field) paint(index int, w *walk, trace *survey.Trace, truth *Trace) {
	d := roll(f.t.Seed, phaseMarks, index)
	if !d.chance(f.t.Params.Crews.Marks) {
		return
	}
	step := max(int(8/w.spacingM), 1)
	for k := 0; k < len(trace.Readings); k += step {
		r := &trace.Readings[k]
		v := f.t.Frame.grid(d.vector(0.04))
		row := len(f.t.Marks) + 1
		m := Mark{Line: truth.Readings[k].Target, Mark: survey.Mark{
			Place: survey.Place{File: marksFile, Row: row, Line: row + 1},
			Time:  r.Time, Point: orb.Point{r.Point[0] + v[0], r.Point[1] + v[1]}, SigmaM: r.SigmaM, Utility: trace.Utility,
			Crew: trace.Crew, Receiver: trace.Receiver, Session: trace.Session, Positions: trace.Positions, Ticket: trace.Ticket,
		}}
		f.t.Marks = append(f.t.Marks, m)
		f.t.survey.Marks = append(f.t.survey.Marks, m.Mark)
	}
}

const (
	fittingsName = "valves"
	fittingsFile = "gis/" + fittingsName + ".shp"
	valveShare   = 0.3 // of the ends of mains of some utilities; practice, no source
)

// valved are the utilities that close their mains by valves.
var valved = map[string]bool{"water": true, "gas": true}

var fittingFields = []survey.Field{
	{Name: "VALVE_ID", Kind: survey.FieldText},
	{Name: "DRAWING", Kind: survey.FieldText},
	{Name: "KIND", Kind: survey.FieldText},
	{Name: "SIZE_MM", Kind: survey.FieldNumber},
}

// placeFittings puts valves on the map, at ends of mains: where the map has the
// end, so that a valve is as wrong as its line.
func (t *Town) placeFittings(topo *topology) {
	layer := survey.Layer{Source: fittingsFile, Name: fittingsName, CRS: t.Frame.CRS, Fields: fittingFields}
	met := map[int]bool{} // nodes that have a valve
	for i := range t.survey.Records {
		rec, tr := &t.survey.Records[i], &t.Truth.Records[i]
		if tr.Line < 0 || tr.DuplicateOf != "" || topo.lines[tr.Line].Service || !valved[rec.Utility] {
			continue
		}
		d := roll(t.Seed, phaseFittings, i)
		for w := range 2 {
			node := topo.ends[tr.Line][w]
			if here := d.chance(valveShare); !here || met[node] {
				continue
			}
			met[node] = true
			drawn, truth := rec.Parts[0], tr.Points // both in the record's direction
			at, really := drawn[0], truth[0]
			if (w == 1) != tr.Reversed {
				at, really = drawn[len(drawn)-1], truth[len(truth)-1]
			}
			f := Fitting{Line: tr.Line, True: really, Fitting: survey.Fitting{
				Source: fittingsFile, ID: fmt.Sprintf("V%06d", len(t.Fittings)+1), Utility: rec.Utility, Sheet: rec.Sheet,
				Point: at, Scale: t.Frame.Scale, Convergence: t.Frame.Convergence, Feature: len(layer.Features),
			}}
			t.Fittings = append(t.Fittings, f)
			t.survey.Fittings = append(t.survey.Fittings, f.Fitting)
			layer.Features = append(layer.Features, survey.Feature{
				Row: len(layer.Features) + 1, Parts: []orb.LineString{t.Frame.toUnit(orb.LineString{at})},
				Values: []survey.Value{{Text: f.ID}, {Text: t.sheetTexts[i]}, {Text: utilityCode(rec.Utility)}, {Text: fmt.Sprint(math.Round(1000 * rec.DiameterM))}},
			})
		}
	}
	if len(t.Fittings) > 0 {
		t.survey.PointLayers = append(t.survey.PointLayers, layer)
	}
}
