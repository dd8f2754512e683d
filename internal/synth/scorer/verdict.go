package scorer

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// truly is what a record really is over its surveyed part.
type truly int

const (
	trulyUnsurveyed truly = iota
	trulyWithin
	trulyOutside
	trulyBetween // not counted
)

const (
	saysWithin  = string(survey.VerdictWithin)
	saysOutside = string(survey.VerdictOutside)
)

func (r *record) truly() truly {
	switch {
	case r.line == nil || len(r.surveyed) == 0:
		return trulyUnsurveyed
	case len(r.outside(r.surveyed, r.limitM+marginM)) > 0:
		return trulyOutside
	case r.worst(r.touched) <= r.limitM-marginM:
		return trulyWithin
	}
	return trulyBetween
}

// outside are the stretches, of at least stretchM, in which every place of the
// true line lies farther from the record than a limit.
func (r *record) outside(within []stretch, limitM float64) []stretch {
	var out []stretch
	for _, s := range within {
		from := math.NaN()
		end := func(m float64) {
			if m-from >= stretchM-1e-9 {
				out = append(out, stretch{from, m})
			}
			from = math.NaN()
		}
		previous := s.fromM
		r.places([]stretch{s}, func(m float64) {
			switch beyond := across(&r.before, r.line.At(m)) > limitM; {
			case beyond && math.IsNaN(from):
				from = m
			case !beyond:
				end(previous)
			}
			previous = m
		})
		end(previous)
	}
	return out
}

// worst is the largest distance of the true line from the record.
func (r *record) worst(within []stretch) float64 {
	worst := 0.0
	r.places(within, func(m float64) { worst = max(worst, across(&r.before, r.line.At(m))) })
	return worst
}

func (r *record) whole() []stretch { return []stretch{{0, r.line.LengthM()}} }

// verdicts scores what was said of the records' positions.
func (x *scoring) verdicts() {
	for r := range x.records {
		rec := &x.records[r]
		said := x.o.Records[rec.name].Position
		decided := said == saysOutside || said == saysWithin
		if x.spared[r] {
			continue
		}
		if len(rec.surveyed) > 0 && !x.moot[r] {
			x.lengths(rec)
		}
		switch x.truly[r] {
		case trulyOutside:
			x.count(OutsideMissed, said == saysWithin)
			if x.moot[r] {
				continue
			}
			found := said == saysOutside
			x.count(OutsideFound, found)
			x.count(OutsidePlace, found && x.placed(rec))
			x.count(Undecided, !decided)
			if rec.frame {
				x.count(OutsideOtherFrame, found)
			}
		case trulyWithin:
			x.count(WithinFlagged, said == saysOutside)
			if !x.moot[r] {
				x.count(Undecided, !decided)
			}
		case trulyUnsurveyed:
			if rec.line == nil {
				x.count(NoLineJudged, decided)
				continue
			}
			wrongly := said == saysOutside && rec.worst(rec.whole()) <= rec.limitM-marginM ||
				said == saysWithin && rec.best() > rec.limitM+marginM
			x.count(UnsurveyedMisjudged, wrongly)
		}
	}
}

// best is the smallest distance of the true line from the record.
func (r *record) best() float64 {
	best := math.Inf(1)
	r.places(r.whole(), func(m float64) { best = min(best, across(&r.before, r.line.At(m))) })
	return best
}

// saidOutside are the published stretches of a record that are outside.
func (x *scoring) saidOutside(rec *record) []stretch {
	var out []stretch
	for i := range x.o.Findings {
		f := &x.o.Findings[i]
		if f.Kind == string(survey.KindPosition) && f.Record == rec.name && f.Verdict == saysOutside {
			out = append(out, stretch{f.FromM, f.ToM})
		}
	}
	return out
}

// placed says whether some published stretch that is outside reaches what is
// truly outside, give or take stretchM.
func (x *scoring) placed(rec *record) bool {
	really := rec.outside(rec.surveyed, rec.limitM+marginM)
	for _, s := range x.saidOutside(rec) {
		for m := s.fromM; m <= min(s.toM, rec.before.LengthM()); m += stepM {
			if foot, ok := rec.line.Nearest(rec.before.At(m)); ok && holds(really, foot.StationM, stretchM) {
				return true
			}
		}
	}
	return false
}

// lengths scores metre by metre what was said outside, beside the surveyed part:
// whether what is truly outside was, and whether what was is beyond tolerance
// - 0.1 m.
func (x *scoring) lengths(rec *record) {
	really, said := rec.outside(rec.surveyed, rec.limitM+marginM), x.saidOutside(rec)
	if len(really)+len(said) == 0 {
		return
	}
	for m := 0.5; m < rec.before.LengthM(); m++ {
		foot, ok := rec.line.Nearest(rec.before.At(m))
		if !ok || !holds(rec.surveyed, foot.StationM, 0) {
			continue
		}
		says := holds(said, m, 0)
		if holds(really, foot.StationM, 0) {
			x.count(OutsideLength, says)
		}
		if says {
			x.count(SaidLength, across(rec.line, rec.before.At(m)) > rec.limitM-marginM)
		}
	}
}
