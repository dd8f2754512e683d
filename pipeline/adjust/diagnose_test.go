package adjust

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// What the worst reading decides is what changes when it is taken out and all is
// adjusted anew: a straight record, normal errors, so that nothing else changes.
func TestWithoutTheWorstReading(t *testing.T) {
	o := gaussian(testOptions())
	o.WanderS, o.LocalM = 0, 0.03
	build := func(without int) *world {
		w := &world{}
		w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0})
		pts := along(0.02, 5, 95, 6)
		pts[7][1] = 0.2
		w.walk("T", "C", 0, false, pts...)
		if without >= 0 {
			w.matches[0][without].Status = "ambiguous"
		}
		return w
	}
	m := build(-1).adjust(t, o)
	worst := m.Fit.Worst[0]
	if worst.Trace != 0 || worst.Reading != 7 {
		t.Fatalf("the worst is %+v, want reading 7", worst)
	}
	if !(worst.Redundancy > 0 && worst.Redundancy < 1) || math.Abs(worst.Standardised) < 2 {
		t.Errorf("%+v", worst)
	}
	at := func(w *world) float64 {
		for _, n := range w.adjust(t, o).Profiles[0].Nodes {
			if math.Abs(n.StationM-47) < 1e-9 {
				return n.OffsetM
			}
		}
		// its node has gone with it: between its neighbours
		a, b := 0.0, 0.0
		for _, n := range w.adjust(t, o).Profiles[0].Nodes {
			switch n.StationM {
			case 41:
				a = n.OffsetM
			case 53:
				b = n.OffsetM
			}
		}
		return (a + b) / 2
	}
	with, without := at(build(-1)), at(build(7))
	if math.Abs((without-with)-worst.WithoutM) > 2e-3 {
		t.Errorf("without it the offset changes by %.4f m, said %.4f m", without-with, worst.WithoutM)
	}
}

// With the priors as observations the redundancy numbers add up to observations
// less unknowns. One record, one reading that the priors alone check: the share of
// its error that shows is its variance's share of the residual's.
func TestRedundancyOfOneReading(t *testing.T) {
	o := gaussian(testOptions())
	o.WanderS = 0
	w := &world{}
	w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0})
	w.walk("T", "C", 0, false, orb.Point{50, 0.05})
	m := w.adjust(t, o)
	sigma, _ := o.sigma(&w.s.Traces[0].Readings[0], &w.matches[0][0])
	prior := o.MapM*o.MapM + o.SheetM*o.SheetM + o.OwnM*o.OwnM + o.LocalM*o.LocalM + o.SessionM*o.SessionM + o.PositionsM*o.PositionsM + o.BiasM*o.BiasM
	if want := sigma * sigma / (sigma*sigma + prior); math.Abs(m.Fit.Redundancy-want) > 1e-6 {
		t.Errorf("redundancy %.6f, want %.6f", m.Fit.Redundancy, want)
	}
}
