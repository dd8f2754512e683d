package match

import "github.com/asfound/asfound/pipeline/survey"

// sonde: a transmitter inside the pipe is found along the pipe by the shape of
// its field; across it lies where it lies in the pipe, and its depth is to
// itself. Kept for depth, not for position; and the pipe need carry no signal.
// Common practice, no source.
func sonde(tr *survey.Trace, i int) opinion {
	if tr.Readings[i].Mode != survey.ModeSonde {
		return opinion{}
	}
	return opinion{reason: "sonde: kept for depth only"}
}
