package judge

import (
	"fmt"
	"math"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// CoverRule is a minimum cover and the records it is for.
type CoverRule struct {
	Where
	MinimumM           float64
	Law, Source, Words string // what it is called, its citation, and the rule as a report says it
}

// localCode goes with every statement on a minimum cover.
const localCode = "The local code decides which minimum holds here; a depth reading is an estimate."

// coverPoint is the adjusted cover at one place of a record.
type coverPoint struct {
	stationM, coverM, u float64
	z                   float64 // the standard normal value below which the cover is less than the minimum
}

// coverFindings are the stretches of one record whose cover, as the field found
// it and the model adjusted it, is less than the minimum of a rule, or the one
// where the data cannot tell. What was recorded is not held against the minimum.
//
// What a cover errs by is taken as common to the whole record. Then a standard
// normal z says all of it: the cover of a place is less than the minimum where
// z < (minimum - cover)/u there, that of a stretch throughout where z is under
// the least of these.
func coverFindings(s *survey.Survey, line *lineref.Line, m *survey.Model, j *survey.Judgement, rule *CoverRule, o Options) []survey.Finding {
	rec, p := &s.Records[j.Record], &m.Profiles[j.Record]
	if p.Cover.Readings == 0 {
		return nil
	}
	best, runs := math.Inf(-1), [][]coverPoint(nil)
	for _, span := range spans(p, o.MaxGapM) {
		if k := len(p.Cover.Nodes); k > 0 { // there is no depth beyond them
			span.FromM, span.ToM = max(span.FromM, p.Cover.Nodes[0].StationM), min(span.ToM, p.Cover.Nodes[k-1].StationM)
		}
		if span.ToM <= span.FromM {
			continue
		}
		points := coverAlong(rec, &p.Cover, span.Span, rule.MinimumM, o.MinStretchM)
		best = math.Max(best, leastOver(points, o.MinStretchM))
		runs = append(runs, points)
	}
	verdict := o.verdict(estimate.NormalCDF(best))
	if verdict == survey.VerdictWithin || math.IsInf(best, -1) {
		return nil
	}
	from := estimate.NormalQuantile(o.level())
	if verdict == survey.VerdictUndecided {
		from = -from
	}
	var out []survey.Finding
	for _, points := range runs {
		for _, run := range runsOver(points, from, o.MinStretchM) {
			out = append(out, coverFinding(rec, line, p, j.Record, rule, run, verdict, o))
		}
	}
	return out
}

func coverFinding(rec *survey.Record, line *lineref.Line, p *survey.Profile, record int, rule *CoverRule, run []coverPoint, verdict survey.Verdict, o Options) survey.Finding {
	worst := run[0]
	for _, c := range run {
		if c.z > worst.z {
			worst = c
		}
	}
	from, to := run[0].stationM, run[len(run)-1].stationM
	f := survey.Finding{
		Kind: survey.KindCover, Record: record, Utility: rec.Utility, Sheet: rec.Sheet, Verdict: verdict, FromM: from, ToM: to,
		OffsetM: worst.coverM - rule.MinimumM, OffsetU: worst.u, Probability: estimate.NormalCDF(leastOver(run, o.MinStretchM)),
		ToleranceM: rule.MinimumM, Basis: rule.Law, Readings: p.Cover.Readings, Line: line.Between(from, to),
	}
	f.Sentence = fmt.Sprintf("Between stations %.1f m and %.1f m the cover is %.2f m where it is worst (u %.2f m), from %s on the record; %s asks for %.2f m. It is less with a probability of %.3f.",
		from, to, worst.coverM, worst.u, words.Count(p.Cover.Readings, "depth reading"), rule.Law, rule.MinimumM, f.Probability)
	if verdict == survey.VerdictUndecided {
		f.DecideAtU = wouldDecide(worst.coverM, rule.MinimumM, o.level())
		f.Sentence += o.undecided(worst.coverM, worst.u, rule.MinimumM, math.Inf(1), f.DecideAtU)
	}
	f.Sentence += " " + localCode
	return f
}

// coverAlong is the adjusted cover along a surveyed part of a record, closely
// enough for stretches of a length. Between two places of the model it is linear;
// without any the record's mean stands for all of it.
func coverAlong(rec *survey.Record, c *survey.Cover, span survey.Span, minimumM, stretchM float64) []coverPoint {
	const perStretch = 4
	n := max(int(math.Ceil(span.LengthM()/stretchM*perStretch)), 1)
	recordedM, recordedU := rec.CoverM, rec.CoverU
	if math.IsNaN(recordedM) { // the model has the cover itself
		recordedM, recordedU = 0, 0
	}
	var out []coverPoint
	for i := range n + 1 {
		at := span.FromM + span.LengthM()*float64(i)/float64(n)
		difference, u := c.At(at)
		p := coverPoint{stationM: at, coverM: max(recordedM+difference, 0)}
		p.u = math.Sqrt(max(u*u-recordedU*recordedU, 1e-8)) // what the record errs by is not the field's
		p.z = (minimumM - p.coverM) / u
		out = append(out, p)
	}
	return out
}

// leastOver is the highest value that z keeps over some stretch of a length, or
// over all of it where that is shorter.
func leastOver(points []coverPoint, lengthM float64) float64 {
	best := math.Inf(-1)
	for i := range points {
		least := math.Inf(1)
		for k := i; k < len(points); k++ {
			least = math.Min(least, points[k].z)
			if points[k].stationM-points[i].stationM >= lengthM-1e-9 || i == 0 && k == len(points)-1 {
				best = math.Max(best, least)
				break
			}
		}
	}
	return best
}

// runsOver are the runs of points whose z is at least from, as long as a stretch
// or all there is.
func runsOver(points []coverPoint, from, lengthM float64) (out [][]coverPoint) {
	if len(points) > 1 {
		lengthM = math.Min(lengthM, points[len(points)-1].stationM-points[0].stationM)
	}
	for i := 0; i < len(points); i++ {
		k := i
		for k < len(points) && points[k].z >= from {
			k++
		}
		if k > i && points[k-1].stationM-points[i].stationM >= lengthM-1e-9 {
			out = append(out, points[i:k])
		}
		i = max(i, k-1)
	}
	return out
}
