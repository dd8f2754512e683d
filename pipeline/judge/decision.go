package judge

import (
	"fmt"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// GuardBand is how far from a limit a value has to lie to be decided.
type GuardBand string

const (
	GuardConfidence GuardBand = "confidence" // so far that the verdict is right with Options.Confidence
	GuardExpanded   GuardBand = "expanded"   // the expanded uncertainty, k = 2
	GuardNone       GuardBand = "none"       // 0: the more probable verdict, nothing is undecided
)

// level is the probability at or above which the rule of decision says outside,
// and at or below which, from 1, within. With one normal quantity that is a
// guard band of z(level) standard uncertainties on both sides of the limit
// (JCGM 106:2012, 8.3.2 and 8.3.3).
func (o *Options) level() float64 {
	switch o.GuardBand {
	case GuardExpanded:
		return estimate.NormalCDF(2)
	case GuardNone:
		return 0.5
	}
	return o.Confidence
}

// DecisionRule is the rule of decision in words, with the standards that name it.
func (o *Options) DecisionRule() string {
	level := o.level()
	switch o.GuardBand {
	case GuardExpanded:
		return fmt.Sprintf("Guarded acceptance and guarded rejection (JCGM 106:2012, 8.3.2 and 8.3.3; ILAC-G8:09/2019, 4.2.2) with the expanded uncertainty, k = 2, as the guard band on either side of the tolerance limit: outside at a probability of %.4f or more, within at %.4f or less, undecided between.", level, 1-level)
	case GuardNone:
		return "Simple acceptance, guard band 0 (JCGM 106:2012, 8.2; ILAC-G8:09/2019, 4.2.1): outside where that is at least as probable as within. Nothing is undecided, and a verdict near the limit is wrong up to every second time."
	}
	return fmt.Sprintf("Guarded acceptance and guarded rejection (JCGM 106:2012, 8.3.2 and 8.3.3; ILAC-G8:09/2019, 4.2.2) with a guard band of %.2f standard uncertainties on either side of the tolerance limit: outside at a probability of %.4g or more, within at %.4g or less, undecided between.", estimate.GuardBand(1, level), level, 1-level)
}

// verdict applies the rule of decision to a probability of being outside.
func (o *Options) verdict(p float64) survey.Verdict {
	level := o.level()
	switch {
	case p >= level:
		return survey.VerdictOutside
	case p <= 1-level:
		return survey.VerdictWithin
	}
	return survey.VerdictUndecided
}

// undecided says that the data cannot tell whether a value measured as y lies in
// [low, high]: on which side of the limit it lies, and what would decide it.
func (o *Options) undecided(y, u, low, high, decideAtU float64) string {
	side := ""
	switch d := estimate.DecideNonBinary(y, low, high, estimate.GuardBand(u, o.level())); d {
	case estimate.ConditionalPass, estimate.ConditionalFail:
		side = fmt.Sprintf(" (a %s in the words of ILAC-G8:09/2019, 4.2.3)", d)
	}
	return fmt.Sprintf(" Undecided%s: an uncertainty of %.2f m would decide it.", side, decideAtU)
}
