package scorer

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

const (
	shiftedM = 0.8  // a sheet's shift from here on is to be named
	acrossM  = 0.4  // and shows where this much of it lies across a line
	settledU = 0.15 // a component with a smaller stated uncertainty is measured
	namedM   = 1.0  // a sheet in another frame is measured if its vector is this near
	seenM    = 0.3  // or half of its size: a session on a wrong base is found
)

// effects are the published ones by kind and name.
func (x *scoring) effects() map[[2]string]Effect {
	out := map[[2]string]Effect{}
	for _, e := range x.o.Effects {
		out[[2]string{e.Kind, e.Name}] = e
	}
	return out
}

// inside counts both components of an estimate inside its 95 % interval. One that
// is missing is outside.
func (x *scoring) inside(f Figure, e Effect, there bool, east, north float64) {
	x.count(f, there && math.Abs(e.East-east) <= 1.96*e.EastU)
	x.count(f, there && math.Abs(e.North-north) <= 1.96*e.NorthU)
}

// shift is what is true of a sheet where it was surveyed.
type shift struct {
	east, north float64 // mean over the surveyed parts
	shows       int     // surveyed records that it lies across by acrossM or more
	// The normal of the surveyed line that it lies across most.
	e, n float64
}

func (x *scoring) shift(name string) (s shift, surveyed bool) {
	sum, most := 0.0, -1.0
	for r := range x.records {
		rec := &x.records[r]
		if rec.Sheet != name || rec.sheet == nil || len(rec.surveyed) == 0 {
			continue
		}
		shows := false
		for _, part := range rec.surveyed {
			m := (part.fromM + part.toM) / 2
			east, north := rec.sheet.At(x.truth.Frame, rec.line.At(m))
			e, n := rec.right(rec.line, m)
			s.east, s.north, sum = s.east+east*part.lengthM(), s.north+north*part.lengthM(), sum+part.lengthM()
			lies := math.Abs(east*e + north*n)
			shows = shows || lies >= acrossM
			if lies > most {
				most, s.e, s.n = lies, e, n
			}
		}
		if shows {
			s.shows++
		}
	}
	s.east, s.north = s.east/sum, s.north/sum
	return s, sum > 0
}

// sheetEffects scores the sheets that were surveyed.
func (x *scoring) sheetEffects() {
	if x.o.Plain && x.o.Effects == nil {
		return
	}
	effects := x.effects()
	for i := range x.truth.Sheets {
		name := x.truth.Sheets[i].Name
		s, surveyed := x.shift(name)
		if !surveyed {
			continue
		}
		size := math.Hypot(s.east, s.north)
		e, there := effects[[2]string{string(survey.EffectSheet), name}]
		named := there && e.Significant
		off := math.Hypot(e.East-s.east, e.North-s.north)
		if size > otherFrameM {
			x.count(SheetsOtherFrame, named && off < namedM)
			continue
		}
		lies := s.east*s.e + s.north*s.n
		near := math.Abs(e.East*s.e+e.North*s.n-lies) <= math.Abs(lies)/2
		switch {
		case size >= shiftedM && x.common != nil: // whose shift it is nobody can tell
		case size >= shiftedM && s.shows > 1:
			x.count(SheetsNamed, named && near)
		case size >= shiftedM && s.shows == 1:
			x.count(SheetsAloneNamed, named && near)
		case size < acrossM:
			x.count(SheetsOthersNamed, named)
		}
		if x.o.Plain {
			continue
		}
		x.inside(SheetsInside, e, there, s.east, s.north)
		for _, c := range [2][3]float64{{e.East, e.EastU, s.east}, {e.North, e.NorthU, s.north}} {
			settled := there && c[1] > 0 && c[1] < settledU
			x.count(SheetsSettled, settled)
			if settled {
				x.value(SheetsError, math.Abs(c[0]-c[2]))
			}
		}
	}
}

// positionEffects scores sessions and sources of positions.
func (x *scoring) positionEffects() {
	p, effects := x.positions(), x.effects()
	for i := range x.truth.Sessions {
		tr := &x.truth.Sessions[i]
		e, there := effects[[2]string{string(survey.EffectSession), tr.Name}]
		checked := p.checks[tr.Name] > 0
		if checked {
			x.inside(SessionsCheckedInside, e, there, tr.East, tr.North)
		} else {
			x.inside(SessionsUncheckedInside, e, there, tr.East, tr.North)
		}
		size, off := math.Hypot(tr.East, tr.North), math.Hypot(e.East-tr.East, e.North-tr.North)
		switch {
		case !tr.WrongBase:
			x.count(SessionsGoodNamed, there && e.Significant)
		case checked:
			x.value(WrongBaseError, off)
		case p.shared(tr.Name, tr.Crew):
			x.count(WrongBaseNamed, there && e.Significant && off <= max(seenM, size/2))
		}
	}
	used := map[string]bool{}
	for t := range x.s.Traces {
		used[x.s.Traces[t].Positions] = true
	}
	for i := range x.truth.Sources {
		if tr := &x.truth.Sources[i]; used[tr.Name] {
			e, there := effects[[2]string{string(survey.EffectSource), tr.Name}]
			x.inside(SourcesInside, e, there, tr.East, tr.North)
		}
	}
}

// shared says whether another crew was on a sheet of a session.
func (p *positions) shared(session, crew string) bool {
	for sheet := range p.sheets[session] {
		for other := range p.crews[sheet] {
			if other != crew {
				return true
			}
		}
	}
	return false
}
