package match

import "github.com/asfound/asfound/pipeline/survey"

// trust is what the signal of one reading deserves, before the map is looked
// at.
type trust struct {
	inflate   float64 // 1 or more: factor on the reading's uncertainty
	untrusted bool
	reason    string
}

// judgeTrust fills dst with the trust of every reading of a trace.
func judgeTrust(tr *survey.Trace, dst []trust) []trust {
	dst = dst[:0]
	for range tr.Readings {
		dst = append(dst, trust{inflate: 1})
	}
	return dst
}
