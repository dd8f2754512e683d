package match

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// What current and depth do between two readings, where the receiver stays on
// its line and where it leaves it. On a line both go on but for the noise that
// the trace itself shows, and now and then they step for another reason; on
// another line they may be anything, within what is usual between lines. Common
// practice, no source.
const (
	currentApart = 0.5  // log ratio of the currents of two lines, standard deviation
	depthApartM  = 0.35 // difference of the depths of two lines, standard deviation
	depthSlope   = 0.1  // metres a metre that a line's depth may change by

	usualCurrent = 0.07 // noise of the log ratio of two readings' currents
	usualDepth   = 0.08 // noise of the difference of their depths, share of depth
	usualSteps   = 8    // steps that the usual noise counts for beside the trace's own
)

// stepped is the likelihood of what current and depth do between two readings,
// against that on another line.
type stepped struct {
	onLine float64 // the receiver stays on its line
	atTee  float64 // it does, and passes a place where lines meet: part of the current goes another way there
}

// unstepped says nothing.
var unstepped = stepped{1, 1}

// scatter is how much a trace's current and depth differ from reading to
// reading: medians of the absolute differences, as standard deviations.
type scatter struct {
	current float64 // of the log ratio
	depth   float64 // share of depth
}

// currentRatio is the log ratio of two readings' currents of one signal.
func currentRatio(a, b *survey.Reading) (float64, bool) {
	same := a.FrequencyHz == b.FrequencyHz || math.IsNaN(a.FrequencyHz) || math.IsNaN(b.FrequencyHz)
	ratio := math.Log(b.CurrentA / a.CurrentA)
	return ratio, same && !math.IsNaN(ratio) && !math.IsInf(ratio, 0)
}

// depthChange is the difference of two depths to the same thing, and their mean.
func depthChange(a, b *survey.Reading) (change, mean float64, known bool) {
	change = b.DepthM - a.DepthM
	return change, math.Abs(a.DepthM+b.DepthM) / 2, a.DepthTo == b.DepthTo && !math.IsNaN(change)
}

// scatters measures a trace, given buffers of its length or shorter.
func (c *chain) scatters(tr *survey.Trace) scatter {
	c.devs = c.devs[:0]
	for i := 1; i < len(c.obs); i++ {
		if r, known := currentRatio(&tr.Readings[c.obs[i-1].reading], &tr.Readings[c.obs[i].reading]); known {
			c.devs = append(c.devs, math.Abs(r))
		}
	}
	s := scatter{current: usualScatter(c.devs, usualCurrent)}
	c.devs = c.devs[:0]
	for i := 1; i < len(c.obs); i++ {
		if d, mean, known := depthChange(&tr.Readings[c.obs[i-1].reading], &tr.Readings[c.obs[i].reading]); known && mean > 0 {
			c.devs = append(c.devs, math.Abs(d)/mean)
		}
	}
	s.depth = usualScatter(c.devs, usualDepth)
	return s
}

// usualScatter is the standard deviation behind some absolute differences, by
// their median, together with what is usual.
func usualScatter(abs []float64, usual float64) float64 {
	n := float64(len(abs))
	if n == 0 {
		return usual
	}
	own := median(abs) * madFactor
	return math.Sqrt((n*own*own + usualSteps*usual*usual) / (n + usualSteps))
}

// madFactor takes the median of absolute deviations to the standard deviation of
// a normal distribution.
const madFactor = 1.4826

// steps compares two readings. What is not known says nothing.
func steps(a, b *survey.Reading, groundM float64, sc scatter, o *Options) stepped {
	current, depth := unstepped, unstepped
	ratio, knowsCurrent := currentRatio(a, b)
	if knowsCurrent {
		current.onLine = likelier(ratio, sc.current, currentApart, o.StepOnLine)
		current.atTee = current.onLine
		if ratio < 0 {
			current.atTee = likelier(ratio, sc.current, currentApart, o.StepAtTee)
		}
	}
	change, mean, knowsDepth := depthChange(a, b)
	if knowsDepth {
		slope := depthSlope * groundM
		depth.onLine = likelier(change, math.Sqrt(sc.depth*sc.depth*mean*mean+slope*slope), depthApartM, o.StepOnLine)
		depth.atTee = depth.onLine
	}
	switch {
	case !knowsDepth:
		return current
	case !knowsCurrent:
		return depth
	}
	// A receiver that takes the depth wrong takes the current wrong with it: the
	// two are hardly two witnesses.
	return stepped{min(current.onLine, depth.onLine), min(current.atTee, depth.atTee)}
}

// likelier is how much likelier a difference is on one line, with this noise and
// this share of other steps, than between two lines.
func likelier(x, noise, apart, share float64) float64 {
	noise = min(noise, apart)
	return share + (1-share)*apart/noise*math.Exp(-x*x/2*(1/(noise*noise)-1/(apart*apart)))
}
