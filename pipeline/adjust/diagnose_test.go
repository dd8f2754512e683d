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
		w.walk("T", "C", 0, false, append(pts, orb.Point{47, 0.02})...) // a second one keeps the node where it is
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
		t.Fatal("no node at the reading")
		return 0
	}
	with, without := at(build(-1)), at(build(7))
	if math.Abs((without-with)-worst.WithoutM) > 1e-9 {
		t.Errorf("without it the offset changes by %.9f m, said %.9f m", without-with, worst.WithoutM)
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
	budget := o.budget(&w.s.Traces[0].Readings[0], &w.matches[0][0])
	sigma, _ := budget.sigma(1)
	prior := o.MapM*o.MapM + o.SheetM*o.SheetM + o.OwnM*o.OwnM + o.LocalM*o.LocalM + o.SessionM*o.SessionM + o.PositionsM*o.PositionsM + o.BiasM*o.BiasM
	if want := sigma * sigma / (sigma*sigma + prior); math.Abs(m.Fit.Redundancy-want) > 1e-6 {
		t.Errorf("redundancy %.6f, want %.6f", m.Fit.Redundancy, want)
	}
}
