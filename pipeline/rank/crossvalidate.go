package rank

import (
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// folds is how many parts the surveyed records are cut into: each is promised by
// what the others tell; the usual number (Kohavi 1995 has ten, and five).
const folds = 5

// validated is how many surveyed records are promised: more tell no more; practice.
const validated = 20_000

// crossValidate promises every surveyed record by what the others show: its sheet's
// shift without it, or without all of its sheet, and the local errors and strata
// of the other folds; and holds that against what was found.
func crossValidate(s *survey.Survey, sh *sheets, vs []*shown, limits []float64, o *Options) []survey.Calibration {
	vs = thin(vs, validated)
	out := make([]survey.Calibration, 2)
	parallel.Each(len(out), 0, func() func(int) {
		return func(kind int) {
			name, fold := survey.LeftOutRecord, func(i int) int { return i % folds }
			if kind == 1 {
				name, fold = survey.LeftOutSheet, func(i int) int {
					if k := sh.of[vs[i].record]; k >= 0 {
						return k % folds
					}
					return i % folds
				}
			}
			var promised []float64
			var found []bool
			for f := range folds {
				var others, these []*shown
				for i, v := range vs {
					if fold(i) == f {
						these = append(these, v)
					} else {
						others = append(others, v)
					}
				}
				k := learn(s, sh, others, limits, o)
				for _, v := range these {
					rec := &s.Records[v.record]
					p := k.promise(rec, v)
					if kind == 1 {
						p = k.promiseSheet(rec, v)
					}
					promised, found = append(promised, p), append(found, v.offset.beyond(v.limitM))
				}
			}
			out[kind] = verify(name, promised, found)
		}
	})
	return out
}
