package adjust

import (
	"fmt"
	"math"
	"testing"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// expose adds an exposure of a record, of a fitting on it if it has a name; drawn
// is where the map has the place.
func (w *world) expose(record int, drawn, seen orb.Point, fitting string) {
	line := lineref.New(w.s.Records[record].Parts, 1)
	f, _ := line.Nearest(drawn)
	w.s.Exposures = append(w.s.Exposures, survey.Exposure{
		ID: fmt.Sprint("TH", len(w.s.Exposures)), Point: seen, SigmaM: 0.01, DepthM: math.NaN(), Fitting: fitting,
		Session: "holes", Positions: "total station", Scale: 1,
	})
	w.exposed = append(w.exposed, survey.Match{
		Record: record, Part: f.Part, Segment: f.Segment, StationM: f.StationM, OffsetM: f.OffsetM, Probability: 1, Status: survey.StatusUsed, Inflate: 1,
	})
}

// An exposed line is one Gaussian observation across it: the posterior of the
// offset there has a closed form.
func TestExposureAcrossTheLine(t *testing.T) {
	o := gaussian(testOptions())
	var w world
	w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0})
	w.expose(0, orb.Point{50, 0}, orb.Point{50, 0.3}, "")
	m := w.adjust(t, o)
	prior := o.MapM*o.MapM + o.SheetM*o.SheetM + o.OwnM*o.OwnM + o.LocalM*o.LocalM
	sigma := o.exposedSigma(&w.s.Exposures[0])
	noise := sigma*sigma + o.SessionM*o.SessionM + o.PositionsM*o.PositionsM
	want, u := -0.3*prior/(prior+noise), math.Sqrt(prior*noise/(prior+noise))
	for _, n := range m.Profiles[0].Nodes {
		if n.StationM == 50 {
			if math.Abs(n.OffsetM-want) > 1e-6 || math.Abs(n.OffsetU-u) > 1e-6 || n.Readings != 1 {
				t.Errorf("offset %.6f u %.6f (%d), closed form %.6f u %.6f", n.OffsetM, n.OffsetU, n.Readings, want, u)
			}
			if along := math.Sqrt(n.D.EE); math.Abs(along-math.Sqrt(prior)) > 1e-6 {
				t.Errorf("along the line u %.4f, nothing was seen there: %.4f", along, math.Sqrt(prior))
			}
			return
		}
	}
	t.Error("no node at the exposure")
}

// A fitting is identifiable: it tells of both components, also along its line.
func TestExposedFittingTellsOfBothComponents(t *testing.T) {
	var w world
	w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0})
	w.expose(0, orb.Point{100, 0}, orb.Point{100.4, 0.3}, "V1")
	n := w.adjust(t, testOptions()).Profiles[0].Nodes
	end := n[len(n)-1].D
	if math.Hypot(end.East-0.4, end.North-0.3) > 0.03 || math.Sqrt(end.EE) > 0.06 || math.Sqrt(end.NN) > 0.06 {
		t.Errorf("the fitting moved by %.3f %.3f, u %.3f %.3f; want 0.4 0.3", end.East, end.North, math.Sqrt(end.EE), math.Sqrt(end.NN))
	}
}

// Test holes surveyed from another source of positions tell a frame error of the
// crews from one of the map.
func TestExposuresTellTheFrameFromTheMap(t *testing.T) {
	const east, north = 0.3, 0.8
	for _, holes := range []bool{false, true} {
		var w world
		for i := range 8 {
			y := 30 * float64(i)
			w.record(fmt.Sprint("R", i), fmt.Sprint("S", i), orb.Point{0, y}, orb.Point{100, y})
			w.record(fmt.Sprint("Q", i), fmt.Sprint("S", i), orb.Point{y, 300}, orb.Point{y, 400})
			var down []orb.Point
			for v := 305.0; v < 395; v += 6 {
				down = append(down, orb.Point{y + east, v + north})
			}
			w.walk(fmt.Sprint("T", i), fmt.Sprint("crew ", i%3), 2*i, false, along(y+north, 5, 95, 6)...)
			w.walk(fmt.Sprint("U", i), fmt.Sprint("crew ", i%3), 2*i+1, false, down...)
			if holes {
				w.expose(2*i, orb.Point{50, y}, orb.Point{50, y}, "")
				w.expose(2*i+1, orb.Point{y, 350}, orb.Point{y, 350}, "")
			}
		}
		m := w.adjust(t, testOptions())
		worst := 0.0
		for i := range m.Profiles {
			for _, n := range m.Profiles[i].Nodes {
				worst = max(worst, math.Abs(n.OffsetM))
			}
		}
		if !holes && worst < 0.3 {
			t.Errorf("nothing tells the frame from the map, and yet no record takes its share: %.3f m at most", worst)
		}
		if holes && worst > 0.05 {
			t.Errorf("the holes lie on the map, and yet a record is moved by %.3f m", worst)
		}
		g := effect(m, survey.EffectSource, "")
		if holes && math.Hypot(g.V.East-east, g.V.North-north) > 0.05 {
			t.Errorf("the crews' source is off by %.3f %.3f, want %.1f %.1f", g.V.East, g.V.North, east, north)
		}
	}
}

func TestExposureTellsTheCover(t *testing.T) {
	var w world
	w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0}).CoverM = 1
	w.expose(0, orb.Point{50, 0}, orb.Point{50, 0}, "")
	w.s.Exposures[0].DepthM, w.s.Exposures[0].DepthTo = 1.4, survey.DepthToTop
	c := w.adjust(t, testOptions()).Profiles[0].Cover
	if math.Abs(c.DifferenceM-0.4) > 0.03 || c.U > 0.1 || c.Readings != 1 {
		t.Errorf("cover differs by %.3f (u %.3f), want 0.4", c.DifferenceM, c.U)
	}
}
