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
			stray{orb.Point{at, 0.02}, heading{1, 0}, gas, 0},
			stray{orb.Point{60.03, at}, heading{0, -1}, gas, 1})
	}
	segs := []int32{0, 1}
	f := n.fit(near, segs, shift{east: 34, north: 6})
	if math.Abs(f.east-34.33) > 0.01 || math.Abs(f.north-5.92) > 0.01 || f.on != 10 || f.beside != 10 || f.records != 2 || f.traces != 2 || !f.certain(1) {
		t.Errorf("%+v", f)
	}
	// A walk that runs beside the moved street at 2 m counts against it.
	for i := range 10 {
		near = append(near, stray{orb.Point{5 * float64(i), 2}, heading{1, 0}, gas, 2})
	}
	if f = n.fit(near, segs, shift{east: 34, north: 6}); f.on != 10 || f.beside != 20 || f.certain(0) || !f.likely() {
		t.Errorf("with a walk beside it: %+v", f)
	}
	// Walks of another utility, across, or past the end of a line are of no concern.
	others := []stray{{orb.Point{66, 0}, heading{1, 0}, gas, 0}, {orb.Point{10, 0}, heading{1, 0}, strangeUtility, 0}, {orb.Point{10, 0}, heading{0, 1}, gas, 0}}
	if f = n.fit(others, segs, shift{east: 34, north: 6}); f.beside != 0 || f.certain(0) {
		t.Errorf("water, a walk across, and one past the end: %+v", f)
	}
}

// What a fit needs for each of its words, and how little is too little.
func TestWordsOfAFit(t *testing.T) {
	enough := fit{records: 2, traces: 2, on: 9, beside: 12}
	for _, c := range []struct {
		name            string
		change          func(f *fit)
		likely, certain bool
	}{
		{"enough", func(*fit) {}, true, true},
		{"one record", func(f *fit) { f.records = 1 }, true, false},
		{"one walk", func(f *fit) { f.traces = 1 }, true, false},
		{"a sample less than one met record asks for", func(f *fit) { f.on = 8; f.beside = 10 }, true, false},
		{"over a quarter beside it", func(f *fit) { f.beside = 13 }, true, false},
		{"half beside it", func(f *fit) { f.beside = 18 }, true, false},
		{"more than half beside it", func(f *fit) { f.beside = 19 }, false, false},
	} {
		f := enough
		c.change(&f)
		if f.likely() != c.likely || f.certain(1) != c.certain {
			t.Errorf("%s: likely %t, certain %t", c.name, f.likely(), f.certain(1))
		}
	}
}
