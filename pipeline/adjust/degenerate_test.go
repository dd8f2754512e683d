package adjust

import (
	"fmt"
	"math"
	"reflect"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// However many parts a region is cut into, and on any number of cores, the model
// has the same bytes.
func TestPartsChangeNothing(t *testing.T) {
	p, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	town := synth.Make(21, p)
	s := town.Survey()
	matches := town.Matches(s)
	var want []string
	for _, parts := range []int{1, 3, 12} {
		before := runtime.GOMAXPROCS(parts)
		atOnce := (len(s.Records) + parts - 1) / parts
		first, err := inParts(s, matches, nil, nil, atOnce, testOptions())
		if err != nil {
			t.Fatal(err)
		}
		second, err := inParts(s, matches, nil, first, atOnce, testOptions())
		runtime.GOMAXPROCS(before)
		if err != nil {
			t.Fatal(err)
		}
		got := append(everything(first, 7), everything(second, 7)...)
		if want == nil {
			want = got
		}
		for k := range want {
			if got[k] != want[k] {
				t.Errorf("%d parts: part %d of the models differs", parts, k)
			}
		}
	}
}

// everything that a model says, with the draws of a record and what it would be
// without a session; NaN is NaN here.
func everything(m *survey.Model, record int) (all []string) {
	for _, v := range []any{m.Profiles, m.Effects, m.Budget, m.Fit, m.OffsetU, m.CoverDifferenceM, m.Draws(record), m.Without(record), m.Notes} {
		all = append(all, fmt.Sprintf("%b", v)) // every bit of a float
	}
	return all
}

// A round that goes on from the solution of the last one, on the same matches,
// stays where that one was. So a round only moves what its new matches move.
func TestNextRoundStays(t *testing.T) {
	p, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	town := synth.Make(24, p)
	s := town.Survey()
	matches := town.Matches(s)
	o := testOptions()
	o.Sizes = SizesGiven // estimated anew in every round, they go on moving a little
	last, err := Network(s, matches, nil, nil, o)
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		next, err := Network(s, matches, nil, last, o)
		if err != nil {
			t.Fatal(err)
		}
		moved, nodes := 0, 0
		for r := range next.Profiles {
			for k, n := range next.Profiles[r].Nodes {
				nodes++
				if math.Abs(n.OffsetM-last.Profiles[r].Nodes[k].OffsetM) > 5*convergedM {
					moved++
				}
			}
		}
		if moved > nodes/100 || next.Fit.Iterations > againIterations {
			t.Errorf("%d of %d nodes moved by more than %g m in %d iterations", moved, nodes, 5*convergedM, next.Fit.Iterations)
		}
		last = next
	}
}

// What is left out of the covariances of many sessions is little, and of the
// solution nothing.
func TestLooseSessions(t *testing.T) {
	p, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	town := synth.Make(22, p)
	whole, loose := looseOrNot(t, town, false), looseOrNot(t, town, true)
	for r := range whole.Profiles {
		for k, a := range whole.Profiles[r].Nodes {
			b := loose.Profiles[r].Nodes[k]
			if math.Abs(a.OffsetM-b.OffsetM) > convergedM/10 || b.OffsetU < 0.985*a.OffsetU || b.OffsetU > 1.001*a.OffsetU {
				t.Fatalf("record %d: offset %.5f u %.5f, with all in it %.5f u %.5f", r, b.OffsetM, b.OffsetU, a.OffsetM, a.OffsetU)
			}
		}
	}
}

// Sheets whose records lie all over a town are left out of the covariances likewise,
// and of the solution not: one node in a hundred of the records that were read may
// have an uncertainty that is 4 % too small, one in twenty of all 5 %.
func TestScatteredSheets(t *testing.T) {
	p, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	town := synth.Make(23, synth.Large(p, 2000, 10000))
	whole, loose := looseOrNot(t, town, false), looseOrNot(t, town, true)
	var read, all []float64
	for r := range whole.Profiles {
		for k, a := range whole.Profiles[r].Nodes {
			b := loose.Profiles[r].Nodes[k]
			if math.Abs(a.OffsetM-b.OffsetM) > 2*convergedM {
				t.Fatalf("record %d: offset %.5f, with all in it %.5f", r, b.OffsetM, a.OffsetM)
			}
			all = append(all, b.OffsetU/a.OffsetU)
			if whole.Profiles[r].Shares.Readings > 0 {
				read = append(read, b.OffsetU/a.OffsetU)
			}
		}
	}
	slices.Sort(read)
	slices.Sort(all)
	if read[len(read)/100] < 0.96 || all[len(all)/20] < 0.95 || all[0] < 0.8 || all[len(all)*99/100] > 1.001 {
		t.Errorf("of the uncertainties with all in them: %.4f (1 %% of nodes read), %.4f (5 %% of all), %.4f to %.4f", read[len(read)/100], all[len(all)/20], all[0], all[len(all)*99/100])
	}
	if all[0] > 0.999 {
		t.Error("no sheet is scattered")
	}
}

// looseOrNot is a town adjusted with loose sessions and scattered sheets, or without.
func looseOrNot(t *testing.T, town *synth.Town, loose bool) *survey.Model {
	t.Helper()
	s := town.Survey()
	matches := town.Matches(s)
	o := testOptions()
	o.Sizes = SizesGiven // each would learn them from its own covariances
	n := buildNetwork(s, usedFeet(s, matches, nil), nil, o)
	pr := newProblem(n, gather(s, matches, nil, n, o), cellsAtOnce, o)
	pr.analyseJoint(loose)
	pr.startSheets()
	if err := pr.run(); err != nil {
		t.Fatal(err)
	}
	if pr.joint.loose != loose {
		t.Fatal("it went over to the whole factor")
	}
	m, err := pr.posterior(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// finite fails where the model has a number that is none.
func finite(t *testing.T, name string, m *survey.Model) {
	t.Helper()
	bad := func(v ...float64) bool {
		for _, x := range v {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return true
			}
		}
		return false
	}
	for r, p := range m.Profiles {
		for _, n := range p.Nodes {
			if bad(n.OffsetM, n.OffsetU, n.D.East, n.D.North, n.D.EE, n.D.EN, n.D.NN) || n.OffsetU <= 0 {
				t.Fatalf("%s: record %d: %+v", name, r, n)
			}
		}
		if sh := p.Shares; bad(sh.RawM, sh.SheetM, sh.OwnM, sh.LocalM, sh.SessionM, sh.SourceM, sh.BiasM, sh.NoiseM, sh.FieldU) {
			t.Fatalf("%s: record %d: %+v", name, r, sh)
		}
		for _, d := range m.Draws(r) {
			for _, v := range d {
				if bad(float64(v)) {
					t.Fatalf("%s: record %d draws %v", name, r, v)
				}
			}
		}
	}
	for _, e := range m.Effects {
		if bad(e.V.East, e.V.North, e.V.EE, e.V.EN, e.V.NN) {
			t.Fatalf("%s: %+v", name, e)
		}
	}
	if bad(m.Fit.VarianceFactor, m.Fit.Redundancy) {
		t.Fatalf("%s: %+v", name, m.Fit)
	}
}

func TestDegenerateInputs(t *testing.T) {
	line := func(w *world, id, sheet string) { w.record(id, sheet, orb.Point{0, 0}, orb.Point{50, 0}) }
	for _, tc := range []struct {
		name  string
		build func(w *world)
	}{
		{"nothing", func(*world) {}},
		{"no reading", func(w *world) { line(w, "A", "S") }},
		{"one reading", func(w *world) { line(w, "A", "S"); w.walk("T", "C", 0, false, orb.Point{20, 0.4}) }},
		{"no sheet column", func(w *world) {
			line(w, "A", "")
			line(w, "B", "")
			w.walk("T", "C", 0, false, along(0.4, 5, 45, 5)...)
		}},
		{"blank sheet among sheets", func(w *world) {
			line(w, "A", "S")
			line(w, "B", "")
			w.walk("T", "C", 1, false, along(0.4, 5, 45, 5)...)
		}},
		{"two on top of each other", func(w *world) {
			line(w, "A", "S")
			line(w, "B", "S")
			w.walk("T", "C", 0, false, along(0.4, 5, 45, 5)...)
		}},
		{"the same on two sheets", func(w *world) {
			line(w, "A", "S")
			line(w, "B", "R")
			w.walk("T", "C", 0, false, along(0.4, 5, 45, 5)...)
		}},
		{"no length", func(w *world) {
			w.record("A", "S", orb.Point{0, 0}, orb.Point{0, 0})
			w.walk("T", "C", 0, false, orb.Point{0, 0.3})
		}},
		{"shorter than the snap distance", func(w *world) {
			line(w, "A", "S")
			w.record("B", "S", orb.Point{50, 0}, orb.Point{50.01, 0.01})
			w.walk("T", "C", 1, false, orb.Point{50, 0.3})
			w.walk("U", "C", 0, false, along(0.4, 5, 45, 5)...)
		}},
		{"a vertex twice", func(w *world) {
			w.record("A", "S", orb.Point{0, 0}, orb.Point{20, 0}, orb.Point{20, 0}, orb.Point{50, 0})
			w.walk("T", "C", 0, false, along(0.4, 1, 49, 1)...)
		}},
		{"a ring", func(w *world) {
			w.record("A", "", orb.Point{0, 0}, orb.Point{10, 0}, orb.Point{10, 10}, orb.Point{0, 0})
			w.walk("T", "C", 0, false, orb.Point{5, 0.3}, orb.Point{10.2, 5})
		}},
		{"there and back", func(w *world) {
			w.record("A", "S", orb.Point{0, 0}, orb.Point{50, 0}, orb.Point{0, 0})
			w.walk("T", "C", 0, false, along(0.4, 5, 45, 5)...)
		}},
		{"every reading at one place and time", func(w *world) {
			line(w, "A", "S")
			w.walk("T", "C", 0, false, make([]orb.Point, 30)...)
			for i := range w.s.Traces[0].Readings {
				w.s.Traces[0].Readings[i].Point, w.s.Traces[0].Readings[i].Time = orb.Point{25, 0.4}, time.Unix(0, 0)
				w.matches[0][i].StationM, w.matches[0][i].AtEnd = 25, false
			}
		}},
		{"all of a session on no sheet", func(w *world) {
			line(w, "A", "S")
			line(w, "B", "")
			w.walk("T", "C", 0, false, along(0.4, 5, 45, 5)...)
			w.walk("U", "D", 1, false, along(0.4, 5, 45, 5)...)
		}},
		{"kilometres off", func(w *world) { line(w, "A", "S"); w.walk("T", "C", 0, false, along(5000, 5, 45, 5)...) }},
	} {
		var w world
		tc.build(&w)
		finite(t, tc.name, w.adjust(t, testOptions()))
	}
}

// Without evidence a record is as uncertain as the priors are wide: the
// Student-t's own variances.
func TestWithoutEvidence(t *testing.T) {
	var w world
	w.record("A", "S", orb.Point{0, 0}, orb.Point{50, 0})
	o := testOptions()
	want := math.Sqrt(o.MapM*o.MapM + o.SheetM*o.SheetM*o.SheetNu/(o.SheetNu-2) + o.OwnM*o.OwnM*o.OwnNu/(o.OwnNu-2) + o.LocalM*o.LocalM)
	for _, n := range w.adjust(t, o).Profiles[0].Nodes {
		if n.OffsetM != 0 || math.Abs(n.OffsetU-want) > 1e-6 {
			t.Errorf("offset %.6f u %.6f, want 0 u %.6f", n.OffsetM, n.OffsetU, want)
		}
	}
}

// One component of a hundred thousand nodes: a grid of streets, and a record that
// is tens of kilometres long with a reading every few metres.
func TestLargeComponents(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	var w world
	const side, vertices = 30, 55
	for i := range side {
		for j := range side {
			at := func(i, j int) orb.Point { return orb.Point{float64(100 * i), float64(100 * j)} }
			street := func(a, b orb.Point) {
				pts := make([]orb.Point, vertices+1)
				for k := range pts {
					f := float64(k) / vertices
					pts[k] = orb.Point{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1])}
				}
				w.record(fmt.Sprint(len(w.s.Records)), fmt.Sprint("S", i/5), pts...)
			}
			if i+1 < side {
				street(at(i, j), at(i+1, j))
			}
			if j+1 < side {
				street(at(i, j), at(i, j+1))
			}
		}
	}
	w.record("long", "L", orb.Point{0, -500}, orb.Point{60_000, -500})
	long := len(w.s.Records) - 1
	w.walk("T", "C", 0, false, along(0.3, 5, 95, 2)...)
	w.walk("U", "D", long, false, along(-499.7, 5, 59_990, 5)...)
	m := w.adjust(t, testOptions())
	finite(t, "large", &survey.Model{Profiles: m.Profiles[:2], Effects: m.Effects, Draws: m.Draws, Fit: m.Fit})
	nodes := 0
	for _, p := range m.Profiles {
		nodes += len(p.Nodes)
	}
	if nodes < 100_000 {
		t.Errorf("%d nodes only", nodes)
	}
	for _, n := range m.Profiles[long].Nodes {
		if n.Readings > 0 && math.Abs(n.OffsetM+0.3) > 0.05 {
			t.Fatalf("station %.0f: %.3f, want -0.3", n.StationM, n.OffsetM)
		}
	}
}

// A walk whose foot points jump to other nodes leaves the joint equations that a
// problem has which saw them there from the start.
func TestJumpToOtherNodes(t *testing.T) {
	var w world
	var line []orb.Point
	for x := 0.0; x <= 40; x += 5 {
		line = append(line, orb.Point{x, 0})
	}
	w.record("A", "S", line...)
	for i, at := range line[:5] { // so that some nodes of A are shared
		w.record(fmt.Sprint("B", i), "S", at, orb.Point{at[0], 30})
	}
	pts := []orb.Point{{0.5, 0.3}, {0.7, 0.3}} // too near to a vertex for nodes of their own
	w.walk("T", "C", 0, false, pts...)
	w.walk("T2", "C", 1, false, orb.Point{0.2, 10}, orb.Point{0.2, 20}) // the same session, wandering on
	o := testOptions()
	n := buildNetwork(&w.s, usedFeet(&w.s, w.matches, nil), nil, o)
	joint := func(before bool) []float64 {
		p := newProblem(n, gather(&w.s, w.matches, nil, n, o), cellsAtOnce, o)
		p.project()
		if before {
			if err := p.factor(1); err != nil {
				t.Fatal(err)
			}
		}
		c := &p.cells[n.rank[0]]
		for i := range c.obs {
			c.obs[i].node = int32(len(c.node) - 2)
		}
		if err := p.factor(1); err != nil {
			t.Fatal(err)
		}
		return p.joint.f.Values()
	}
	jumped, fresh := joint(true), joint(false)
	if !reflect.DeepEqual(jumped, fresh) {
		t.Fatalf("joint equations %v after the jump, from the start %v", jumped, fresh)
	}
}
