// Package adjust is the least-squares adjustment of the map to the evidence,
// with everything that can be wrong in it as an unknown.
//
// A used reading i on a record of sheet s, taken in session c with positions
// from source k on trace t, observes across the record (normal n to the right)
//
//	offset = n . (d + f(c) + g(k)) +- b(t) + e
//
// where d is what to add to the record there to reach the truth, f and g are
// errors of the positions, and b is a bias to the right of walking. d itself is
//
//	d = m(s) + h(r) + x
//
// the sheet's shift, the record's own shift and an Ornstein-Uhlenbeck process
// along the network (Uhlenbeck and Ornstein 1930). All of them are estimated at
// once from one sparse system; verdicts, attributions, corrections and the
// re-survey order read the same estimate. Readings and the records' own shifts
// follow Student's t, by iterated reweighting (Lange, Little and Taylor 1989).
//
// Axes are true east and north in ground metres.
package adjust

import (
	"math"
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
)

// Network adjusts the records to the used readings and the control checks. The
// model has one profile per record of s, in its order; the order of records
// and traces changes no number in it.
func Network(s *survey.Survey, matches [][]survey.Match, o Options) (*survey.Model, error) {
	n := buildNetwork(s, usedFeet(s, matches), o)
	ev := gather(s, matches, n, o)
	p := newProblem(n, ev, o)
	if err := p.run(); err != nil {
		return nil, err
	}
	if p.suspectFrame() {
		if err := p.run(); err != nil {
			return nil, err
		}
	}
	model, err := p.posterior(s)
	if err != nil {
		return nil, err
	}
	covers, err := adjustCovers(s, matches, n, o, model.CoverDifferenceM)
	if err != nil {
		return nil, err
	}
	for r := range model.Profiles {
		model.Profiles[r].Cover = covers[r]
	}
	return model, nil
}

// nodeSpacingM is how far apart nodes may lie between two readings of a record,
// so that what the readings do not see there shows as uncertainty.
const nodeSpacingM = 5

// usedFeet lists the foot points of the used readings on each record, and
// places between those that are far apart.
func usedFeet(s *survey.Survey, matches [][]survey.Match) [][]foot {
	feet := make([][]foot, len(s.Records))
	for t := range matches {
		for i := range matches[t] {
			if m := &matches[t][i]; m.Status == survey.StatusUsed {
				feet[m.Record] = append(feet[m.Record], foot{part: m.Part, stationM: m.StationM})
			}
		}
	}
	for r := range feet {
		slices.SortFunc(feet[r], compareFeet)
		for i, n := 1, len(feet[r]); i < n; i++ {
			a, b := feet[r][i-1], feet[r][i]
			if a.part != b.part {
				continue
			}
			steps := math.Ceil((b.stationM - a.stationM) / nodeSpacingM)
			for k := 1.0; k < steps; k++ {
				feet[r] = append(feet[r], foot{part: a.part, stationM: a.stationM + k/steps*(b.stationM-a.stationM)})
			}
		}
	}
	return feet
}

// suspectFrame looks whether most sheets seem to share one shift. One source of
// positions that is off looks just so, and no reading can tell the two apart;
// the sources' prior is then widened to what is seen, so that the estimate
// shares the shift between them with the uncertainty that it deserves. Control
// checks pin the sources and settle it.
func (p *problem) suspectFrame() bool {
	const enough = 5 // sheets
	var east, north []float64
	readings := make([]int, len(p.n.sheets))
	for i := range p.ev.obs {
		if s := p.n.records[p.ev.obs[i].record].sheet; s >= 0 {
			readings[s]++
		}
	}
	for s := range p.n.sheets {
		if readings[s] >= 10 {
			east = append(east, p.x[p.u.sheets+2*s])
			north = append(north, p.x[p.u.sheets+2*s+1])
		}
	}
	if len(east) < enough {
		return false
	}
	e, n := median(east), median(north)
	spread := func(v []float64, centre float64) float64 {
		dev := make([]float64, len(v))
		for i := range v {
			dev[i] = math.Abs(v[i] - centre)
		}
		return 1.4826 * median(dev) / math.Sqrt(float64(len(v)))
	}
	shift := math.Hypot(e, n)
	// 1.2533: standard error of a median over that of a mean, normal data.
	sure := 1.2533 * math.Hypot(spread(east, e), spread(north, n))
	if shift < 0.1 || shift < 5*sure {
		return false
	}
	widened := false
	for k := range p.sourceM {
		if p.sourceM[k] < shift {
			p.sourceM[k] = shift
			widened = true
		}
	}
	return widened
}
