package scorer

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// tiny is a town written down line by line. Its plane is flat: scale 1, no
// convergence.
type tiny struct {
	s     survey.Survey
	truth synth.Truth
}

func newTiny() *tiny {
	w := &tiny{}
	w.truth.Frame = synth.Frame{Scale: 1, UnitM: 1}
	return w
}

func (w *tiny) line(utility string, pts ...orb.Point) int {
	l := synth.Line{Utility: utility, Conductor: survey.ConductorPipe, DiameterM: 0.1, Missing: true, Points: pts}
	for range pts {
		l.CoverM = append(l.CoverM, 1)
	}
	w.truth.Lines = append(w.truth.Lines, l)
	return len(w.truth.Lines) - 1
}

// record draws a line (-1: none) on a sheet, with a cover of 1 m.
func (w *tiny) record(id, utility, sheet string, line int, pts ...orb.Point) int {
	rec := survey.Record{Source: "map", ID: id, Utility: utility, Sheet: sheet, Scale: 1, DiameterM: 0.1, CoverM: 1, Parts: orb.MultiLineString{pts}}
	tr := synth.Record{ID: id, Sheet: sheet, Line: line, Abandoned: line < 0}
	if line >= 0 {
		l := &w.truth.Lines[line]
		l.Missing = false
		tr.Points, tr.CoverM = l.Points, l.CoverM
	}
	w.s.Records, w.truth.Records = append(w.s.Records, rec), append(w.truth.Records, tr)
	return len(w.s.Records) - 1
}

func (w *tiny) sheet(name string, east, north float64) {
	w.truth.Sheets = append(w.truth.Sheets, synth.Sheet{Name: name, East: east, North: north, Scale: 1})
}

func (w *tiny) source(name string, east, north float64) {
	w.truth.Sources = append(w.truth.Sources, synth.Source{Name: name, East: east, North: north})
}

func (w *tiny) session(name, crew, source string, east, north float64, wrongBase bool) {
	w.truth.Sessions = append(w.truth.Sessions, synth.Session{Name: name, Crew: crew, Source: source, East: east, North: north, WrongBase: wrongBase})
}

func (w *tiny) check(session string) {
	w.s.Checks = append(w.s.Checks, survey.Check{Session: session})
}

// walk takes readings of a line, one every stepM from a station to another, in a
// trace of its own.
func (w *tiny) walk(session string, line int, fromM, toM, stepM float64) *walked {
	var ses *synth.Session
	for i := range w.truth.Sessions {
		if w.truth.Sessions[i].Name == session {
			ses = &w.truth.Sessions[i]
		}
	}
	off := orb.Point{ses.East, ses.North}
	for _, s := range w.truth.Sources {
		if s.Name == ses.Source {
			off = orb.Point{off[0] + s.East, off[1] + s.North}
		}
	}
	l := &w.truth.Lines[line]
	tr := synth.Trace{File: "field.csv", Utility: l.Utility, Label: l.Utility}
	seen := survey.Trace{Utility: l.Utility, Session: session, Crew: ses.Crew, Positions: ses.Source}
	row := 0
	for t := range w.truth.Traces {
		row += len(w.truth.Traces[t].Readings)
	}
	a, b := l.Points[0], l.Points[1] // straight lines only
	long := apart(a, b)
	for m := fromM; m <= toM; m += stepM {
		row++
		p := orb.Point{a[0] + m/long*(b[0]-a[0]), a[1] + m/long*(b[1]-a[1])}
		tr.Readings = append(tr.Readings, synth.Reading{Row: row, Line: line, Target: line, Point: p, Pole: p, CoverM: 1})
		seen.Readings = append(seen.Readings, survey.Reading{
			Place: survey.Place{File: "field.csv", Row: row}, Point: orb.Point{p[0] + off[0], p[1] + off[1]},
			SigmaM: 0.01, Fix: survey.FixFixed, DepthM: 1.05, Mode: survey.ModeActive,
		})
	}
	w.s.Traces, w.truth.Traces = append(w.s.Traces, seen), append(w.truth.Traces, tr)
	return &walked{&w.s.Traces[len(w.s.Traces)-1], &w.truth.Traces[len(w.truth.Traces)-1]}
}

// walked is the trace of a walk, to be spoilt at once.
type walked struct {
	seen  *survey.Trace
	truth *synth.Trace
}

// corner is a street corner with one of everything:
//
//	G1, G2  gas, drawn 1 m north of where it lies, as their sheet is
//	W1      water, drawn 0.1 m off; W2 goes on from it, right
//	S1      a service that leaves W1; nobody read it
//	line 4  electric, on no map
//	X1      electric, drawn in a swept area where nothing is
//	C1      communication, right
//
// Crew B stood on a wrong base, 1 m north.
func corner() *tiny {
	w := newTiny()
	w0 := w.line("water", orb.Point{0, 0}, orb.Point{60, 0})
	g1 := w.line("gas", orb.Point{0, 2}, orb.Point{60, 2})
	g2 := w.line("gas", orb.Point{60, 2}, orb.Point{120, 2})
	w3 := w.line("water", orb.Point{60, 0}, orb.Point{120, 0})
	e4 := w.line("electric", orb.Point{0, -3}, orb.Point{60, -3})
	s5 := w.line("water", orb.Point{30, 0}, orb.Point{30, 20})
	c6 := w.line("communication", orb.Point{0, -9}, orb.Point{60, -9})
	w.sheet("WS", 0, 0)
	w.sheet("GS", 0, -1)
	w.sheet("ES", 0, 0)
	w.sheet("CS", 0, 0)
	w.record("W1", "water", "WS", w0, orb.Point{0, 0.1}, orb.Point{60, 0.1})
	w.record("G1", "gas", "GS", g1, orb.Point{0, 3}, orb.Point{60, 3})
	w.record("G2", "gas", "GS", g2, orb.Point{60, 3}, orb.Point{120, 3})
	w.record("W2", "water", "WS", w3, orb.Point{60, 0.1}, orb.Point{120, 0})
	w.record("X1", "electric", "ES", -1, orb.Point{0, -5}, orb.Point{60, -5})
	w.record("S1", "water", "WS", s5, orb.Point{30, 0.1}, orb.Point{30, 20})
	w.record("C1", "communication", "CS", c6, orb.Point{0, -9}, orb.Point{60, -9})
	w.truth.Areas = []synth.Area{{Ticket: "T1", Utilities: []string{"electric"}, Empty: []string{"X1"}}}
	w.source("network", 0, 0)
	w.session("A / 1", "A", "network", 0, 0, false)
	w.session("B / 1", "B", "network", 0, 1, true)
	first := w.walk("A / 1", w0, 0, 60, 2)
	first.truth.Readings[5].Line, first.truth.Readings[5].Jumped, first.truth.Readings[5].Point = g1, true, orb.Point{10, 2}
	first.truth.Readings[8].Distorted, first.truth.Readings[8].ShiftM = true, 0.2
	first.truth.Readings[11].Float = true
	w.walk("A / 1", g1, 0, 60, 1)
	w.walk("A / 1", g2, 0, 60, 0.75)
	w.walk("B / 1", w3, 0, 60, 6)
	w.walk("A / 1", e4, 0, 60, 5)
	w.walk("A / 1", w0, 20, 24, 2).seen.Readings[0].Mode = survey.ModePassive
	w.walk("A / 1", w0, 30, 30, 1).seen.Readings[0].Mode = survey.ModeSonde
	w.walk("A / 1", w0, 40, 42, 2).truth.Label = "gas"
	w.walk("A / 1", c6, 0, 60, 6)
	return w
}

// perfect is what a program would publish that knows the truth.
func perfect(s *survey.Survey, truth *synth.Truth) *Outcome {
	k := know(s, truth)
	x := scoring{known: k, Tally: &Tally{towns: make([][numFigures]cases, 1)}, o: newOutcome()}
	x.weigh()
	x.perfectReadings()
	p := x.positions()
	for r := range k.records {
		x.perfectRecord(r, p)
	}
	for i, r := range x.fittingLines() {
		if r >= 0 {
			line, _ := x.after(r)
			f, _ := line.Nearest(s.Fittings[i].Point)
			x.o.Fittings[s.Fittings[i].ID] = f.Point
		}
	}
	x.perfectEffects()
	for l := range truth.Lines {
		if truth.Lines[l].Missing {
			x.o.Findings = append(x.o.Findings, Finding{Kind: "unmapped", Line: orb.MultiLineString{truth.Lines[l].Points}})
		}
	}
	for _, a := range truth.Areas {
		for _, id := range a.Empty {
			x.o.Findings = append(x.o.Findings, Finding{Kind: "not_detected", Record: id})
		}
	}
	for i := range truth.Sheets {
		switch s := &truth.Sheets[i]; {
		case s.CoverUnit:
			x.o.Findings = append(x.o.Findings, Finding{Kind: "cover_pattern", Sheet: s.Name, Sentence: "They look like feet where the map has metres."})
		case s.Invert:
			x.o.Findings = append(x.o.Findings, Finding{Kind: "cover_pattern", Sheet: s.Name, Sentence: "They look like depths to the invert."})
		}
	}
	x.perfectOrder()
	return x.o
}

func (x *scoring) perfectReadings() {
	for i := range x.readings {
		rd := &x.readings[i]
		got := Reading{Status: "ambiguous", Probability: 0.5}
		switch rd.class {
		case good:
			got = Reading{x.records[x.byLine[rd.Line][0]].name, "used", 1}
		case unmapped:
			got = Reading{"", "unmapped", 1}
		case distorted, float:
			got.Status = "untrusted"
		case sonde:
			got.Status = "sonde"
		}
		x.o.Readings[rd.at] = got
	}
}

func (x *scoring) perfectRecord(r int, p *positions) {
	rec := &x.records[r]
	said := Record{CoverM: math.NaN(), CoverU: math.NaN(), Position: "unsurveyed"}
	x.o.Lines[rec.name] = rec.Parts
	if rec.line != nil && x.byLine[rec.truth.Line][0] == r {
		said.Position = map[truly]string{trulyWithin: "within", trulyOutside: "outside", trulyBetween: "undecided", trulyUnsurveyed: "unsurveyed"}[x.truly[r]]
		said.Attribution = string(x.cause(r, p).attribution)
		if len(rec.surveyed) > 0 {
			x.o.Lines[rec.name] = rec.line.Parts
			said.CoverM, said.CoverU = rec.meanCoverM()-rec.CoverM, 0.01
			said.Depth = verdict(said.CoverM, rec.limitD)
			for m := 0.25; m < rec.before.LengthM(); m += 0.25 {
				if offset, ok := rec.offset(m); ok {
					x.o.Profiles[rec.name] = append(x.o.Profiles[rec.name], Node{m, offset, 0.01, 1})
				}
			}
		}
		for _, s := range rec.outside(rec.surveyed, rec.limitM+marginM) {
			a, _ := rec.before.Nearest(rec.line.At(s.fromM))
			b, _ := rec.before.Nearest(rec.line.At(s.toM))
			x.o.Findings = append(x.o.Findings, Finding{Kind: "position", Record: rec.name, Verdict: "outside", Attribution: "record", FromM: min(a.StationM, b.StationM), ToM: max(a.StationM, b.StationM)})
		}
	}
	x.o.Records[rec.name] = said
}

func (x *scoring) perfectEffects() {
	for _, sh := range x.truth.Sheets {
		if s, ok := x.shift(sh.Name); ok {
			size := math.Hypot(s.east, s.north)
			x.o.Effects = append(x.o.Effects, Effect{"sheet", sh.Name, s.east, s.north, 0.01, 0.01, size >= shiftedM})
		}
	}
	for _, s := range x.truth.Sessions {
		x.o.Effects = append(x.o.Effects, Effect{"session", s.Name, s.East, s.North, 0.01, 0.01, s.WrongBase})
	}
	for _, s := range x.truth.Sources {
		x.o.Effects = append(x.o.Effects, Effect{"source", s.Name, s.East, s.North, 0.01, 0.01, s.East != 0})
	}
}

// perfectOrder surveys first where most is unresolved.
func (x *scoring) perfectOrder() {
	g := newGround(x)
	whole := g.whole()
	unresolved := map[int]float64{}
	for _, p := range g.unresolved() {
		unresolved[p.record]++
	}
	slices.SortStableFunc(whole, func(a, b pick) int {
		return int(math.Copysign(1, unresolved[b.record]/(b.toM-b.fromM)-unresolved[a.record]/(a.toM-a.fromM)))
	})
	for _, p := range whole {
		v := Resurvey{Record: x.records[p.record].name, Package: 1, FromM: p.fromM, ToM: p.toM}
		if rec := &x.records[p.record]; rec.line != nil && rec.outsideOn(p.fromM, p.toM) {
			v.Probability = 1
		}
		x.o.Resurvey = append(x.o.Resurvey, v)
	}
}

func (w *tiny) score(o *Outcome) *Tally { return Score(&w.s, &w.truth, o) }

// perfect has the service follow its main, which moves.
func (w *tiny) perfect() *Outcome {
	o := perfect(&w.s, &w.truth)
	o.Lines["S1"] = orb.MultiLineString{{{30, 0}, {30, 20}}}
	return o
}

func town(t testing.TB, seed uint64) *synth.Town {
	p, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	return synth.Make(seed, p)
}
