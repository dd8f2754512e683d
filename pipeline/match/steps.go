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
	onLine, offLine = 1, 1
	say := func(stepped bool) {
		if stepped {
			onLine, offLine = onLine*o.StepOnLine, offLine*o.StepOffLine
		} else {
			onLine, offLine = onLine*(1-o.StepOnLine), offLine*(1-o.StepOffLine)
		}
	}
	sameSignal := a.FrequencyHz == b.FrequencyHz || math.IsNaN(a.FrequencyHz) || math.IsNaN(b.FrequencyHz)
	if ratio := math.Log(b.CurrentA / a.CurrentA); sameSignal && !math.IsNaN(ratio) && !math.IsInf(ratio, 0) {
		say(ratio > currentStep || ratio < -currentStep-currentDecay*groundM)
	}
	if d := math.Abs(b.DepthM - a.DepthM); a.DepthTo == b.DepthTo && !math.IsNaN(d) {
		say(d > depthStepM+depthStep*min(a.DepthM, b.DepthM)+depthSlope*groundM)
	}
	return onLine, offLine
}
