// Package judge says what is wrong with the map, by how much, where along the
// line, and to what the data attributes it, read from the adjusted model alone.
//
// A verdict belongs to a stretch of a record: at least Options.MinStretchM long
// and with evidence within Options.MaxGapM. Its probability of being outside is
// the share of joint posterior draws in which some such stretch lies beyond the
// tolerance throughout (a conformance probability in the sense of JCGM 106:2012,
// clause 7, for a whole line instead of one value). At or above
// Options.Confidence it is outside, at or below 1 - Confidence within, else
// undecided.
package judge

import (
	"math"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// Records judges every record of s, and lists the findings: positions by record
// and station, then depths, unmapped lines and records not detected.
func Records(s *survey.Survey, matches [][]survey.Match, m *survey.Model, o Options) ([]survey.Judgement, []survey.Finding) {
	js := make([]survey.Judgement, len(s.Records))
	var findings []survey.Finding
	for r := range s.Records {
		rec := &s.Records[r]
		line := lineref.New(rec.Parts, rec.Scale)
		js[r] = judgeRecord(r, rec, &line, withDraws(m, r), o)
		findings = append(findings, positionFindings(s, &line, m, &js[r], o)...)
		findings = append(findings, depthFindings(s, &line, m, &js[r], o)...)
	}
	findings = append(findings, unmappedFindings(s, matches)...)
	findings = append(findings, notDetectedFindings(s, matches)...)
	nameFindings(s, findings)
	return js, findings
}

func judgeRecord(r int, rec *survey.Record, line *lineref.Line, p drawn, o Options) survey.Judgement {
	j := survey.Judgement{
		Record: r, Tolerance: o.Tolerance(rec), LengthM: line.LengthM(),
		Position: survey.VerdictUnsurveyed, Readings: p.Shares.Readings,
	}
	judgePosition(&j, p, o)
	judgeDepth(&j, rec, p.Profile, o)
	j.Attribution = attribute(&j, p.Profile)
	return j
}

// Tolerance is that of the first rule that a record meets.
func (o *Options) Tolerance(rec *survey.Record) survey.Tolerance {
	is := func(want, have string) bool { return want == "" || want == have }
	for _, r := range o.Rules {
		if is(r.Utility, rec.Utility) && is(r.Quality, rec.Quality) && is(r.Material, rec.Material) && is(r.Sheet, rec.Sheet) {
			return survey.Tolerance{HorizontalM: r.HorizontalM, DepthM: r.DepthM, Rule: r.Words}
		}
	}
	return survey.Tolerance{HorizontalM: o.Default.HorizontalM, DepthM: o.Default.DepthM, Rule: o.Default.Words}
}

// judgeDepth compares covers.
func judgeDepth(j *survey.Judgement, rec *survey.Record, p *survey.Profile, o Options) {
	switch {
	case math.IsNaN(rec.CoverM):
		j.Depth = survey.VerdictNone
	case p.Cover.Readings == 0:
		j.Depth = survey.VerdictUnsurveyed
	default:
		j.DepthProbability = beyond(p.Cover.DifferenceM, p.Cover.U, j.Tolerance.DepthM)
		j.Depth = o.verdict(j.DepthProbability)
	}
}

// verdict applies the rule of decision to a probability of being outside.
func (o *Options) verdict(p float64) survey.Verdict {
	switch {
	case p >= o.Confidence:
		return survey.VerdictOutside
	case p <= 1-o.Confidence:
		return survey.VerdictWithin
	}
	return survey.VerdictUndecided
}

// beyond is the probability that a normal quantity lies outside +- limit.
func beyond(value, u, limit float64) float64 {
	return 1 - estimate.Conformance(value, u, -limit, limit)
}

// wouldDecide is the standard deviation at which a value this far from the
// limit would be decided at the confidence.
func wouldDecide(value, limit, confidence float64) float64 {
	return math.Abs(math.Abs(value)-limit) / estimate.NormalQuantile(confidence)
}
