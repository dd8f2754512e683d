package judge

import (
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/paulmach/orb/simplify"
)

// Fewer readings or a shorter run than these are no line that the map lacks.
const (
	minUnmapped  = 4
	minUnmappedM = 8
	sampleM      = 2   // how densely a record is tried against a swept area
	sweptShare   = 0.5 // of a record inside an area, to say that it was not detected there
)

// unmappedFindings are lines of readings that fit no record: one finding per
// run of a trace, in the traces' order by id.
func unmappedFindings(s *survey.Survey, matches [][]survey.Match, o Options) []survey.Finding {
	var out []survey.Finding
	for _, t := range s.ByID() {
		tr := &s.Traces[t]
		var run orb.LineString
		flush := func() {
			if f, ok := unmappedLine(tr, run); ok {
				out = append(out, f)
			}
			run = nil
		}
		for i := range tr.Readings {
			switch matches[t][i].Status {
			case survey.StatusUnmapped:
				run = append(run, tr.Readings[i].Point)
			case survey.StatusUntrusted, survey.StatusDuplicate:
				// says nothing either way
			default:
				flush()
			}
		}
		flush()
	}
	return out
}

func unmappedLine(tr *survey.Trace, run orb.LineString) (survey.Finding, bool) {
	length := planar.Length(run)
	if len(run) < minUnmapped || length < minUnmappedM {
		return survey.Finding{}, false
	}
	ls := simplify.DouglasPeucker(0.1).Simplify(run.Clone()).(orb.LineString)
	what := tr.Utility
	if what == "" {
		what = "unlabelled"
	}
	return survey.Finding{
		Kind: survey.KindUnmapped, Record: -1, Utility: tr.Utility, ToM: length, Readings: len(run),
		Line: orb.MultiLineString{ls},
		Sentence: fmt.Sprintf("%s of a %s line over %.0f m fit no record: the map may lack a line here.",
			count(len(run), "reading"), what, length),
	}, true
}

// notDetectedFindings are records inside an area swept for their utility on
// which nobody took a reading. That is no proof that they are not there.
func notDetectedFindings(s *survey.Survey, matches [][]survey.Match) []survey.Finding {
	if len(s.Areas) == 0 {
		return nil
	}
	seen := make([]bool, len(s.Records))
	for t := range matches {
		for i := range matches[t] {
			if r := matches[t][i].Record; r >= 0 {
				seen[r] = true
			}
		}
	}
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
			if !ok {
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
