package judge

import (
	"cmp"
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
// which nobody took a reading. That is no proof that they are not there; of one
// that no signal can be put on a sweep says nothing at all: those are not traceable,
// a kind of their own.
func notDetectedFindings(s *survey.Survey, matches [][]survey.Match) []survey.Finding {
	if len(s.Areas) == 0 {
		return nil
	}
	seen, loose := detected(s, matches)
	var out []survey.Finding
	for r := range s.Records {
		rec := &s.Records[r]
		if seen[r] {
			continue
		}
		line := lineref.New(rec.Parts, rec.Scale)
		for a := range s.Areas {
			area := &s.Areas[a]
			if !slices.Contains(area.Utilities, rec.Utility) {
				continue
			}
			fromM, toM, ok := inside(&line, area.Polygon)
			silent := rec.Conductor == survey.ConductorNone
			if !ok || !silent && looseShare(loose, &line, r, rec.Utility, fromM, toM) > mayBeIts {
				continue
			}
			f := survey.Finding{
				Kind: survey.KindNotDetected, Record: r, Utility: rec.Utility, Sheet: rec.Sheet,
				FromM: fromM, ToM: toM, Line: line.Between(fromM, toM),
			}
			f.Sentence = fmt.Sprintf("Not detected in a sweep for %s lines%s: %.0f m of the record lie inside the swept area and no reading is on it for sure. That does not say that no line is there.",
				rec.Utility, sweep(area), toM-fromM)
			if silent {
				f.Kind = survey.KindNotTraceable
				f.Sentence = fmt.Sprintf("Not traceable: %.0f m of the record lie inside an area swept for %s lines%s, but the map says that no signal can be put on it. A sweep for signals says nothing of it, neither that it is there nor that it is not.",
					toM-fromM, rec.Utility, sweep(area))
			}
			out = append(out, f)
			break
		}
	}
	return out
}

// A reading that is on no record for sure may be that of a record of its utility
// as near as looseM. It speaks for half the way to the readings before and after
// it, leastM at least; where such readings speak for more than mayBeIts of what was
// swept, the record may have been detected. The stray one where another line begins
// or crosses does not, nor does one that is likelier on another record than not.
// Common practice, no source.
const (
	looseM    = 4.0
	leastM    = 1.0
	mayBeIts  = 0.3
	elsewhere = 0.5
	sure      = 0.9 // probability of its record from which on a distrusted reading is not loose
)

// looseReading is a reading that is on no record for sure.
type looseReading struct {
	at      orb.Point
	utility string
	record  int     // on which it most likely is; -1 none
	likely  float64 // how likely that is
	aroundM float64 // grid metres to either side that it speaks for
}

// detected says which records a reading lies on, and lists the loose readings, from
// west to east.
func detected(s *survey.Survey, matches [][]survey.Match) (seen []bool, loose []looseReading) {
	seen = make([]bool, len(s.Records))
	for t := range matches {
		tr := &s.Traces[t]
		for i := range matches[t] {
			m := &matches[t][i]
			switch {
			case m.Status == survey.StatusDuplicate || m.Status == survey.StatusUntrusted && m.Record >= 0 && m.Probability >= sure:
			case m.Status == survey.StatusAmbiguous || m.Status == survey.StatusUnmapped || m.Status == survey.StatusUntrusted:
				loose = append(loose, looseReading{tr.Readings[i].Point, tr.Utility, m.Record, m.Probability, halfway(tr.Readings, i)})
			case m.Record >= 0:
				seen[m.Record] = true
			}
		}
	}
	slices.SortFunc(loose, func(a, b looseReading) int { return cmp.Compare(a.at[0], b.at[0]) })
	return seen, loose
}

// halfway is half the way from a reading to the farther one of those before and
// after it.
func halfway(rs []survey.Reading, i int) float64 {
	far := 2 * leastM
	for _, k := range [2]int{i - 1, i + 1} {
		if k >= 0 && k < len(rs) {
			far = max(far, planar.Distance(rs[i].Point, rs[k].Point))
		}
	}
	return far / 2
}

// looseShare is the share of a part of a record that loose readings of its
// utility, or of none, speak for.
func looseShare(loose []looseReading, line *lineref.Line, record int, utility string, fromM, toM float64) float64 {
	n := int(math.Ceil((toM-fromM)/sampleM)) + 1
	spoken := make([]bool, n)
	box := line.Parts.Bound().Pad(looseM * line.Scale)
	from, _ := slices.BinarySearchFunc(loose, box.Min[0], func(l looseReading, x float64) int { return cmp.Compare(l.at[0], x) })
	for i := from; i < len(loose) && loose[i].at[0] <= box.Max[0]; i++ {
		l := &loose[i]
		if l.record != record && l.utility != "" && l.utility != utility || !box.Contains(l.at) {
			continue
		}
		if l.record >= 0 && l.record != record && l.likely >= elsewhere {
			continue
		}
		f, ok := line.Nearest(l.at)
		if !ok || math.Abs(f.OffsetM) > looseM {
			continue
		}
		for k := range spoken {
			spoken[k] = spoken[k] || math.Abs(fromM+float64(k)*sampleM-f.StationM) <= l.aroundM/line.Scale
		}
	}
	count := 0
	for _, is := range spoken {
		if is {
			count++
		}
	}
	return float64(count) / float64(n)
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
	if !box.Intersects(line.Parts.Bound()) {
		return 0, 0, false
	}
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
