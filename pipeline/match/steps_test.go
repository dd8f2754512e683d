package match

import (
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
)

func TestSteps(t *testing.T) {
	reading := func(currentA, depthM float64) *survey.Reading {
		return &survey.Reading{CurrentA: currentA, DepthM: depthM, FrequencyHz: 8192}
	}
	quiet, noisy := scatter{current: 0.02, depth: 0.02}, scatter{current: 0.15, depth: 0.1}
	for _, c := range []struct {
		name     string
		a, b     *survey.Reading
		noise    scatter
		stays    bool // likelier on one line than between two
		staysTee bool
	}{
		{"nothing changes", reading(0.02, 1), reading(0.02, 1), quiet, true, true},
		{"a fifth more, on a quiet trace", reading(0.02, 1), reading(0.024, 1), quiet, false, false},
		{"a fifth more, on a noisy trace", reading(0.02, 1), reading(0.024, 1), noisy, true, true},
		{"half the current goes another way", reading(0.02, 1), reading(0.01, 1), quiet, false, false},
		{"the depth steps", reading(0.02, 1), reading(0.02, 1.4), quiet, false, false},
		{"no current and no depth", reading(nan, nan), reading(nan, nan), quiet, true, true},
	} {
		got := steps(c.a, c.b, 0.5, c.noise, &ordinary)
		if (got.onLine >= 1) != c.stays || (got.atTee >= 1) != c.staysTee {
			t.Errorf("%s: %+v", c.name, got)
		}
		if back := steps(c.b, c.a, 0.5, c.noise, &ordinary); back.onLine != got.onLine {
			t.Errorf("%s: %v one way, %v the other", c.name, got.onLine, back.onLine)
		}
		if c.b.CurrentA < c.a.CurrentA && !(got.atTee > got.onLine) {
			t.Errorf("%s: a fall is no likelier where lines meet: %+v", c.name, got)
		}
	}
}

// The noise is the trace's own: a few steps do not make a trace noisy, and a
// short one is taken for a usual one.
func TestScatter(t *testing.T) {
	w := walk("gas", 1)
	w.depth, w.current = 1, 0.02
	w.to([2]float64{0, 0}, [2]float64{200, 0}, 2)
	for i := range w.tr.Readings {
		if i%2 == 0 {
			w.tr.Readings[i].CurrentA *= 1.02
		}
		if i > 50 {
			w.tr.Readings[i].CurrentA *= 2
		}
	}
	c := &chain{o: ordinary}
	for i := range w.tr.Readings {
		c.obs = append(c.obs, observation{reading: i})
	}
	if got := c.scatters(&w.tr).current; got < 0.02 || got > 0.05 {
		t.Errorf("noise of the log current %.3f, want about %.3f", got, 0.02*madFactor)
	}
	c.obs = c.obs[:2]
	if got := c.scatters(&w.tr).current; got < usualCurrent*0.8 || got > usualCurrent*1.2 {
		t.Errorf("noise of two readings %.3f, want about the usual %.3f", got, usualCurrent)
	}
}
