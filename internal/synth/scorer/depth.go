package scorer

import (
	"math"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// wrongCoverM is how far off a recorded cover is wrong.
const wrongCoverM = 0.4

// depths scores what was said of the records' covers.
func (x *scoring) depths() {
	for r := range x.records {
		rec := &x.records[r]
		if math.IsNaN(rec.CoverM) || len(rec.surveyed) == 0 || x.spared[r] {
			continue
		}
		truth := rec.meanCoverM() - rec.CoverM
		got := x.o.Records[rec.name]
		decided := got.Depth == string(survey.VerdictOutside) || got.Depth == string(survey.VerdictWithin)
		switch {
		case math.Abs(truth) >= wrongCoverM:
			x.count(CoverFound, got.Depth == saysOutside)
			x.count(CoverUndecided, !decided)
		case math.Abs(truth) < rec.limitD-marginM:
			x.count(CoverFlagged, got.Depth == saysOutside)
			x.count(CoverUndecided, !decided)
		}
		if _, there := x.o.Records[rec.name]; !there || math.IsNaN(got.CoverM) {
			continue
		}
		x.value(CoverError, math.Abs(got.CoverM-truth))
		if !x.o.Plain {
			x.count(CoverInside, math.Abs(got.CoverM-truth) <= 1.96*got.CoverU)
		}
	}
}

// measuredCovers is from how many surveyed covers on a sheet shows what they have
// in common.
const measuredCovers = 3

// coverSheets scores what was said of the covers of whole sheets.
func (x *scoring) coverSheets() {
	covers, told := map[string]int{}, map[string]string{}
	for r := range x.records {
		if rec := &x.records[r]; rec.Sheet != "" && !math.IsNaN(rec.CoverM) && len(rec.surveyed) > 0 {
			covers[rec.Sheet]++
		}
	}
	for i := range x.o.Findings {
		if f := &x.o.Findings[i]; f.Kind == string(survey.KindCoverPattern) {
			told[f.Sheet] += f.Sentence
		}
	}
	for i := range x.truth.Sheets {
		switch s := &x.truth.Sheets[i]; {
		case covers[s.Name] < measuredCovers:
		case s.CoverUnit:
			x.count(CoverUnitNamed, strings.Contains(told[s.Name], "look like feet where the map has metres"))
		case s.Invert:
			x.count(CoverPointNamed, strings.Contains(told[s.Name], "look like depths to the invert"))
		default:
			x.count(CoverOthersNamed, told[s.Name] != "")
		}
	}
}

// meanCoverM is the mean true cover over the surveyed parts.
func (r *record) meanCoverM() float64 {
	s := r.line.Stations(0)
	sum, n := 0.0, 0.0
	r.places(r.surveyed, func(m float64) {
		_, i := r.line.Locate(m)
		t := 0.0
		if d := s[i+1] - s[i]; d > 0 {
			t = min(max((m-s[i])/d, 0), 1)
		}
		sum += r.truth.CoverM[i] + t*(r.truth.CoverM[i+1]-r.truth.CoverM[i])
		n++
	})
	return sum / n
}
