package match

import "github.com/asfound/asfound/pipeline/survey"

// doubt: the crew marked the reading as doubtful. Nobody knows better what was
// wrong there: the null off the peak, a signal that came and went, a crossing.
// Common practice, no source.
func doubt(tr *survey.Trace, i int) opinion {
	if !tr.Readings[i].Doubt {
		return opinion{}
	}
	return opinion{untrusted: true, reason: "the crew doubts it"}
}
