package match

import (
	"fmt"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// depthStepAlone: a depth that stands out from the readings before and after it,
// which agree. A buried line does not dive and come up between two steps; the
// field was disturbed there. A step that lasts is the matcher's business, not
// distrust. Common practice, no source: a quarter of the depth, and 15 cm.
func depthStepAlone(tr *survey.Trace, i int) opinion {
	if i == 0 || i+1 >= len(tr.Readings) {
		return opinion{}
	}
	a, b, c := &tr.Readings[i-1], &tr.Readings[i], &tr.Readings[i+1]
	if a.DepthTo != b.DepthTo || c.DepthTo != b.DepthTo {
		return opinion{}
	}
	around, apart := (a.DepthM+c.DepthM)/2, math.Abs(a.DepthM-c.DepthM)
	off := math.Abs(b.DepthM - around)
	usual := 0.15 + 0.25*around
	if !(off > usual) || !(apart < usual/2) { // NaN has no opinion
		return opinion{}
	}
	// A peak that reads a share of the depth wrong is wrong across the line by
	// something like half that share of the depth: at one depth's distance a
	// relative current of 0.1 moves a peak by 2.6 % and a depth by 5.7 %.
	return opinion{errorM: off / 2, reason: fmt.Sprintf("depth %.2f m between %.2f m and %.2f m", b.DepthM, a.DepthM, c.DepthM)}
}
