package match

import (
	"fmt"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// currentRise: the signal current falls steadily away from the transmitter; where
// it rises, the receiver stands over two currents or over another line. Common
// practice, no source: a rise by a fifth against the median of the readings
// before it. Whether the line was left is for the matcher to say; if it was not,
// the second current moved the peak.
func currentRise(tr *survey.Trace, i int) opinion {
	r := &tr.Readings[i]
	if math.IsNaN(r.CurrentA) {
		return opinion{}
	}
	var before [currentWindow]float64
	n := 0
	for k := i - 1; k >= 0 && n < currentWindow; k-- {
		if b := &tr.Readings[k]; b.CurrentA > 0 && (b.FrequencyHz == r.FrequencyHz || math.IsNaN(b.FrequencyHz)) {
			before[n] = b.CurrentA
			n++
		}
	}
	if n < currentWindow {
		return opinion{}
	}
	usual := middle(before)
	k := r.CurrentA/usual - 1
	if k < currentRiseShare {
		return opinion{}
	}
	depth := r.DepthM
	if math.IsNaN(depth) {
		depth = 1
	}
	// The second current is at most the rise; a neighbour one depth away moves
	// the peak by a quarter of its relative current times the depth.
	return opinion{errorM: min(k, 1) * depth / 4, reason: fmt.Sprintf("current %.0f %% above the readings before", 100*k)}
}

const (
	currentWindow    = 5
	currentRiseShare = 0.2
)

// middle is the median.
func middle(v [currentWindow]float64) float64 {
	for i := 1; i < len(v); i++ {
		for j := i; j > 0 && v[j-1] > v[j]; j-- {
			v[j-1], v[j] = v[j], v[j-1]
		}
	}
	return v[len(v)/2]
}
