package scorer

import (
	"math"

	"github.com/asfound/asfound/internal/lineref"
)

func (j *judge) scoreEffects(t *Tally, o *Outcome) {
	seen := map[string]Effect{}
	for _, e := range o.Effects {
		seen[e.Kind+" "+e.Name] = e
	}
	checks := map[string]int{}
	for i := range j.town.Survey().Checks {
		checks[j.town.Survey().Checks[i].Session]++
	}
	j.scoreSheets(t, seen)
	for i := range j.truth.Sessions {
		tr := &j.truth.Sessions[i]
		e, ok := seen["session "+tr.Name]
		if !ok {
			continue
		}
		cover(t, "effects: sessions inside 1.96 u", e, tr.East, tr.North)
		miss := math.Hypot(e.East-tr.East, e.North-tr.North)
		switch {
		case tr.WrongBase && checks[tr.Name] > 0:
			t.sample("effects: wrong base with control checks, error m", miss)
		case tr.WrongBase:
			t.count("effects: wrong base without control checks named", e.Significant)
		default:
			t.count("effects: good session named", e.Significant)
		}
	}
	for i := range j.truth.Sources {
		tr := &j.truth.Sources[i]
		e, ok := seen["source "+tr.Name]
		if ok {
			cover(t, "effects: sources inside 1.96 u", e, tr.East, tr.North)
		}
	}
}

// cover counts both components of an estimate inside its 95 % interval.
func cover(t *Tally, name string, e Effect, east, north float64) {
	if e.EastU > 0 && e.NorthU > 0 {
		t.count(name, math.Abs(e.East-east) <= 1.96*e.EastU)
		t.count(name, math.Abs(e.North-north) <= 1.96*e.NorthU)
	}
}

func (j *judge) scoreSheets(t *Tally, seen map[string]Effect) {
	for i := range j.truth.Sheets {
		tr := &j.truth.Sheets[i]
		across, surveyed := j.acrossLines(tr.Name, tr.East, tr.North)
		if !surveyed {
			continue
		}
		size := math.Hypot(tr.East, tr.North)
		e, ok := seen["sheet "+tr.Name]
		if tr.Blunder != "" && size > 5 {
			t.count("effects: sheet in another frame named", ok && e.Significant)
			continue
		}
		switch {
		case size >= shiftedM && across >= acrossM:
			t.count("effects: shifted sheets named", ok && e.Significant)
		case size < acrossM:
			t.count("effects: other sheets named", ok && e.Significant)
		}
		if !ok {
			continue
		}
		if e.EastU > 0 && e.EastU < settledM {
			t.sample("effects: sheet components with u < 15 cm, error m", e.East-tr.East)
		}
		if e.NorthU > 0 && e.NorthU < settledM {
			t.sample("effects: sheet components with u < 15 cm, error m", e.North-tr.North)
		}
		cover(t, "effects: sheets inside 1.96 u", e, tr.East, tr.North)
	}
}

// acrossLines is the largest part of a sheet's shift across a surveyed stretch of
// its records.
func (j *judge) acrossLines(sheet string, east, north float64) (across float64, surveyed bool) {
	for r := range j.truth.Records {
		if j.truth.Records[r].Sheet != sheet || len(j.surveyed[r]) == 0 {
			continue
		}
		surveyed = true
		for _, s := range j.surveyed[r] {
			across = max(across, math.Abs(shiftAcross(j.lines[r], s, east, north)))
		}
	}
	return across, surveyed
}

// shiftAcross is the shift across the middle of a stretch; the turn between true
// and grid north is left out, for a threshold.
func shiftAcross(l *lineref.Line, s [2]float64, east, north float64) float64 {
	part, seg := l.Locate((s[0] + s[1]) / 2)
	d := l.Direction(part, seg)
	return east*d[1] - north*d[0]
}
