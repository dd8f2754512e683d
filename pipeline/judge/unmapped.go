package judge

import (
	"fmt"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/paulmach/orb/simplify"
)

// Fewer readings or a shorter run than these are no line that the map lacks, nor
// is a run that more likely follows a record.
const (
	minUnmapped  = 4
	minUnmappedM = 8
	minUnlikely  = 0.6 // probability that a run's readings fit no record, on average
)

// unmappedFindings are lines of readings that fit no record: one finding per
// run of a trace, in the traces' order by id. Single readings of a run may not be
// sure of it; the run is as sure as they are on average.
func unmappedFindings(s *survey.Survey, matches [][]survey.Match) []survey.Finding {
	var out []survey.Finding
	for _, t := range s.ByID() {
		tr := &s.Traces[t]
		var run orb.LineString
		sum := 0.0
		flush := func() {
			if f, ok := unmappedLine(tr, run, sum/float64(len(run))); ok {
				out = append(out, f)
			}
			run, sum = nil, 0
		}
		for i := range tr.Readings {
			m := &matches[t][i]
			switch {
			case m.Status == survey.StatusUnmapped, m.Status == survey.StatusAmbiguous && m.Record < 0:
				run = append(run, tr.Readings[i].Point)
				sum += m.Probability
			case m.Status == survey.StatusUntrusted, m.Status == survey.StatusDuplicate:
				// says nothing either way
			default:
				flush()
			}
		}
		flush()
	}
	return out
}

func unmappedLine(tr *survey.Trace, run orb.LineString, probability float64) (survey.Finding, bool) {
	length := planar.Length(run)
	if len(run) < minUnmapped || length < minUnmappedM || probability < minUnlikely {
		return survey.Finding{}, false
	}
	ls := simplify.DouglasPeucker(0.1).Simplify(run.Clone()).(orb.LineString)
	what := tr.Utility
	if what == "" {
		what = "unlabelled"
	}
	return survey.Finding{
		Kind: survey.KindUnmapped, Record: -1, Utility: tr.Utility, ToM: length, Readings: len(run),
		Line: orb.MultiLineString{ls}, Probability: probability,
		Sentence: fmt.Sprintf("%s of a %s line over %.0f m fit no record (probability %.2f): the map may lack a line here.",
			words.Count(len(run), "reading"), what, length, probability),
	}, true
}
