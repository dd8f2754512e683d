package judge

import (
	"fmt"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/paulmach/orb/simplify"
)

// Fewer readings or a shorter run than these are no line that the map lacks.
const (
	minUnmapped  = 4
	minUnmappedM = 8
)

// unmappedFindings are lines of readings that fit no record: one finding per
// run of a trace, in the traces' order by id.
func unmappedFindings(s *survey.Survey, matches [][]survey.Match) []survey.Finding {
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
			words.Count(len(run), "reading"), what, length),
	}, true
}
