package correct

import (
	"math"
	"testing"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"pgregory.net/rapid"
)

func testOptions() Options {
	return Options{When: WhenOutside, FadeOutM: 10, MaxGapM: 10, DropM: 0.02, SnapM: 0.05, BesideM: 6, SideShare: 0.95, FittingM: 0.5}
}

// town is records with a made-up model.
type town struct {
	s  survey.Survey
	js []survey.Judgement
	fs []survey.Finding
	m  survey.Model
}

func (w *town) record(id string, pts ...orb.Point) int {
	w.s.Records = append(w.s.Records, survey.Record{Source: "map", ID: id, Utility: "water", Scale: 1, Parts: orb.MultiLineString{pts}})
	w.js = append(w.js, survey.Judgement{Record: len(w.js), Position: survey.VerdictUnsurveyed})
	p := survey.Profile{}
	line := lineref.New(orb.MultiLineString{pts}, 1)
	for v, st := range line.Stations(0) {
		p.Nodes = append(p.Nodes, survey.Node{StationM: st, Vertex: v, OffsetU: 0.5})
	}
	w.m.Profiles = append(w.m.Profiles, p)
	return len(w.js) - 1
}

// survey lays readings every 2 m between two stations, all with one move.
func (w *town) survey(r int, fromM, toM, east, north float64) {
	line := lineref.New(w.s.Records[r].Parts, 1)
	var nodes []survey.Node
	for v, st := range line.Stations(0) {
		nodes = append(nodes, survey.Node{StationM: st, Vertex: v, D: survey.Vector{East: east, North: north}, OffsetU: 0.03})
	}
	for at := fromM; at <= toM; at += 2 {
		nodes = append(nodes, survey.Node{StationM: at, Vertex: -1, D: survey.Vector{East: east, North: north}, OffsetU: 0.02, Readings: 1})
	}
	for i := range nodes { // insertion sort by station
		for k := i; k > 0 && nodes[k].StationM < nodes[k-1].StationM; k-- {
			nodes[k], nodes[k-1] = nodes[k-1], nodes[k]
		}
	}
	w.m.Profiles[r].Nodes = nodes
	w.js[r].Position, w.js[r].Attribution = survey.VerdictOutside, survey.AttributionRecord
	w.fs = append(w.fs, survey.Finding{ID: "P-1", Kind: survey.KindPosition, Record: r, Verdict: survey.VerdictOutside})
}

func (w *town) correct() []survey.Correction {
	return Lines(&w.s, w.js, w.fs, &w.m, testOptions()).Lines
}

func TestMovesWithEvidenceAndFadesToNothing(t *testing.T) {
	var w town
	r := w.record("A", orb.Point{0, 0}, orb.Point{40, 0}, orb.Point{100, 0}, orb.Point{150, 0})
	w.survey(r, 0, 60, 0, 1)
	c := w.correct()[r]
	if !c.Moved || c.Finding != "P-1" || math.Abs(c.MovedM-1) > 1e-9 {
		t.Fatalf("moved %v by %.3f for %q", c.Moved, c.MovedM, c.Finding)
	}
	p := c.Parts[0]
	for i, at := range p.Line {
		switch {
		case at[0] <= 60 && math.Abs(at[1]-1) > 1e-9:
			t.Errorf("at %.1f on the evidence: moved to %.4f, want 1", at[0], at[1])
		case at[0] >= 70 && (at[1] != 0 || p.MovedM[i] != 0):
			t.Errorf("at %.1f beyond the fade-out: moved to %v", at[0], at[1])
		}
	}
	if last := len(p.Line) - 1; p.From[last] != 3 || p.Line[last] != (orb.Point{150, 0}) {
		t.Errorf("the last vertex is %v from %d", p.Line[last], p.From[last])
	}
	if p.From[0] != 0 || p.From[1] != 1 {
		t.Errorf("straight evidence put vertices in: %v", p.From)
	}
}

// A bend of the evidence that the record lacks becomes a vertex, where it is.
func TestBendsAreFollowed(t *testing.T) {
	var w town
	r := w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
	w.survey(r, 0, 100, 0, 0)
	for i := range w.m.Profiles[r].Nodes { // a tent, 1 m high at 50
		n := &w.m.Profiles[r].Nodes[i]
		n.D.North = 1 - math.Abs(n.StationM-50)/50
	}
	p := w.correct()[r].Parts[0]
	want := orb.LineString{{0, 0}, {50, 1}, {100, 0}}
	if len(p.Line) != 3 {
		t.Fatalf("corrected line %v, want %v", p.Line, want)
	}
	for i := range want {
		if planar.Distance(p.Line[i], want[i]) > 1e-9 {
			t.Errorf("vertex %d at %v, want %v", i, p.Line[i], want[i])
		}
	}
	if p.From[1] != -1 || p.MovedM[0] != 0 || p.MovedM[1] != 1 {
		t.Errorf("from %v, moved %v", p.From, p.MovedM)
	}
}

func TestNeighboursFollowAtSharedEnds(t *testing.T) {
	var w town
	a := w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
	b := w.record("B", orb.Point{100, 0}, orb.Point{200, 0}) // end to end
	c := w.record("C", orb.Point{50, 0}, orb.Point{50, 40})  // a service between two vertices
	d := w.record("D", orb.Point{0, 30}, orb.Point{30, 30})  // elsewhere
	w.survey(a, 0, 100, 0, 1)
	cs := w.correct()
	if end, start := cs[a].Parts[0].Line, cs[b].Parts[0].Line; end[len(end)-1] != start[0] {
		t.Errorf("the junction opened: %v and %v", end[len(end)-1], start[0])
	}
	if !cs[b].Neighbor || cs[b].Finding != "" {
		t.Errorf("neighbour %+v", cs[b])
	}
	if end := cs[b].Parts[0].Line; end[len(end)-1] != (orb.Point{200, 0}) {
		t.Errorf("the neighbour's far end moved to %v", end[len(end)-1])
	}
	service := cs[c].Parts[0].Line
	if d := planar.DistanceFrom(cs[a].Parts[0].Line, service[0]); d > 1e-9 {
		t.Errorf("the service's end lies %.4f m off its main", d)
	}
	if service[len(service)-1] != (orb.Point{50, 40}) {
		t.Errorf("the service's far end moved")
	}
	if cs[d].Moved {
		t.Errorf("a record elsewhere moved")
	}
}

// endToEnd is two records, A and B, that go on from each other and move north by so
// much.
func endToEnd(northA, northB float64) (w *town, a, b int) {
	w = &town{}
	a = w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
	b = w.record("B", orb.Point{100, 0}, orb.Point{200, 0})
	w.survey(a, 0, 100, 0, northA)
	w.survey(b, 0, 100, 0, northB)
	return w, a, b
}

func TestTwoSheetsAgreeAtTheirJunction(t *testing.T) {
	w, a, b := endToEnd(1, 0.6)
	cs := w.correct()
	la, lb := cs[a].Parts[0].Line, cs[b].Parts[0].Line
	if la[len(la)-1] != lb[0] || math.Abs(lb[0][1]-0.8) > 1e-6 {
		t.Errorf("junction at %v and %v, want 0.8 of both", la[len(la)-1], lb[0])
	}
	if la[0][1] != 1 || lb[len(lb)-1][1] != 0.6 {
		t.Errorf("far ends moved by %.3f and %.3f, want their own 1 and 0.6", la[0][1], lb[len(lb)-1][1])
	}
}

// A service near the end of a main pulls the main; the pull must not reach past
// the main's own junction there and tear it open.
func TestAPullEndsAtTheNextJunction(t *testing.T) {
	var w town
	w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
	w.record("B", orb.Point{100, 0}, orb.Point{200, 0})
	service := w.record("S", orb.Point{95, 0}, orb.Point{95, 40})
	w.survey(service, 0, 40, 1, 0.5)
	cs := w.correct()
	a := cs[0].Parts[0].Line
	if a[len(a)-1] != (orb.Point{100, 0}) || cs[1].Moved {
		t.Errorf("the junction moved to %v", a[len(a)-1])
	}
	if !cs[0].Moved {
		t.Error("the main did not follow its service")
	}
}

// Where two lines meet at a right angle, each is sure across itself only: the
// junction goes where both say.
func TestAJunctionGoesWhereBothLinesSay(t *testing.T) {
	var w town
	a := w.record("A", orb.Point{0, 0}, orb.Point{100, 0})
	b := w.record("B", orb.Point{100, 0}, orb.Point{100, 100})
	w.survey(a, 0, 100, 0, 1)
	w.survey(b, 0, 100, 0.6, 0)
	for i := range w.m.Profiles[a].Nodes {
		w.m.Profiles[a].Nodes[i].D.EE, w.m.Profiles[a].Nodes[i].D.NN = 0.09, 0.0001
		w.m.Profiles[b].Nodes[i].D.EE, w.m.Profiles[b].Nodes[i].D.NN = 0.0001, 0.09
	}
	cs := w.correct()
	end := cs[a].Parts[0].Line[len(cs[a].Parts[0].Line)-1]
	if want := (orb.Point{100.6, 1}); planar.Distance(end, want) > 0.02 {
		t.Errorf("the junction went to %v, want %v", end, want)
	}
}

func TestUnmovedVerticesKeepTheirBits(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var w town
		x := rapid.Float64Range(1e5, 9e5).Draw(rt, "x")
		y := rapid.Float64Range(1e6, 9e6).Draw(rt, "y")
		var pts []orb.Point
		for i := range 8 {
			pts = append(pts, orb.Point{x + 30*float64(i), y + rapid.Float64Range(-3, 3).Draw(rt, "dy")})
		}
		r := w.record("A", pts...)
		w.survey(r, 20, 60, rapid.Float64Range(-1, 1).Draw(rt, "east"), rapid.Float64Range(-1, 1).Draw(rt, "north"))
		c := w.correct()[r]
		if !c.Moved {
			return
		}
		p, seen := c.Parts[0], 0
		for i, v := range p.From {
			if v < 0 {
				continue
			}
			seen++
			if p.MovedM[i] == 0 && p.Line[i] != pts[v] {
				rt.Fatalf("vertex %d did not move but became %v from %v", v, p.Line[i], pts[v])
			}
		}
		if seen != len(pts) {
			rt.Fatalf("%d of %d vertices are left", seen, len(pts))
		}
	})
}

func TestTaper(t *testing.T) {
	if taper(0, 10) != 1 || taper(10, 10) != 0 || taper(11, 10) != 0 {
		t.Errorf("ends: %v %v %v", taper(0, 10), taper(10, 10), taper(11, 10))
	}
	for d := 0.0; d < 10; d += 0.1 {
		if taper(d, 10) < taper(d+0.1, 10) {
			t.Errorf("rises at %.1f", d)
		}
	}
}
