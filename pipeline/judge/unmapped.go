package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// What a run of readings that fit no record must be to be a line that the map
// lacks. Common practice, no source.
const (
	minUnmapped  = 4
	minUnmappedM = 5
	minUnlikely  = 0.6  // probability that its readings fit no record, on average
	surelyNone   = 0.99 // from here on a record that nobody read beside it makes no doubt
	minAlone     = 0.1  // the same where no record of its utility is in reach: others need a wrong label
	aloneM       = 5    // no further than that
	breakM       = 10   // readings that are likelier on a record part a run where they stand over so far
)

// run is the readings of one walk along one line that the map seems to lack.
type run struct {
	trace       int
	points      orb.LineString
	probability float64
}

// unmappedFindings are lines of readings that fit no record: the runs of all
// traces, joined where they are of one line. A run beside a record of its utility
// that nobody read is of either, unless its readings fit it surely not; it is that
// record's finding, undecided.
func unmappedFindings(s *survey.Survey, matches [][]survey.Match) []survey.Finding {
	near := newNeighbourhood(s, matches)
	var lines []run
	var out []survey.Finding
	for _, t := range s.ByID() {
		for _, r := range runsOf(&s.Traces[t], t, matches[t], near) {
			if b, ok := near.unread(&r); ok && r.probability < surelyNone {
				out = append(out, doubtful(s, &r, b))
			} else {
				lines = append(lines, r)
			}
		}
	}
	for _, g := range joinRuns(s, lines) {
		out = append(out, unmappedLine(s, &g))
	}
	return out
}

// runsOf are the runs of one trace: from one reading that likely fits no record to
// another, over others that say little.
func runsOf(tr *survey.Trace, t int, matches []survey.Match, near *neighbourhood) []run {
	var out []run
	var r run
	likely, alone := 0, 0 // readings up to the last likely one, those far from any record of the utility
	sum := 0.0            // of the probabilities
	flush := func() {
		if line, ok := unmappedRun(&r, likely, alone); ok {
			out = append(out, line)
		}
		r, likely, alone, sum = run{trace: t}, 0, 0, 0
	}
	flush()
	for i := range tr.Readings {
		m, p := &matches[i], tr.Readings[i].Point
		switch {
		case m.Status == survey.StatusDuplicate, m.Status == survey.StatusUntrusted && (m.Record >= 0 || m.Probability == 0):
			continue // says nothing either way
		case m.Record >= 0:
			flush()
			continue
		}
		lonely := near.alone(tr.Utility, p)
		is := lonely || m.Probability >= minUnlikely
		if is && len(r.points) > likely && planar.Distance(r.points[likely-1], p) > breakM {
			flush()
		}
		if !is && likely == 0 {
			continue
		}
		r.points, sum = append(r.points, p), sum+m.Probability
		if is {
			likely = len(r.points)
			r.probability = sum / float64(likely)
		}
		if lonely {
			alone++
		}
	}
	flush()
	return out
}

// unmappedRun is a run up to its last likely reading, if that is enough for a line.
func unmappedRun(r *run, likely, alone int) (run, bool) {
	out := *r
	out.points = out.points[:likely]
	least := minUnlikely
	if 2*alone > likely {
		least = minAlone
	}
	return out, likely >= minUnmapped && out.probability >= least && planar.Length(out.points) >= minUnmappedM
}

// doubtful is the finding of a record that a run lies beside.
func doubtful(s *survey.Survey, r *run, b beside) survey.Finding {
	rec := &s.Records[b.record]
	return survey.Finding{
		Kind: survey.KindPosition, Record: b.record, Utility: rec.Utility, Sheet: rec.Sheet, Verdict: survey.VerdictUndecided,
		FromM: b.fromM, ToM: b.toM, OffsetM: b.offsetM, OffsetU: b.spreadM, Probability: 0.5, Attribution: survey.AttributionInseparable,
		Readings: len(r.points), Line: b.line,
		Sentence: fmt.Sprintf("%s of a %s line run %.2f m %s of the map, on average, beside stations %.0f m to %.0f m, and nothing else was read there. Either the line lies there, or the map lacks one here; readings on a line where the map has it would tell.",
			words.Count(len(r.points), "reading"), rec.Utility, math.Abs(b.offsetM), sideOf(b.offsetM), b.fromM, b.toM),
	}
}

// unmappedLine is the finding of runs along one line.
func unmappedLine(s *survey.Survey, g *group) survey.Finding {
	f := survey.Finding{Kind: survey.KindUnmapped, Record: -1, Line: orb.MultiLineString{g.line}, ToM: planar.Length(g.line)}
	var sessions []string
	for _, r := range g.runs {
		tr := &s.Traces[r.trace]
		f.Readings += len(r.points)
		f.Probability += r.probability * float64(len(r.points))
		if f.Utility == "" {
			f.Utility = tr.Utility
		}
		if !slices.Contains(sessions, tr.Session) {
			sessions = append(sessions, tr.Session)
		}
	}
	f.Probability /= float64(f.Readings)
	slices.Sort(sessions)
	what := f.Utility
	if what == "" {
		what = "unlabelled"
	}
	f.Sentence = fmt.Sprintf("%s of a %s line over %.0f m fit no record (probability %.2f): the map may lack a line here. Taken in %s: %s.",
		words.Count(f.Readings, "reading"), what, f.ToM, f.Probability, words.Count(len(sessions), "session"), strings.Join(sessions, "; "))
	return f
}
