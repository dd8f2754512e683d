package scorer

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"
)

// unseen is a town of five lines, 100 m each: A and B on sheet P, which is 1 m
// off to the north, C, D and E on sheet Q, which is not. E has an error of its
// own. Nobody read any of them; F was read, so that there is a session.
func unseen() *tiny {
	w := newTiny()
	w.sheet("P", 0, -1)
	w.sheet("Q", 0, 0)
	w.source("network", 0, 0)
	w.session("A", "A", "network", 0, 0, false)
	for i, r := range []struct {
		id, sheet string
		off       float64
		year      int
	}{{"A", "P", 1, 1990}, {"B", "P", 1, 1980}, {"C", "Q", 0, 1950}, {"D", "Q", 0, 1960}, {"E", "Q", 2, 0}, {"F", "Q", 0, 2000}} {
		y := 50 * float64(i)
		l := w.line("water", orb.Point{0, y}, orb.Point{100, y})
		n := w.record(r.id, "water", r.sheet, l, orb.Point{0, y + r.off}, orb.Point{100, y + r.off})
		w.s.Records[n].Installed = r.year
	}
	w.walk("A", 5, 0, 100, 2)
	return w
}

func (w *tiny) ground() *ground {
	return newGround(&scoring{known: know(&w.s, &w.truth), Tally: &Tally{towns: make([][numFigures]cases, 1)}, o: newOutcome()})
}

func TestResurvey(t *testing.T) {
	w := unseen()
	g := w.ground()
	whole := g.whole()
	if len(whole) != 5 || whole[0] != (pick{0, -1, 0, 100}) {
		t.Fatalf("not surveyed: %v", whole)
	}
	// 500 m at 1.8 a metre, one crew's day
	everything := g.spend(whole, math.Inf(1), nil)
	if math.Abs(everything-(500*1.8+400)) > 1e-6 {
		t.Errorf("everything costs %v", everything)
	}
	if n := len(g.unresolved()); n != 300 {
		t.Errorf("%d m unresolved, want those of A, B and E", n)
	}
	resolve := func(money float64, order ...pick) float64 {
		g := w.ground()
		g.score(order, money, g.unresolved(), 1, Resolved, -1)
		return g.x.Share(Resolved).Hits
	}
	const line = 400 + 180
	for _, c := range []struct {
		name  string
		money float64
		order []pick
		want  float64
	}{
		{"nothing", line, nil, 0},
		{"a line that is right", line, []pick{{2, -1, 0, 100}}, 0},
		{"a line with an error of its own settles itself", line, []pick{{4, -1, 0, 100}}, 100},
		{"a line of the sheet that is off settles both", line, []pick{{0, -1, 0, 100}}, 200},
		{"half of it does too", line, []pick{{0, -1, 0, 50}}, 200},
		{"the money runs out on the way to E", line + 90, []pick{{0, -1, 0, 100}, {4, -1, 0, 100}}, 250},
		{"each package is paid for", line + 90, []pick{{0, 1, 0, 100}, {4, 2, 0, 100}}, 200},
		{"nothing is paid for twice but surveyed once", 400 + 360, []pick{{0, -1, 0, 100}, {0, -1, 0, 100}, {4, -1, 0, 100}}, 200},
		{"stations beyond the line are none", line, []pick{{0, -1, 120, 180}}, 0},
	} {
		if got := resolve(c.money, c.order...); got != c.want {
			t.Errorf("%s: %v m, want %v", c.name, got, c.want)
		}
	}
}

// What a program does not list is not resolved, and cannot make everything
// cheaper.
func TestResurveyListsLess(t *testing.T) {
	w := unseen()
	o := w.perfect()
	o.Resurvey = nil
	expect(t, w.score(o), map[Figure]Share{Resolved: {0, 300}})
	// A fifth of 1300 is less than a crew's mobilisation.
	o.Resurvey = []Resurvey{{Record: "A", Package: 1, FromM: 0, ToM: 100}}
	expect(t, w.score(o), map[Figure]Share{Resolved: {0, 300}, ResolvedByAge: {0, 300}})
}

func TestResurveyByAge(t *testing.T) {
	w := unseen()
	g := w.ground()
	order := g.whole()
	slices.SortStableFunc(order, func(a, b pick) int { return g.installed(a.record) - g.installed(b.record) })
	var ids string
	for _, p := range order {
		ids += w.s.Records[p.record].ID
	}
	if ids != "CDBAE" {
		t.Errorf("in order of age %s, want CDBAE: unknown last", ids)
	}
}

// A sheet's shift that the surveyed lines already give is nothing to find.
func TestResurveySettledBefore(t *testing.T) {
	w := unseen()
	w.walk("A", 0, 0, 100, 2)
	if n := len(w.ground().unresolved()); n != 100 {
		t.Errorf("%d m unresolved, want those of E", n)
	}
}

// One record that strays does not bend its sheet.
func TestEstimateIsRobust(t *testing.T) {
	w := unseen()
	for l := range 5 {
		w.walk("A", l, 0, 100, 2)
	}
	v := w.ground().estimates(nil)["Q"] // C, D and F at 0, E at -2
	if math.Abs(v[1]) > 0.03 {
		t.Errorf("the sheet lies %v off", v)
	}
}

func TestCalibrate(t *testing.T) {
	w := unseen()
	o := w.perfect()
	o.Resurvey = []Resurvey{
		{Record: "A", Package: 1, FromM: 0, ToM: 100, Probability: 0.95},
		{Record: "B", Package: 1, FromM: 0, ToM: 2, Probability: 0.9}, // too short to be outside
		{Record: "C", Package: 1, FromM: 0, ToM: 100, Probability: 0.3},
		{Record: "D", Package: 1, FromM: 0, ToM: 100, Probability: math.NaN()},
		{Record: "E", Package: 1, FromM: 0, ToM: 100, Probability: 1},
		{Record: "nobody's", Package: 1, FromM: 0, ToM: 100, Probability: 1},
	}
	tl := w.score(o)
	expect(t, tl, map[Figure]Share{PromiseByTenth + 9: {2, 3}, PromiseByTenth + 3: {0, 1}, PromiseByTenth: {0, 1}})
	if got := tl.Promised(PromiseByTenth + 9); math.Abs(got-0.95) > 1e-12 {
		t.Errorf("promised %v", got)
	}
	brier := (0.05*0.05 + 0.9*0.9 + 0.3*0.3 + 0 + 0) / 5
	if got := mean(tl.Values(ResurveyBrier)); math.Abs(got-brier) > 1e-12 {
		t.Errorf("Brier score %v, want %v", got, brier)
	}
}
