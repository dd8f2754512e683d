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
	n := buildNetwork(&w.s, usedFeet(&w.s, w.matches, nil), o)
	p, err := newProblem(n, gather(&w.s, w.matches, nil, n, o), cellsAtOnce, o)
	if err != nil {
		t.Fatal(err)
	}
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
