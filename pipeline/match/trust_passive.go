package match

import "github.com/asfound/asfound/pipeline/survey"

// passive: a passive signal says that a conductor is there, not which, so the label
// of a passive reading binds less. Common practice, no source. Its larger
// locating error is in the error budget.
func passive(tr *survey.Trace, i int) opinion {
	if tr.Readings[i].Mode != survey.ModePassive {
		return opinion{}
	}
	return opinion{foreign: 5}
}

// What hums by itself is learned from the passive traces that name a utility, if
// there are as many as humsTraces and as large a share as humsShare agrees.
const (
	humsTraces = 3
	humsShare  = 0.9
)

// hums is the utility whose lines carry a signal of their own, "" where the
// survey does not show it.
func hums(traces []survey.Trace) string {
	counts, total := map[string]int{}, 0
	for i := range traces {
		if tr := &traces[i]; tr.Utility != "" && allPassive(tr) {
			counts[tr.Utility]++
			total++
		}
	}
	for utility, n := range counts {
		if n >= humsTraces && float64(n) >= humsShare*float64(total) {
			return utility
		}
	}
	return ""
}

// allPassive says whether no reading of a trace had a transmitter's signal.
func allPassive(tr *survey.Trace) bool {
	for i := range tr.Readings {
		if tr.Readings[i].Mode != survey.ModePassive {
			return false
		}
	}
	return len(tr.Readings) > 0
}
