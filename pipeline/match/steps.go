package match

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// Steps that a line's own course hardly makes between two readings.
const (
	currentStep  = 0.18 // log ratio: a fifth up or down
	currentDecay = 0.01 // log ratio a metre that a signal may fall by on its way
	depthStep    = 0.2  // share of depth
	depthStepM   = 0.1  // and metres
	depthSlope   = 0.1  // metres a metre
)

// steps is the likelihood of what current and depth do between two readings, if
// the receiver stays on its line and if it leaves it. What is not known says
// nothing.
func steps(a, b *survey.Reading, groundM float64, o Options) (onLine, offLine float64) {
	stepped, known := false, false
	sameSignal := a.FrequencyHz == b.FrequencyHz || math.IsNaN(a.FrequencyHz) || math.IsNaN(b.FrequencyHz)
	if ratio := math.Log(b.CurrentA / a.CurrentA); sameSignal && !math.IsNaN(ratio) && !math.IsInf(ratio, 0) {
		known = true
		stepped = ratio > currentStep || ratio < -currentStep-currentDecay*groundM
	}
	if d := math.Abs(b.DepthM - a.DepthM); a.DepthTo == b.DepthTo && !math.IsNaN(d) {
		known = true
		stepped = stepped || d > depthStepM+depthStep*min(a.DepthM, b.DepthM)+depthSlope*groundM
	}
	switch {
	case !known:
		return 1, 1
	case stepped:
		return o.StepOnLine, o.StepOffLine
	}
	return 1 - o.StepOnLine, 1 - o.StepOffLine
}
