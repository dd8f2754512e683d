package adjust

import (
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

func testOptions() Options {
	return Options{
		Sizes:  SizesEstimated,
		LocalM: 0.25, LambdaM: 40, LocalNu: 6, SheetM: 0.15, SheetNu: 3, MapM: 0.05, OwnM: 0.15, JoinM: 0.5, SessionM: 0.03, PositionsM: 0.02, BiasM: 0.025,
		BlockM: 400, SnapM: 0.05, AccuracyFactor: 1.5, DefaultSigmaM: 0.1, PoleM: 0.01, LocateShare: 0.04, LocateMinM: 0.01,
		DefaultDepthM: 1, PassiveFactor: 2, WanderShare: 0.5, WanderS: 300, Nu: 4, OwnNu: 4, DepthCoilsM: 0.4, DepthNoise: 0.015, DepthMinM: 0.02,
		DepthGain: 0.008, DepthWalk: 0.004, CoverSheetM: 0.05, CoverLocalM: 0.5, CoverVariesM: 0.1, CoverLengthM: 20, NameM: 0.3, FalseDiscovery: 0.05, Draws: 200, Seed: 1,
	}
}

// gaussian makes Student's t a normal distribution, so that the answer has a
// closed form.
func gaussian(o Options) Options {
	o.Nu, o.OwnNu, o.SheetNu, o.LocalNu, o.Sizes = 1e12, 1e12, 1e12, 0, SizesGiven
	return o
}

// world builds surveys from a few lines.
type world struct {
	s       survey.Survey
	matches [][]survey.Match
	exposed []survey.Match
}

func (w *world) record(id, sheet string, pts ...orb.Point) *survey.Record {
	w.s.Records = append(w.s.Records, survey.Record{
		Source: "map", ID: id, Utility: "water", Sheet: sheet, Scale: 1, Parts: orb.MultiLineString{pts},
		DiameterM: math.NaN(), CoverM: math.NaN(),
	})
	return &w.s.Records[len(w.s.Records)-1]
}

// walk adds a trace whose readings all belong to one record.
func (w *world) walk(id, session string, record int, against bool, pts ...orb.Point) {
	rec := &w.s.Records[record]
	line := lineref.New(rec.Parts, rec.Scale)
	tr := survey.Trace{ID: id, Utility: "water", Crew: session, Session: session}
	var ms []survey.Match
	for i, p := range pts {
		tr.Readings = append(tr.Readings, survey.Reading{
			Place: survey.Place{File: "field.csv", Row: i + 1}, Time: time.Unix(int64(i)*10, 0), Point: p,
			SigmaM: 0.02, DepthM: math.NaN(), CurrentA: math.NaN(), SeparationM: math.NaN(),
		})
		f, _ := line.Nearest(p)
		ms = append(ms, survey.Match{
			Record: record, Part: f.Part, Segment: f.Segment, StationM: f.StationM, OffsetM: f.OffsetM,
			Against: against, Probability: 1, Status: survey.StatusUsed, Inflate: 1,
		})
	}
	w.s.Traces = append(w.s.Traces, tr)
	w.matches = append(w.matches, ms)
}

func (w *world) adjust(t testing.TB, o Options) *survey.Model {
	t.Helper()
	m, err := Network(&w.s, w.matches, w.exposed, nil, o)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func effect(m *survey.Model, kind survey.EffectKind, name string) survey.Effect {
	for _, e := range m.Effects {
		if e.Kind == kind && e.Name == name {
			return e
		}
	}
	return survey.Effect{}
}

// along lays points parallel to the x axis.
func along(y, from, to, step float64) (pts []orb.Point) {
	for x := from; x <= to; x += step {
		pts = append(pts, orb.Point{x, y})
	}
	return pts
}

// The adjustment of one straight record is the conditional distribution of a
// Gaussian process, which has a closed form (kriging: Rasmussen and Williams
// 2006, Gaussian Processes for Machine Learning, eq. 2.23 and 2.24).
func TestOneRecordEqualsConditionalGaussian(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		o := gaussian(testOptions())
		var w world
		w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0})
		n := rapid.IntRange(1, 6).Draw(rt, "readings")
		var pts []orb.Point
		for range n {
			pts = append(pts, orb.Point{
				float64(2 * rapid.IntRange(1, 49).Draw(rt, "x")), // a node for each
				rapid.Float64Range(-0.05, 0.05).Draw(rt, "y"),
			})
		}
		w.walk("T1", "C1", 0, false, pts...)
		o.WanderS = 0
		m := w.adjust(t, o)

		budget := o.budget(&w.s.Traces[0].Readings[0], &w.matches[0][0])
		sigma, _ := budget.sigma(1)
		prior := func(a, b float64) float64 {
			return o.MapM*o.MapM + o.SheetM*o.SheetM + o.OwnM*o.OwnM + o.LocalM*o.LocalM*math.Exp(-math.Abs(a-b)/o.LambdaM)
		}
		common := o.SessionM*o.SessionM + o.PositionsM*o.PositionsM + o.BiasM*o.BiasM
		k := mat.NewSymDense(n, nil)
		z := mat.NewVecDense(n, nil)
		for i := range n {
			z.SetVec(i, -pts[i][1]) // right of an eastward line is south
			for j := range i + 1 {
				v := prior(pts[i][0], pts[j][0]) + common
				if i == j {
					v += sigma * sigma
				}
				k.SetSym(i, j, v)
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(k) {
			rt.Fatal("the closed form is singular")
		}
		for _, node := range m.Profiles[0].Nodes {
			c := mat.NewVecDense(n, nil)
			for i := range n {
				c.SetVec(i, prior(node.StationM, pts[i][0]))
			}
			var kc, kz mat.VecDense
			_ = chol.SolveVecTo(&kc, c)
			_ = chol.SolveVecTo(&kz, z)
			mean, variance := mat.Dot(c, &kz), prior(0, 0)-mat.Dot(c, &kc)
			// Foot points are renewed on the displaced line, which turns a little:
			// a second-order difference.
			if math.Abs(node.OffsetM-mean) > 1e-3 || math.Abs(node.OffsetU-math.Sqrt(variance)) > 1e-4 {
				rt.Fatalf("station %.2f: %.6f u %.6f, conditional Gaussian %.6f u %.6f",
					node.StationM, node.OffsetM, node.OffsetU, mean, math.Sqrt(variance))
			}
		}
	})
}

func TestSheetShiftIsFound(t *testing.T) {
	var w world
	w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0})
	w.record("B", "S", orb.Point{100, 0}, orb.Point{100, 100})
	w.record("C", "S", orb.Point{0, 50}, orb.Point{90, 50})
	const east, north = 0.9, -1.2
	shift := func(pts []orb.Point) []orb.Point {
		for i := range pts {
			pts[i][0] += east
			pts[i][1] += north
		}
		return pts
	}
	up := func() (pts []orb.Point) {
		for y := 5.0; y < 95; y += 5 {
			pts = append(pts, orb.Point{100, y})
		}
		return pts
	}
	w.walk("T1", "C1", 0, false, shift(along(0, 5, 95, 5))...)
	w.walk("T2", "C2", 1, false, shift(up())...)
	w.walk("T3", "C1", 2, false, shift(along(50, 5, 85, 5))...)
	m := w.adjust(t, testOptions())
	e := effect(m, survey.EffectSheet, "S")
	if math.Hypot(e.V.East-east, e.V.North-north) > 0.2 || !e.Significant {
		t.Errorf("sheet shift %.3f %.3f (significant %v), want %.2f %.2f", e.V.East, e.V.North, e.Significant, east, north)
	}
	for i, want := range []float64{-north, east, -north} { // to the right of east is south, of north is east
		for _, n := range m.Profiles[i].Nodes {
			if n.Readings > 0 && math.Abs(n.OffsetM-want) > 0.03 {
				t.Errorf("record %d station %.1f: offset %.3f, want %.3f", i, n.StationM, n.OffsetM, want)
			}
		}
	}
}

// A base one metre off: the session carries it where other crews or control
// checks tell, and the map stays where it is.
func TestWrongBase(t *testing.T) {
	build := func() *world {
		w := &world{}
		for i := range 6 {
			y := 30 * float64(i)
			w.record(fmt.Sprint("R", i), fmt.Sprint("S", i/2), orb.Point{0, y}, orb.Point{100, y})
			w.record(fmt.Sprint("Q", i), fmt.Sprint("S", i/2), orb.Point{y, 300}, orb.Point{y, 400})
		}
		for i := range 6 {
			y := 30 * float64(i)
			vertical := func(dx float64) (pts []orb.Point) {
				for v := 305.0; v < 400; v += 7 {
					pts = append(pts, orb.Point{y + dx, v})
				}
				return pts
			}
			w.walk(fmt.Sprint("good", i), "good", 2*i, false, along(y, 5, 95, 7)...)
			w.walk(fmt.Sprint("goodv", i), "good", 2*i+1, false, vertical(0)...)
			w.walk(fmt.Sprint("bad", i), "bad", 2*i, false, along(y+1, 5, 95, 7)...)
			w.walk(fmt.Sprint("badv", i), "bad", 2*i+1, false, vertical(0.5)...)
		}
		return w
	}
	check := func(t *testing.T, w *world, within float64) {
		m := w.adjust(t, testOptions())
		e := effect(m, survey.EffectSession, "bad")
		if math.Hypot(e.V.East-0.5, e.V.North-1) > within || !e.Significant {
			t.Errorf("session bad: %.3f %.3f significant %v, want 0.5 1.0", e.V.East, e.V.North, e.Significant)
		}
		if g := effect(m, survey.EffectSession, "good"); g.Significant {
			t.Errorf("session good is called significant: %+v", g.V)
		}
		for i := range m.Profiles {
			for _, n := range m.Profiles[i].Nodes {
				if math.Abs(n.OffsetM) > 0.08 {
					t.Fatalf("record %d: the map moved %.3f m for the crew's error", i, n.OffsetM)
				}
			}
		}
	}
	t.Run("with control checks", func(t *testing.T) {
		w := build()
		for i := range 3 {
			known := orb.Point{float64(i) * 50, -20}
			w.s.Checks = append(w.s.Checks, survey.Check{
				Mark: fmt.Sprint("M", i), Known: known, Observed: orb.Point{known[0] + 0.5, known[1] + 1},
				SigmaM: 0.02, Session: "bad", Scale: 1,
			})
		}
		check(t, w, 0.03)
	})
	t.Run("against another crew", func(t *testing.T) { check(t, build(), 0.1) })
}

// All crews share one source of positions, nobody checked it, and all sheets seem
// to share one shift: the map in a wrong frame looks just so. The model must not
// be sure of either.
func TestACommonFrameErrorIsNotTheMaps(t *testing.T) {
	const east, north = 0.3, 0.8
	var w world
	for i := range 8 {
		y := 30 * float64(i)
		a, b := fmt.Sprint("R", i), fmt.Sprint("Q", i)
		w.record(a, fmt.Sprint("S", i), orb.Point{0, y}, orb.Point{100, y})
		w.record(b, fmt.Sprint("S", i), orb.Point{y, 300}, orb.Point{y, 400})
		var down []orb.Point
		for v := 305.0; v < 395; v += 6 {
			down = append(down, orb.Point{y + east, v + north})
		}
		w.walk("T"+a, fmt.Sprint("crew ", i%3), 2*i, false, along(y+north, 5, 95, 6)...)
		w.walk("T"+b, fmt.Sprint("crew ", i%3), 2*i+1, false, down...)
	}
	m := w.adjust(t, testOptions())
	for i := range m.Profiles {
		for _, n := range m.Profiles[i].Nodes {
			if n.OffsetU < 0.25*math.Hypot(east, north) {
				t.Fatalf("record %d is said to be off by %.2f m, u %.2f m", i, n.OffsetM, n.OffsetU)
			}
		}
	}
	if g := effect(m, survey.EffectSource, ""); math.Hypot(g.V.East, g.V.North) < 0.2 || g.V.NN < 0.01 {
		t.Errorf("the source of positions is said to be off by %.2f %.2f m, variance %.3f", g.V.East, g.V.North, g.V.NN)
	}
}

func TestOrderChangesNothing(t *testing.T) {
	build := func(reverse bool) *world {
		var w world
		ids := []string{"A", "B", "C"}
		if reverse {
			ids = []string{"C", "B", "A"}
		}
		at := map[string]int{}
		for i, id := range ids {
			y := 20 * float64(id[0]-'A')
			w.record(id, "S", orb.Point{0, y}, orb.Point{50, y + 3}, orb.Point{100, y})
			at[id] = i
		}
		for _, id := range ids {
			y := 20 * float64(id[0]-'A')
			w.walk("T"+id, "C"+id, at[id], false, along(y+1, 5, 95, 4)...)
		}
		return &w
	}
	a, b := build(false).adjust(t, testOptions()), build(true).adjust(t, testOptions())
	for i := range 3 {
		pa, pb := a.Profiles[i], b.Profiles[2-i]
		da, db := a.Draws(i), b.Draws(2-i)
		for k := range pa.Nodes {
			if pa.Nodes[k] != pb.Nodes[k] {
				t.Fatalf("record %d node %d: %+v and %+v", i, k, pa.Nodes[k], pb.Nodes[k])
			}
			if da[7][k] != db[7][k] {
				t.Fatalf("record %d node %d: other draws", i, k)
			}
		}
	}
	for i := range a.Effects {
		if !reflect.DeepEqual(a.Effects[i], b.Effects[i]) {
			t.Errorf("effect %+v and %+v", a.Effects[i], b.Effects[i])
		}
	}
}

func TestReversedRecordFlipsTheOffset(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		y := rapid.Float64Range(-2, 2).Draw(rt, "offset")
		var a, b world
		a.record("A", "S", orb.Point{0, 0}, orb.Point{60, 5}, orb.Point{100, 0})
		b.record("A", "S", orb.Point{100, 0}, orb.Point{60, 5}, orb.Point{0, 0})
		a.walk("T", "C", 0, false, along(y, 5, 95, 6)...)
		b.walk("T", "C", 0, true, along(y, 5, 95, 6)...)
		ma, mb := a.adjust(t, testOptions()), b.adjust(t, testOptions())
		na, nb := ma.Profiles[0].Nodes, mb.Profiles[0].Nodes
		for k := range na {
			r := nb[len(nb)-1-k]
			if math.Abs(na[k].OffsetM+r.OffsetM) > 1e-6 || math.Abs(na[k].D.East-r.D.East) > 1e-6 {
				rt.Fatalf("station %.2f: offset %.9f, reversed %.9f", na[k].StationM, na[k].OffsetM, r.OffsetM)
			}
		}
	})
}

func TestCover(t *testing.T) {
	var w world
	rec := w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0})
	rec.CoverM, rec.DiameterM, rec.Conductor = 1.0, 0.2, survey.ConductorPipe
	w.walk("T", "C", 0, false, along(0, 5, 95, 5)...)
	for i := range w.s.Traces[0].Readings {
		w.s.Traces[0].Readings[i].DepthM = 1.6 // to the centre: 1.5 m of cover
	}
	w.s.Records[0].CoverM = math.NaN() // then the cover itself is estimated
	if c := w.adjust(t, testOptions()).Profiles[0].Cover; math.Abs(c.DifferenceM-1.5) > 0.03 || c.U > 0.12 || c.U < 0.01 || c.Readings != 19 {
		t.Errorf("cover is %.3f (u %.3f, %d readings), want 1.5", c.DifferenceM, c.U, c.Readings)
	}
	w.s.Records[0].CoverM = 1
	c := w.adjust(t, testOptions()).Profiles[0].Cover
	if math.Abs(c.DifferenceM-0.5) > 0.03 || c.U > 0.12 || c.U < 0.01 || c.Readings != 19 {
		t.Errorf("cover differs by %.3f (u %.3f, %d readings), want 0.5", c.DifferenceM, c.U, c.Readings)
	}
}
