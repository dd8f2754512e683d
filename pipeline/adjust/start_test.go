package adjust

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// A sheet 34 m off along most of its lines: the foot of a reading on the map as
// drawn is on another record, or beyond an end. The matching has the feet on the
// sheet as it moved it.
func TestSheetThatTheMatchingMoved(t *testing.T) {
	const east, north = -34.3, -5.9
	own := []float64{0, 0, 1.2, 0, -1.5, 0} // two records are off by themselves
	var w world
	for i, slope := range []float64{0.3, 0.1, -0.15, 0, 0.05} {
		y := 40 * float64(i)
		w.record("A", "S", orb.Point{0, y}, orb.Point{60, y + 60*slope})
		pts := along(y, 5, 55, 5)
		for k := range pts {
			pts[k][1] += slope * pts[k][0]
		}
		w.walk("t"+string(rune('a'+i)), "s", i, false, pts...)
	}
	w.record("B", "S", orb.Point{80, 0}, orb.Point{80, 40})
	w.walk("tb", "s", 5, false, orb.Point{80, 10}, orb.Point{80, 20}, orb.Point{80, 30})
	for i := range w.s.Traces {
		for k := range w.s.Traces[i].Readings {
			p := &w.s.Traces[i].Readings[k].Point
			*p = orb.Point{p[0] + east, p[1] + north + own[i]}
		}
	}
	m := w.adjust(t, testOptions())
	if s := effect(m, "sheet", "S"); math.Abs(s.V.East-east) > 0.3 || math.Abs(s.V.North-north) > 0.3 {
		t.Errorf("the sheet is said to be off by %.2f, %.2f, want %.2f, %.2f", s.V.East, s.V.North, east, north)
	}
	if f := effect(m, "session", "s"); math.Hypot(f.V.East, f.V.North) > 0.1 {
		t.Errorf("the session that read it is said to be off by %.2f, %.2f", f.V.East, f.V.North)
	}
}

// What lines that run one way cannot tell is taken from the matching.
func TestRobustShiftAlongTheLines(t *testing.T) {
	fs := []sheetForm{{0, -1, 5.9, 1}, {0, -1, 5.8, 1}, {0, -1, 6, 1}, {0, -1, 1, 1}}
	for _, moved := range [][2]float64{{}, {-34, -6}} {
		e, n := robustShift(fs, moved, 0.1)
		if math.Abs(e-moved[0]) > 1e-9 || math.Abs(n+5.9) > 0.05 {
			t.Errorf("moved by %v: %.3f, %.3f", moved, e, n)
		}
	}
	// From the mean of all, 14.4 m, the others would be found.
	fs = []sheetForm{{0, -1, 5.9, 1}, {0, -1, 5.9, 1}, {0, -1, 20, 1}, {0, -1, 20, 1}, {0, -1, 20, 1}}
	if _, n := robustShift(fs, [2]float64{-34, -6}, 0.1); math.Abs(n+5.9) > 0.05 {
		t.Errorf("near to where it was moved: %.3f north", n)
	}
}

// A sheet starts where its readings put it, and along lines that all run one way
// where the matching had moved it.
func TestWhereASheetStarts(t *testing.T) {
	const east, north = -34.3, -5.9
	for _, slopes := range [][]float64{{0, 0, 0}, {0.3, 0.1, -0.15}} {
		var w world
		for i, slope := range slopes {
			y := 40 * float64(i)
			w.record("A", "S", orb.Point{0, y}, orb.Point{60, y + 60*slope})
			pts := along(y, 5, 55, 5)
			for k := range pts {
				pts[k][1] += slope * pts[k][0]
			}
			w.walk("t"+string(rune('a'+i)), "s", i, false, pts...)
		}
		for i := range w.s.Traces {
			for k := range w.s.Traces[i].Readings {
				p := &w.s.Traces[i].Readings[k].Point
				*p = orb.Point{p[0] + east, p[1] + north}
			}
		}
		o := testOptions()
		n := buildNetwork(&w.s, usedFeet(&w.s, w.matches, nil), nil, o)
		p := newProblem(n, gather(&w.s, w.matches, nil, n, o), cellsAtOnce, o)
		p.begin(nil)
		if e, n := p.x[p.u.sheets], p.x[p.u.sheets+1]; math.Abs(e-east) > 0.05 || math.Abs(n-north) > 0.05 {
			t.Errorf("slopes %v: the sheet starts at %.2f, %.2f, want %.2f, %.2f", slopes, e, n, east, north)
		}
	}
}
