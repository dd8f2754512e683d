package match

import "github.com/asfound/asfound/pipeline/survey"

// hookup: a direct connection isolates a line better than a clamp, a clamp better
// than induction, which couples into every line nearby; so the odds differ that
// the signal followed was another line's from the start. Common practice, no
// source.
func hookup(tr *survey.Trace, i int) opinion {
	switch tr.Readings[i].Hookup {
	case survey.HookupDirect:
		return opinion{foreign: 0.5}
	case survey.HookupInduction:
		return opinion{foreign: 2}
	}
	return opinion{}
}
