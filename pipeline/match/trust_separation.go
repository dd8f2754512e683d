package match

import (
	"fmt"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// separation: two independent position indications (peak and null, say) lie
// apart.
//
// A second current at a distance D from a line of depth d moves the peak by
// k D d^4/(D^2+d^2)^2 and the null by k D d^2/(D^2+d^2), to first order in its
// relative current k, from the fields of two long line currents; so they come
// apart by D^2/d^2 times what the peak is wrong by. How far the neighbour is, is
// not known here: one depth is taken, where the two are equal (measured on the
// exact fields at D = d and k = 0.1: peak 2.57 cm, null 5.01 cm). What two
// indications of a clean signal differ by anyhow is taken off.
//
// That a mark is not to be trusted beyond some 15 cm is common practice, no
// source. From there on it is said here, and the reading counts for less by the
// square of that; a reading by itself is put aside only from 30 cm on, since a
// neighbour that is farther off moves the null much and the peak little. What the
// map shows of neighbours decides in between.
func separation(tr *survey.Trace, i int) opinion {
	s := tr.Readings[i].SeparationM
	if !(s > cleanSeparationM) { // NaN too
		return opinion{}
	}
	op := opinion{errorM: peakErrorM(math.Sqrt(s*s-cleanSeparationM*cleanSeparationM), 1)}
	switch {
	case s > worstSeparationM:
		op.untrusted = true
		op.reason = fmt.Sprintf("position indications %.2f m apart", s)
	case s > tellSeparationM:
		op.reason = fmt.Sprintf("position indications %.2f m apart: less certain", s)
	}
	return op
}

const (
	cleanSeparationM = 0.04
	tellSeparationM  = 0.15
	worstSeparationM = 0.3
)

// peakErrorM is how far the peak is from its line where peak and null lie
// separationM apart and the disturbing line is distance depths away.
func peakErrorM(separationM, distance float64) float64 {
	return separationM / (distance * distance)
}
