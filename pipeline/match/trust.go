package match

import (
	"math"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// trust is what the signal of one reading deserves, before the map is looked
// at.
type trust struct {
	inflate   float64 // 1 or more: factor on the reading's uncertainty
	ratio     float64 // error of the ratio of two coils' signals that others' make, one standard deviation
	foreign   float64 // factor on the odds of another utility than the label
	untrusted bool
	reason    string
}

// opinion is what one rule says of one reading. The zero opinion is none.
type opinion struct {
	errorM    float64 // a further error of the position, one standard deviation
	floorM    float64 // the position's error is at least this
	ratio     float64 // a further error of the ratio of two coils' signals, one standard deviation
	foreign   float64 // factor on the odds of another utility; 0 for none
	untrusted bool
	reason    string
}

// rule is one kind of evidence about a signal. A rule that finds no value to go
// by has no opinion.
type rule struct {
	name  string
	judge func(tr *survey.Trace, i int) opinion
}

// rules are all of them, one a file, in the order in which their reasons are
// told.
var rules = []rule{
	{"doubt", doubt},
	{"separation", separation},
	{"depth step", depthStepAlone},
	{"current rise", currentRise},
	{"mode", passive},
	{"hook-up", hookup},
	{"fix", fix},
	{"speed", speed},
	{"sonde", sonde},
}

// maxInflate bounds what all rules together may do to a reading that is not
// distrusted.
const maxInflate = 20

// judgeTrust fills dst with the trust of every reading of a trace.
func judgeTrust(tr *survey.Trace, o *Options, dst []trust) []trust {
	dst = dst[:0]
	for i := range tr.Readings {
		t := trust{inflate: 1, foreign: 1}
		budget := math.Sqrt(noise(&tr.Readings[i], 1, o))
		sigma2 := budget * budget
		for k := range rules {
			op := rules[k].judge(tr, i)
			sigma2 = max(sigma2+op.errorM*op.errorM, op.floorM*op.floorM)
			if op.foreign > 0 {
				t.foreign *= op.foreign
			}
			t.untrusted = t.untrusted || op.untrusted
			t.reason = join(t.reason, op.reason)
		}
		t.inflate = min(math.Sqrt(sigma2)/budget, maxInflate)
		dst = append(dst, t)
	}
	return dst
}

// join tells two reasons one after the other.
func join(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return strings.Join([]string{a, b}, "; ")
}
