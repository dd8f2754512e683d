package adjust

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
)

// A record that follows its drawing gets a small local error, one that wanders by
// decimetres a large one, and one with three readings keeps what is expected: the
// generated process has the size and correlation that the model assumes.
func TestRoughnessOfRecords(t *testing.T) {
	o := testOptions()
	rng := rand.New(rand.NewPCG(3, 4))
	var w world
	sizes := []float64{0.03, 0.25, 0.8}
	for i, size := range sizes {
		y := 100 * float64(i)
		w.record(string(rune('A'+i)), "", orb.Point{0, y}, orb.Point{600, y})
		var pts []orb.Point
		x := size * rng.NormFloat64()
		for at := 5.0; at < 595; at += 4 {
			rho := math.Exp(-4 / o.LambdaM)
			x = rho*x + size*math.Sqrt(1-rho*rho)*rng.NormFloat64()
			pts = append(pts, orb.Point{at, y + x + 0.02*rng.NormFloat64()})
		}
		w.walk(string(rune('T'+i)), "C", i, false, pts...)
	}
	w.record("few", "", orb.Point{0, 400}, orb.Point{600, 400})
	w.walk("few", "C", len(sizes), false, orb.Point{100, 400.01}, orb.Point{300, 400.02}, orb.Point{500, 400})
	n := buildNetwork(&w.s, usedFeet(&w.s, w.matches, nil), nil, o)
	p := newProblem(n, gather(&w.s, w.matches, nil, n, o), cellsAtOnce, o)
	p.startSheets()
	if err := p.run(); err != nil {
		t.Fatal(err)
	}
	for _, c := range p.readCells {
		got := c.localM(&o)
		if c.record == len(sizes) {
			if got < 0.6*o.LocalM || got > 1.2*o.LocalM {
				t.Errorf("three readings make the local error %.3f m, expected were %.3f m", got, o.LocalM)
			}
			continue
		}
		want := max(sizes[c.record], o.LocalM*math.Sqrt(roughLeast))
		if got < want/1.6 || got > want*1.6 {
			t.Errorf("record %d: local error %.3f m, generated with %.3f m", c.record, got, want)
		}
	}
}

// The form of a lone record's local error has two residuals a point; a point at
// which several of its nodes lie has its free ends once.
func TestEveryEndOnce(t *testing.T) {
	o := testOptions()
	var w world
	w.record("A", "S", orb.Point{200, 0}, orb.Point{200.01, 0.01}) // shorter than the snap distance
	w.record("B", "S", orb.Point{200, 50}, orb.Point{210, 50}, orb.Point{200, 50.4})
	for i, at := range []orb.Point{{200, 0.1}, {205, 50.1}} {
		w.walk(string(rune('T'+i)), "C", i, false, at)
		w.matches[i][0].AtEnd = false
	}
	n := buildNetwork(&w.s, usedFeet(&w.s, w.matches, nil), nil, o)
	p := newProblem(n, gather(&w.s, w.matches, nil, n, o), cellsAtOnce, o)
	if err := p.factor(1); err != nil {
		t.Fatal(err)
	}
	for _, c := range p.readCells {
		points := map[int]bool{}
		for _, nd := range n.records[c.record].nodes {
			points[nd.point] = true
		}
		inv := c.part.SelectedInverse(func(int, int) float64 { return 0 })
		if _, _, rank := p.localForm(c, inv); math.Abs(rank-2*float64(len(points))) > 1e-9 {
			t.Errorf("record %s has %g residuals at %d points", w.s.Records[c.record].ID, rank, len(points))
		}
	}
	twice := recordNet{nodes: []node{{point: 0}, {point: 1, stationM: 5}, {point: 0, stationM: 10}}}
	for k, want := range []float64{1, 0, 0} {
		if got := twice.freeEnds(k, []int32{1, 3}); got != want {
			t.Errorf("node %d has %g free ends, want %g", k, got, want)
		}
	}
}
