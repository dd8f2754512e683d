package match

import (
	"fmt"

	"github.com/asfound/asfound/pipeline/survey"
)

// fix: the kind of satellite position bounds from below what its accuracy can
// be, whatever is stated: carrier-phase ambiguities that are not fixed leave
// decimetres, code positions with corrections half a metre and more, without
// them metres. Common practice, no source.
func fix(tr *survey.Trace, i int) opinion {
	r := &tr.Readings[i]
	kind, least := "", 0.0
	switch r.Fix {
	case survey.FixFloat:
		kind, least = "float", 0.3
	case survey.FixDGPS:
		kind, least = "code", 0.6
	case survey.FixAutonomous:
		kind, least = "uncorrected", 3
	default:
		return opinion{}
	}
	if r.SigmaM >= least {
		return opinion{}
	}
	return opinion{floorM: least, reason: fmt.Sprintf("%s position: %.1f m taken for its accuracy", kind, least)}
}
