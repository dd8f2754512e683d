package rank

import "github.com/asfound/asfound/pipeline/survey"

// verify holds promised probabilities against what was found. The Brier score is
// the mean square of their difference. Over groups, here the tenths of the
// probability, it is reliability - resolution + uncertainty (Murphy 1973) and, where
// the promises of a group differ, their variance within it less twice their
// covariance with what was found (Stephenson, Coelho and Jolliffe 2008).
func verify(leftOut survey.LeftOut, promised []float64, found []bool) survey.Calibration {
	c := survey.Calibration{LeftOut: leftOut, Cases: len(promised)}
	if len(promised) == 0 {
		return c
	}
	n := float64(len(promised))
	for i, p := range promised {
		t := &c.Tenths[tenth(p)]
		y := one(found[i])
		t.Cases++
		t.Promised += p
		t.Found += y
		c.Outside += y / n
		c.Brier += (p - y) * (p - y) / n
	}
	for k := range c.Tenths {
		t := &c.Tenths[k]
		if t.Cases == 0 {
			continue
		}
		w := float64(t.Cases)
		t.Promised, t.Found = t.Promised/w, t.Found/w
		c.Reliability += w / n * (t.Promised - t.Found) * (t.Promised - t.Found)
		c.Resolution += w / n * (t.Found - c.Outside) * (t.Found - c.Outside)
	}
	for i, p := range promised {
		t := &c.Tenths[tenth(p)]
		dp, dy := p-t.Promised, one(found[i])-t.Found
		c.Within += (dp*dp - 2*dp*dy) / n
	}
	c.Uncertainty = c.Outside * (1 - c.Outside)
	return c
}

func tenth(p float64) int { return min(max(int(10*p), 0), 9) }
