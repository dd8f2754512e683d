package match

import (
	"fmt"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// speed: nobody walks a line faster than some 3 m/s while reading it. A reading
// that could only be reached, and left again, faster than that is a wrong
// position or a wrong time. Common practice, no source.
func speed(tr *survey.Trace, i int) opinion {
	in, here := pace(tr, i-1, i)
	out, there := pace(tr, i, i+1)
	if !here || !there || min(in, out) <= walkableMPerS {
		return opinion{}
	}
	return opinion{untrusted: true, reason: fmt.Sprintf("%.0f m/s from the reading before and to the next", min(in, out))}
}

const (
	walkableMPerS = 3
	leapM         = 2 // shorter steps are noise beside a clock's full seconds
)

// pace is how fast a crew went between two readings, where that is known.
func pace(tr *survey.Trace, i, j int) (mPerS float64, known bool) {
	if i < 0 || j >= len(tr.Readings) {
		return 0, false
	}
	a, b := &tr.Readings[i], &tr.Readings[j]
	if a.Time.IsZero() || b.Time.IsZero() {
		return 0, false
	}
	d, seconds := dist(a.Point, b.Point), math.Abs(b.Time.Sub(a.Time).Seconds())
	if d < leapM {
		return 0, true
	}
	return d / max(seconds, 1), true
}
