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
