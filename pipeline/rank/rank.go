// Package rank says where to survey next: every stretch without evidence, by
// what its survey is expected to resolve for the money.
//
// What a surveyed record shows is split, as the adjustment does it, into its sheet's
// shift and an error of its own. The first is believed of all records of the sheet
// with the adjustment's uncertainty; the second is expected of the others as often as
// it was found, more often or less by strata as far as chance does not explain it
// (knowledge.go). Every surveyed record is promised without its own evidence, and
// held against what was found (crossvalidate.go).
//
// Stretches are picked one after the other. A stretch resolves its own wrong length,
// and what it tells of its sheet's shift settles others of the sheet, which are worth
// less from then on: ten lines of one bad sheet need two traverses, not ten
// (pick.go).
//
// Tickets are no random sample of a network. The promises hold for stretches like
// those that were surveyed. A control sample (Options.ControlShare) is drawn at random
// from what is left of the areas that packages go to; it has no inclusion
// probabilities, and tells nothing of other areas.
package rank

import (
	"slices"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// Stretches ranks what has no evidence, in packages of a crew's day, and says how
// well such promises held on the records that were surveyed. The first stretch of a
// package carries the mobilisation. Neither the order of the input nor the number of
// cores changes anything.
func Stretches(s *survey.Survey, js []survey.Judgement, m *survey.Model, o Options) ([]survey.Resurvey, []survey.Calibration) {
	order, limits := s.ByKey(), limits(js)
	sh := newSheets(m, &o)
	seen := show(s, js, m, order, &o)
	sh.without(seen, o.OwnM, o.OwnNu)
	k := learn(s, sh, seen, limits, &o)
	all := stretches(s, js, m, sh, k, seen, order, &o)
	p := newPicker(all, sh, k, &o)
	out := make([]survey.Resurvey, 0, len(all))
	picks := make([]pick, 0, len(all))
	spent := 0.0
	for i, day := range p.packages(areas(all, o.AreaM)) {
		spent += o.Mobilisation
		for n, x := range day {
			c := &all[x.stretch]
			cost := p.cost(c)
			spent += cost
			if n == 0 {
				cost += o.Mobilisation
			}
			out = append(out, survey.Resurvey{
				Rank: len(out) + 1, Package: i + 1, Record: c.record, FromM: c.fromM, ToM: c.toM, LengthM: c.lengthM(),
				Probability: c.outside, Weight: c.weight, Cost: cost, Benefit: x.gain, CumulativeCost: spent,
				InBudget: o.Budget == 0 || spent <= o.Budget, Control: x.control,
			})
			picks = append(picks, x)
		}
	}
	parallel.Each(len(out), 0, func() func(int) {
		return func(i int) {
			r := &out[i]
			rec := &s.Records[r.Record]
			line := lineref.New(rec.Parts, rec.Scale)
			if ls := line.Between(r.FromM, r.ToM); len(ls) > 0 {
				r.Line = ls[0]
			}
			r.Reason = k.reason(rec, sh, &all[picks[i].stretch], &picks[i])
		}
	})
	return out, crossValidate(s, sh, seen, limits, &o)
}

// limits are the tolerances across a line, each once.
func limits(js []survey.Judgement) []float64 {
	var out []float64
	for i := range js {
		out = append(out, js[i].Tolerance.HorizontalM)
	}
	slices.Sort(out)
	return slices.Compact(out)
}
