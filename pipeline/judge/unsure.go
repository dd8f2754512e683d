package judge

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// minUnsure is how many readings, in a row along a record, put its verdict in doubt.
// Common practice, no source.
const minUnsure = 3

// unsureReading is a reading that is likeliest on a record, but not for sure.
type unsureReading struct{ stationM, offsetM, probability float64 }

// unsureOn lists the ambiguous readings of every record by station.
func unsureOn(s *survey.Survey, matches [][]survey.Match) [][]unsureReading {
	out := make([][]unsureReading, len(s.Records))
	for t := range matches {
		for i := range matches[t] {
			if m := &matches[t][i]; m.Status == survey.StatusAmbiguous && m.Record >= 0 && !m.AtEnd {
				out[m.Record] = append(out[m.Record], unsureReading{m.StationM, m.OffsetM, m.Probability})
			}
		}
	}
	for _, rs := range out {
		slices.SortFunc(rs, func(a, b unsureReading) int {
			return cmp.Or(cmp.Compare(a.stationM, b.stationM), cmp.Compare(a.offsetM, b.offsetM))
		})
	}
	return out
}

// unsureFindings take back that a record is within where readings beside its
// surveyed stretches, likeliest its own, lie beyond the tolerance over a stretch: if
// they are its own it is not, and whether they are the data cannot tell.
func unsureFindings(s *survey.Survey, line *lineref.Line, j *survey.Judgement, rs []unsureReading, o Options) []survey.Finding {
	if j.Position != survey.VerdictWithin || o.GuardBand == GuardNone {
		return nil
	}
	rs = slices.DeleteFunc(slices.Clone(rs), func(r unsureReading) bool {
		return math.Abs(r.offsetM) <= j.Tolerance.HorizontalM ||
			slices.ContainsFunc(j.Stretches, func(st survey.Stretch) bool { return r.stationM >= st.FromM && r.stationM <= st.ToM })
	})
	var out []survey.Finding
	for from := 0; from < len(rs); {
		to := from + 1
		for to < len(rs) && rs[to].stationM-rs[to-1].stationM <= 2*o.MaxGapM {
			to++
		}
		if run := rs[from:to]; len(run) >= minUnsure && run[len(run)-1].stationM-run[0].stationM >= o.MinStretchM {
			out = append(out, unsureFinding(&s.Records[j.Record], line, j, run))
		}
		from = to
	}
	if len(out) > 0 {
		j.Position = survey.VerdictUndecided
	}
	return out
}

func unsureFinding(rec *survey.Record, line *lineref.Line, j *survey.Judgement, run []unsureReading) survey.Finding {
	var offsets []float64
	likely := 0.0
	for _, r := range run {
		offsets = append(offsets, r.offsetM)
		likely += r.probability / float64(len(run))
	}
	f := survey.Finding{
		Kind: survey.KindPosition, Record: j.Record, Utility: rec.Utility, Sheet: rec.Sheet, Verdict: survey.VerdictUndecided,
		FromM: run[0].stationM, ToM: run[len(run)-1].stationM, OffsetM: estimate.Median(offsets), OffsetU: estimate.MAD(offsets), Probability: likely,
		ToleranceM: j.Tolerance.HorizontalM, Basis: j.Tolerance.Rule, Readings: len(run), Attribution: survey.AttributionInseparable,
	}
	f.Line = line.Between(f.FromM, f.ToM)
	f.Sentence = fmt.Sprintf("Within tolerance where its readings are sure to be its own. But between stations %.1f m and %.1f m %s, which are likeliest its own though not for sure (probability %.2f), lie %.2f m %s of the map, by their median (tolerance %.2f m). Undecided: readings that follow the line from where it is sure would tell.",
		f.FromM, f.ToM, words.Count(f.Readings, "reading"), likely, math.Abs(f.OffsetM), sideOf(f.OffsetM), f.ToleranceM)
	return f
}
