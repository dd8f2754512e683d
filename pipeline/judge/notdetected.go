package judge

import (
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

const (
	sampleM    = 2   // how densely a record is tried against a swept area
	sweptShare = 0.5 // of a record inside an area, to say that it was not detected there
)

// notDetectedFindings are records inside an area swept for their utility on
// which nobody took a reading. That is no proof that they are not there.
func notDetectedFindings(s *survey.Survey, matches [][]survey.Match) []survey.Finding {
	if len(s.Areas) == 0 {
		return nil
	}
	seen, loose := detected(s, matches)
	var out []survey.Finding
	for r := range s.Records {
		rec := &s.Records[r]
		if seen[r] || rec.Conductor == survey.ConductorNone {
			continue
		}
		line := lineref.New(rec.Parts, rec.Scale)
		for a := range s.Areas {
			area := &s.Areas[a]
			if !slices.Contains(area.Utilities, rec.Utility) {
				continue
			}
			fromM, toM, ok := inside(&line, area.Polygon)
			if !ok || anyNear(loose, &line, rec.Utility) {
				continue
			}
			f := survey.Finding{
				Kind: survey.KindNotDetected, Record: r, Utility: rec.Utility, Sheet: rec.Sheet,
				FromM: fromM, ToM: toM, Line: line.Between(fromM, toM),
			}
			f.Sentence = fmt.Sprintf("Not detected in a sweep for %s lines%s: %.0f m of the record lie inside the swept area and no reading is on it. That does not say that no line is there.",
				rec.Utility, sweep(area), toM-fromM)
			out = append(out, f)
			break
		}
	}
	return out
}

// looseM is how near to a record a reading of its utility that belongs to none
// for sure may be its after all.
const looseM = 4

// looseReading is a reading that is on no record for sure.
type looseReading struct {
	at      orb.Point
	utility string
}

// detected says which records a reading lies on, and lists the loose readings.
func detected(s *survey.Survey, matches [][]survey.Match) (seen []bool, loose []looseReading) {
	seen = make([]bool, len(s.Records))
	for t := range matches {
		tr := &s.Traces[t]
		for i := range matches[t] {
			m := &matches[t][i]
			if m.Record >= 0 {
				seen[m.Record] = true
			}
			switch m.Status {
			case survey.StatusAmbiguous, survey.StatusUnmapped, survey.StatusUntrusted:
				loose = append(loose, looseReading{tr.Readings[i].Point, tr.Utility})
			}
		}
	}
	return seen, loose
}

// anyNear says whether a loose reading of a utility, or of none, is near a line.
func anyNear(loose []looseReading, line *lineref.Line, utility string) bool {
	box := line.Parts.Bound().Pad(looseM)
	for _, l := range loose {
		if l.utility != "" && l.utility != utility || !box.Contains(l.at) {
			continue
		}
		if f, ok := line.Nearest(l.at); ok && math.Abs(f.OffsetM) <= looseM {
			return true
		}
	}
	return false
}

func sweep(a *survey.Area) string {
	text := ""
	if a.Ticket != "" {
		text += " of ticket " + a.Ticket
	}
	if a.Date != "" {
		text += " on " + a.Date
	}
	if a.Method != "" {
		text += " (" + a.Method + ")"
	}
	return text
}

// inside is the part of a line between its first and last place in a polygon, if
// that is most of the line.
func inside(line *lineref.Line, polygon orb.MultiPolygon) (fromM, toM float64, ok bool) {
	box := polygon.Bound()
	length := line.LengthM()
	n := int(math.Max(math.Ceil(length/sampleM), 2))
	in, first, last := 0, -1, -1
	for i := 0; i <= n; i++ {
		p := line.At(length * float64(i) / float64(n))
		if box.Contains(p) && planar.MultiPolygonContains(polygon, p) {
			if first < 0 {
				first = i
			}
			in, last = in+1, i
		}
	}
	step := length / float64(n)
	return float64(first) * step, float64(last) * step, float64(in) >= sweptShare*float64(n+1)
}
