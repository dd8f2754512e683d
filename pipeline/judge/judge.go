// Package judge says what is wrong with the map, by how much, where along the
// line, and to what the data attributes it, read from the adjusted model alone.
//
// A verdict belongs to a stretch of a record: at least Options.MinStretchM long
// and with evidence within Options.MaxGapM. Its probability of being outside is
// the share of joint posterior draws in which some such stretch lies beyond the
// tolerance throughout (a conformance probability in the sense of JCGM 106:2012,
// clause 7, for a whole line instead of one value). Options.GuardBand says from
// which probability on it is outside or within; between them it is undecided.
package judge

import (
	"math"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// Records judges every record of s, and lists the findings: record by record its
// positions by station, its depth and its covers; then patterns of covers, unmapped
// lines and records not detected.
func Records(s *survey.Survey, matches [][]survey.Match, m *survey.Model, o Options) ([]survey.Judgement, []survey.Finding) {
	js := make([]survey.Judgement, len(s.Records))
	var findings []survey.Finding
	rules, covers, unsure := o.Caught(s), o.CoverCaught(s), unsureOn(s, matches)
	sondes := o.sondes(s, matches)
	parallel.Each(len(js), 0, func() func(int) {
		return func(r int) {
			rec := &s.Records[r]
			line := lineref.New(rec.Parts, rec.Scale)
			js[r] = judgeRecord(r, rec, &line, withDraws(m, r), o.tolerance(rec, rules[r]), o)
		}
	})
	for r := range s.Records {
		rec := &s.Records[r]
		line := lineref.New(rec.Parts, rec.Scale)
		findings = append(findings, positionFindings(s, &line, m, &js[r], o)...)
		findings = append(findings, unsureFindings(s, &line, &js[r], unsure[r], o)...)
		findings = append(findings, depthFindings(s, &line, m, &js[r], sondes[r], o)...)
		if c := covers[r]; c >= 0 {
			findings = append(findings, coverFindings(s, &line, m, &js[r], &o.Cover[c], o)...)
		}
	}
	findings = explainDepths(findings, coverPatterns(s, m))
	findings = append(findings, unmappedFindings(s, matches)...)
	findings = append(findings, notDetectedFindings(s, matches)...)
	nameFindings(s, findings)
	return js, findings
}

func judgeRecord(r int, rec *survey.Record, line *lineref.Line, p drawn, tolerance survey.Tolerance, o Options) survey.Judgement {
	j := survey.Judgement{
		Record: r, Tolerance: tolerance, LengthM: line.LengthM(),
		Position: survey.VerdictUnsurveyed, Readings: p.Shares.Readings,
	}
	judgePosition(&j, p, o)
	judgeDepth(&j, rec, p.Profile, o)
	attribute(&j, p.Profile, p.without, &o)
	return j
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

// beyond is the probability that a normal quantity lies outside +- limit.
func beyond(value, u, limit float64) float64 {
	return 1 - estimate.Conformance(value, u, -limit, limit)
}

// wouldDecide is the standard deviation at which a value this far from the
// limit would be decided at a level of probability.
func wouldDecide(value, limit, level float64) float64 {
	return math.Abs(math.Abs(value)-limit) / estimate.NormalQuantile(level)
}
