package match

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// Two streets drawn 34.3 m west and 5.9 m south of where two walks found them,
// handed over to the nearest two metres.
func TestFit(t *testing.T) {
	s := town([]survey.Record{
		line("A", "gas", "S", orb.Point{-34.3, -5.9}, orb.Point{25.7, -5.9}),
		line("B", "gas", "S", orb.Point{25.7, -5.9}, orb.Point{25.7, 54.1}),
	})
	n := newNetwork(s, map[string]int32{"S": 0}, ordinary)
	gas := n.utility("gas")
	var near []stray
	for i := range 5 {
		at := 6 + 10*float64(i)
		near = append(near,
			stray{orb.Point{at, 0.02}, heading{1, 0}, gas, int32(2 * i), 0},
			stray{orb.Point{60.03, at}, heading{0, -1}, gas, int32(2*i + 1), 1})
	}
	segs := []int32{0, 1}
	f := n.fit(near, segs, shift{east: 34, north: 6})
	if math.Abs(f.east-34.33) > 0.01 || math.Abs(f.north-5.92) > 0.01 || f.on != 10 || f.beside != 10 || f.records != 2 || f.traces != 2 || !f.certain(1) {
		t.Errorf("%+v", f)
	}
	// A walk that runs beside the moved street at 2 m counts against it.
	for i := range 10 {
		near = append(near, stray{orb.Point{5 * float64(i), 2}, heading{1, 0}, gas, int32(10 + i), 2})
	}
	if f = n.fit(near, segs, shift{east: 34, north: 6}); f.on != 10 || f.beside != 20 || f.certain(0) || !f.likely() {
		t.Errorf("with a walk beside it: %+v", f)
	}
	// Walks of another utility, or across, are of no concern.
	water := []stray{{orb.Point{10, 0}, heading{1, 0}, strangeUtility, 0, 0}, {orb.Point{10, 0}, heading{0, 1}, gas, 1, 0}}
	if f = n.fit(water, segs, shift{east: 34, north: 6}); f.beside != 0 || f.certain(0) {
		t.Errorf("water and a walk across: %+v", f)
	}
}
