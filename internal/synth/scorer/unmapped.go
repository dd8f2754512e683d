package scorer

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

const (
	walkedReadings = 6   // a line that no record shows counts as walked from here on
	onFoundM       = 0.5 // a published line passes a reading that near
	alongM         = 1.0 // and lies along a true line that near
)

// unmapped scores lines that no record shows, and records that no line is behind.
func (x *scoring) unmapped() {
	walked := map[int][]*reading{}
	for i := range x.readings {
		if rd := &x.readings[i]; rd.class == unmapped && x.truth.Lines[rd.Line].Missing {
			walked[rd.Line] = append(walked[rd.Line], rd)
		}
	}
	var found []lineref.Line
	for i := range x.o.Findings {
		if f := &x.o.Findings[i]; f.Kind == string(survey.KindUnmapped) && len(f.Line) > 0 {
			found = append(found, lineref.New(f.Line, x.truth.Frame.Scale))
		}
	}
	for l := range x.truth.Lines {
		if rs := walked[l]; len(rs) >= walkedReadings {
			passed := 0
			for _, rd := range rs {
				if passes(found, rd.seen.Point) || passes(found, rd.Point) {
					passed++
				}
			}
			x.count(UnmappedFound, 2*passed >= len(rs))
		}
	}
	wrong := 0
	for i := range found {
		if !x.unshown(&found[i], walked) {
			wrong++
		}
	}
	x.value(UnmappedFalse, float64(wrong))
	x.notDetected()
}

func passes(found []lineref.Line, p orb.Point) bool {
	for i := range found {
		if f, ok := found[i].Nearest(p); ok && math.Abs(f.OffsetM) <= onFoundM {
			return true
		}
	}
	return false
}

// unshown says whether most of a published line lies along lines that no record
// shows, or along what was read of them.
func (x *scoring) unshown(found *lineref.Line, walked map[int][]*reading) bool {
	along, all := 0, 0
	for m := 0.0; m <= found.LengthM(); m++ {
		all++
		if p := found.At(m); x.besideMissing(p) || besideReading(walked, p) {
			along++
		}
	}
	return 2*along > all
}

func (x *scoring) besideMissing(p orb.Point) bool {
	for l := range x.truth.Lines {
		line := &x.truth.Lines[l]
		if !line.Missing || !line.Points.Bound().Pad(2*alongM).Contains(p) {
			continue
		}
		truth := lineref.New(orb.MultiLineString{line.Points}, x.truth.Frame.Scale)
		if f, ok := truth.Nearest(p); ok && math.Abs(f.OffsetM) <= alongM {
			return true
		}
	}
	return false
}

func besideReading(walked map[int][]*reading, p orb.Point) bool {
	for _, rs := range walked {
		for _, rd := range rs {
			if apart(rd.seen.Point, p) <= alongM {
				return true
			}
		}
	}
	return false
}

// notDetected scores the records inside swept areas: those that no line is behind
// shall be found, those that show a line shall not, and of a second record of a
// line nothing is said.
func (x *scoring) notDetected() {
	empty := map[string]bool{}
	for i := range x.truth.Areas {
		for _, id := range x.truth.Areas[i].Empty {
			empty[id] = true
		}
	}
	said := map[string]bool{}
	for i := range x.o.Findings {
		if f := &x.o.Findings[i]; f.Kind == string(survey.KindNotDetected) {
			said[f.Record] = true
		}
	}
	wrong := 0
	for r := range x.records {
		rec := &x.records[r]
		switch {
		case empty[rec.ID]:
			x.count(NotDetectedFound, said[rec.name])
		case said[rec.name] && (rec.line == nil || len(x.byLine[rec.truth.Line]) == 1):
			wrong++
		}
	}
	x.value(NotDetectedFalse, float64(wrong))
}
