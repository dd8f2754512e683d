package judge

import (
	"fmt"
	"math"
	"strings"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// Effects is the model's effects with an explanation of each, in words.
func Effects(m *survey.Model) []survey.Effect {
	out := append([]survey.Effect(nil), m.Effects...)
	for i := range out {
		out[i].Explanation = explain(&out[i])
	}
	return out
}

func explain(e *survey.Effect) string {
	size := math.Hypot(e.V.East, e.V.North)
	u := math.Sqrt(math.Max(e.V.EE, e.V.NN))
	if e.Readings+e.Checks == 0 {
		return "no evidence: nothing is known of it"
	}
	switch e.Kind {
	case survey.EffectSheet:
		if !e.Significant {
			return fmt.Sprintf("no shift worth naming (%.2f m, u %.2f m)", size, u)
		}
		return fmt.Sprintf("its %s lie %.2f m %s of where the readings put them (u %.2f m); add %.2f m %s to them",
			words.Count(e.Records, "record"), size, compass(-e.V.East, -e.V.North), u, size, compass(e.V.East, e.V.North))
	case survey.EffectSession:
		checks := ", no control check behind it"
		if e.Checks > 0 {
			checks = fmt.Sprintf(", with %s", words.Count(e.Checks, "control check"))
		}
		if !e.Significant {
			return fmt.Sprintf("no error of its positions worth naming (%.2f m, u %.2f m%s)", size, u, checks)
		}
		return fmt.Sprintf("its positions lie %.2f m %s of the truth (u %.2f m%s)", size, compass(e.V.East, e.V.North), u, checks)
	}
	if !e.Significant {
		if size > 2*u {
			return fmt.Sprintf("%.2f m, u %.2f m", size, u)
		}
		return fmt.Sprintf("nothing to be seen of it (u %.2f m)", u)
	}
	return fmt.Sprintf("all its positions seem to lie %.2f m %s of the truth (u %.2f m), or most sheets the other way: an independent control check would tell", size, compass(e.V.East, e.V.North), u)
}

var winds = strings.Fields("north north-east east south-east south south-west west north-west")

// compass is the name of the direction of a vector, to the nearest of eight.
func compass(east, north float64) string {
	deg := math.Mod(math.Atan2(east, north)*180/math.Pi+360, 360)
	return winds[int(math.Round(deg/45))%8]
}
