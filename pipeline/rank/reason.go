package rank

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// worthNaming is how many times as often as elsewhere, or as seldom, a stratum is
// outside for the reason to name it, and how much of a gain has to lie in other
// stretches to be named; both are practice.
const (
	worthNaming  = 1.25
	worthSharing = 0.2
)

// reason says in words why a stretch is worth a visit.
func (k *knowledge) reason(rec *survey.Record, sh *sheets, c *stretch, x *pick) string {
	parts := []string{fmt.Sprintf("%.0f %% to be outside", 100*c.outside)}
	if x.control {
		parts = append(parts, "drawn at random for the control sample")
	}
	parts = append(parts, k.shift(sh, c))
	if math.IsNaN(c.ownM) {
		parts = append(parts, k.stratum(rec, c))
	}
	if others := x.gain - x.ownGain; others > worthSharing*x.gain && others >= 1 {
		parts = append(parts, fmt.Sprintf("%.0f m of its benefit lie in other stretches of the sheet, whose shift it tells", others))
	}
	if c.weight != 1 {
		parts = append(parts, fmt.Sprintf("an error of %s counts %g times", rec.Utility, c.weight))
	}
	return strings.Join(slices.DeleteFunc(parts, func(p string) bool { return p == "" }), "; ")
}

// shift says what is known of the shift behind a stretch.
func (k *knowledge) shift(sh *sheets, c *stretch) string {
	if !math.IsNaN(c.ownM) {
		return fmt.Sprintf("the surveyed part beside it lies %.2f m off", math.Abs(c.besideM))
	}
	if c.sheet < 0 {
		return "names no sheet"
	}
	of := &sh.all[c.sheet]
	if !of.read {
		return fmt.Sprintf("nothing of sheet %s has been surveyed", of.name)
	}
	most := belief{}
	for i := range c.legs {
		if b := of.across(c.legs[i].east, c.legs[i].north); i == 0 || math.Abs(b.mean) > math.Abs(most.mean) {
			most = b
		}
	}
	says := "shows no shift worth naming"
	if of.significant {
		says = "is shifted"
	}
	return fmt.Sprintf("sheet %s %s: %.2f m ± %.2f m (95 %%) across this line", of.name, says, math.Abs(most.mean), 1.96*most.sd)
}

// stratum names those that tell most.
func (k *knowledge) stratum(rec *survey.Record, c *stretch) string {
	best, name := worthNaming, ""
	for f := range factors {
		value := factors[f].of(rec, c.lengthM())
		r, ok := k.strata[f][value]
		if far := max(r, 1/r); ok && far > best && value != "" {
			best, name = far, fmt.Sprintf("%s %s: outside %.1f times as often as expected", factors[f].name, value, r)
		}
	}
	return name
}
