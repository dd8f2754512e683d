package judge

import (
	"fmt"
	"math"
	"strings"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// Mistakes are those of frame, unit or axes that are possible in a job.
type Mistakes struct {
	Layers    [][]survey.Mistake // of every layer of records: what to add to the map then
	Positions []survey.Mistake   // of positions: what is to be added to them
}

// fits95 is the squared distance, in standard deviations, that a vector of two
// components exceeds in one case of twenty: -2 ln 0.05.
var fits95 = -2 * math.Log(0.05)

// explains is the share of a shift that a mistake has to explain, and the share of
// its own size that has to be known: one known to 10 m would fit any small shift.
const explains = 0.5

// fitting are the mistakes that a shift fits within the joint uncertainty of both,
// the one that it fits best first.
func fitting(v survey.Vector, possible []survey.Mistake) (fits []*survey.Mistake) {
	least := math.Inf(1)
	for i := range possible {
		k := &possible[i]
		e, n := v.East-k.East, v.North-k.North
		ee, en, nn := v.EE+k.U*k.U, v.EN, v.NN+k.U*k.U
		d2 := (nn*e*e - 2*en*e*n + ee*n*n) / (ee*nn - en*en)
		known := k.U <= (1-explains)*math.Hypot(k.East, k.North) && math.Hypot(e, n) <= (1-explains)*math.Hypot(v.East, v.North)
		if !known || d2 > fits95 || !(d2 >= 0) {
			continue
		}
		fits = append(fits, k)
		if d2 < least {
			least = d2
			last := len(fits) - 1
			fits[0], fits[last] = fits[last], fits[0]
		}
	}
	return fits
}

// mistakeWords say which mistake a significant shift looks like, if any.
func mistakeWords(v survey.Vector, possible []survey.Mistake) string {
	if len(possible) == 0 {
		return ""
	}
	fits := fitting(v, possible)
	if len(fits) == 0 {
		return fmt.Sprintf(" None of %s of frame, unit or axes that are possible here fits.", words.Count(len(possible), "mistake"))
	}
	more := ""
	if len(fits) > 1 {
		var others []string
		for _, k := range fits[1:] {
			others = append(others, k.Name)
		}
		more = "; so does " + strings.Join(others, ", and so does ")
	}
	best := fits[0]
	return fmt.Sprintf(" It fits a known mistake: %s would give %.2f m to the %s (u %.2f m%s).",
		best.Name, math.Hypot(best.East, best.North), compass(best.East, best.North), best.U, more)
}

// possible are the mistakes that an effect may come from, as what the effect's
// vector would be.
func (f *field) possible(e *survey.Effect) []survey.Mistake {
	if e.Kind == survey.EffectSheet {
		if layer, ok := f.layerOf[e.Name]; ok && layer < len(f.o.Mistakes.Layers) {
			return f.o.Mistakes.Layers[layer]
		}
		return nil
	}
	var out []survey.Mistake
	for _, k := range f.o.Mistakes.Positions { // observed minus true
		k.East, k.North = -k.East, -k.North
		out = append(out, k)
	}
	return out
}
