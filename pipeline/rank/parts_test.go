package rank

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// A thousand lines that lie 0.2 m to one side, the ten of the prior beside them: at a
// shift of 0.4 m those lie beyond 0.5 m that are off the same way.
func TestTableByHand(t *testing.T) {
	es, metres := make([]ends, 1000), make([]float64, 1000)
	for i := range es {
		es[i], metres[i] = ends{0.2, 0.2}, 0.2
	}
	l := newLocal(es, metres, 1e-9, 4)
	for _, c := range []struct{ shift, outside, off float64 }{{0, 0, 0}, {0.4, 0.5 * 1000 / 1010, 0.5 * 1000 / 1010}, {-0.4, 0.5 * 1000 / 1010, 0.5 * 1000 / 1010}, {0.8, 1, 1}} {
		got := l.table(0.5).at(c.shift)
		if math.Abs(got.outside-c.outside) > 1e-9 || math.Abs(got.wrong-c.outside) > 1e-9 || math.Abs(got.off-c.off) > 1e-9 {
			t.Errorf("at %.1f m %+v, want %.3f", c.shift, got, c.outside)
		}
	}
	// Lines off by 0.2 m, shifts by 0.3 m, both normal: 0.5 m is 1.387 of their sum's
	// standard deviation, beyond which lie 0.1655 (normal table).
	for i := range es {
		x := 0.2 * estimate.NormalQuantile((float64(i)+0.5)/float64(len(es)))
		es[i], metres[i] = ends{x, x}, x
	}
	l = newLocal(es, metres, 0.2, 100)
	if got := l.table(0.5).over(belief{0, 0.3}).outside; math.Abs(got-0.1655) > 0.005 {
		t.Errorf("over a normal shift %.4f", got)
	}
}

// A sheet known by its prior and three records is, without one of them, what the
// prior and the other two say.
func TestWithoutARecord(t *testing.T) {
	const prior, told, shift = 0.25, 100.0, 0.4
	normals := [][2]float64{{0, 1}, {0, 1}, {1, 0}}
	posterior := func(leave int) (m matrix, e, n float64) {
		m = matrix{1 / prior, 0, 1 / prior}
		ge, gn := 0.0, 0.0
		for i, v := range normals {
			if i != leave {
				m = m.plus(told, matrix{v[0] * v[0], v[0] * v[1], v[1] * v[1]})
				ge, gn = ge+told*v[0]*shift*v[1], gn+told*v[1]*shift*v[1]
			}
		}
		c, _ := m.inverse()
		e, n = c.times(ge, gn)
		return m, e, n
	}
	info, e, n := posterior(-1)
	s := sheets{all: []sheet{{name: "A", read: true, east: e, north: n, info: info}}, prior: prior, of: []int{0, 0, 0}}
	var vs []*shown
	for r, v := range normals {
		q := sample{east: v[0], north: v[1], offset: v[1] * shift}
		vs = append(vs, &shown{record: r, samples: []sample{q}, ee: v[0] * v[0], en: v[0] * v[1], nn: v[1] * v[1], n: v[1] * q.offset})
	}
	s.without(vs, 1e3, 4) // so wide that all have the same weight
	for r, v := range vs {
		m, e, n := posterior(r)
		want := (&sheet{east: e, north: n, info: m}).across(normals[r][0], normals[r][1])
		if r == 2 { // nobody else tells: the prior
			want = belief{0, math.Sqrt(prior)}
		}
		if math.Abs(v.sheet.mean-want.mean) > 1e-6 || math.Abs(v.sheet.sd-want.sd) > 1e-6 {
			t.Errorf("without record %d %+v, want %+v", r, v.sheet, want)
		}
	}
}

// Every stretch is in one area, no side of which is longer than what a crew reaches.
func TestAreas(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		all := make([]stretch, rapid.IntRange(0, 80).Draw(rt, "stretches"))
		for i := range all {
			all[i].middle = orb.Point{float64(rapid.IntRange(0, 5000).Draw(rt, "x")), float64(rapid.IntRange(0, 900).Draw(rt, "y"))}
		}
		var seen []int32
		for _, members := range areas(all, 1000) {
			low, high := all[members[0]].middle, all[members[0]].middle
			for _, i := range members {
				seen = append(seen, i)
				for axis, x := range all[i].middle {
					low[axis], high[axis] = min(low[axis], x), max(high[axis], x)
				}
			}
			if high[0]-low[0] > 1000 || high[1]-low[1] > 1000 {
				rt.Fatalf("an area from %v to %v", low, high)
			}
		}
		slices.Sort(seen)
		for i := range all {
			if i >= len(seen) || seen[i] != int32(i) {
				rt.Fatalf("stretches %v of %d", seen, len(all))
			}
		}
	})
}

// A bent line has legs, each with its own normal.
func TestLegs(t *testing.T) {
	var w town
	w.add("bent", "water", orb.LineString{{0, 0}, {50, 0}})
	w.s.Records[0].Parts = orb.MultiLineString{{{0, 0}, {30, 0}, {50, 1}, {50, 41}}}
	w.js[0].LengthM = 90
	rs := w.rank(options())
	if len(rs) != 1 || math.Abs(rs[0].LengthM-(30+math.Hypot(20, 1)+40)) > 1e-9 {
		t.Fatalf("%+v", rs)
	}
	k := learn(&w.s, newSheets(&w.m, &Options{}), nil, []float64{0.5}, ptr(options()))
	all := stretches(&w.s, w.js, &w.m, newSheets(&w.m, &Options{}), k, nil, []int{0}, ptr(options()))
	if l := all[0].legs; len(l) != 2 || math.Abs(l[0].north+1) > 0.01 || math.Abs(l[1].east-1) > 1e-9 || math.Abs(l[1].lengthM-40) > 1e-9 {
		t.Errorf("legs %+v", l)
	}
}

func ptr[T any](v T) *T { return &v }

// Old lines that are off three times as often as the young are told apart; where
// lines of all years are off alike, nothing is.
func TestStrata(t *testing.T) {
	for _, c := range []struct {
		name  string
		off   func(i int) bool
		apart bool
	}{
		{"old ones", func(i int) bool { return i%2 == 0 && i%10 < 4 }, true},
		{"any", func(i int) bool { return i%20 < 4 }, false},
	} {
		var w town
		for i := range 400 {
			if i%10 == 0 {
				w.sheet(fmt.Sprint("S", i), 0, 0.001, 50)
			}
			w.record(string(rune('a'+i%26))+string(rune('a'+i/26)), "water")
			w.s.Records[i].Installed = 1950 + 40*(i%2)
			off := 0.05
			if c.off(i) {
				off = 1
			}
			w.read(0, 100, off)
		}
		o := options()
		sh := newSheets(&w.m, &o)
		seen := show(&w.s, w.js, &w.m, w.s.ByKey(), &o)
		sh.without(seen, o.OwnM, o.OwnNu)
		k := learn(&w.s, sh, seen, []float64{0.5}, &o)
		old, young := k.strata[0]["1950s"], k.strata[0]["1990s"]
		if apart := old > 1.3*young; apart != c.apart {
			t.Errorf("%s: ratios %.2f and %.2f", c.name, old, young)
		}
	}
}
