package spatial

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// within is the slow exact way.
func within(segs []Segment, p orb.Point, r float64) []int32 {
	out := []int32{}
	for i := range segs {
		if finite(segs[i]) && distance2(&segs[i], p) <= r*r {
			out = append(out, int32(i))
		}
	}
	return out
}

func nearest(segs []Segment, p orb.Point, r float64) (int32, bool) {
	best, id := math.Inf(1), int32(-1)
	for i := range segs {
		if d := distance2(&segs[i], p); finite(segs[i]) && d < best {
			best, id = d, int32(i)
		}
	}
	return id, id >= 0 && best <= r*r
}

func drawPoint(t *rapid.T, name string) orb.Point {
	// Few values make ties, cell borders and shared ends likely.
	if rapid.Bool().Draw(t, name+" on a lattice") {
		return orb.Point{float64(rapid.IntRange(-6, 6).Draw(t, name+" x")) * 5, float64(rapid.IntRange(-6, 6).Draw(t, name+" y")) * 5}
	}
	return orb.Point{rapid.Float64Range(-40, 40).Draw(t, name+" x"), rapid.Float64Range(-40, 40).Draw(t, name+" y")}
}

func TestEqualToBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 40).Draw(t, "segments")
		segs := make([]Segment, n)
		for i := range segs {
			segs[i] = Segment{drawPoint(t, "a"), drawPoint(t, "b")}
		}
		if n > 0 && rapid.Bool().Draw(t, "one is not finite") {
			segs[0].A[1] = math.NaN()
		}
		far := rapid.SampledFrom([]float64{1, 1e3, 1e6}).Draw(t, "origin")
		for i := range segs {
			segs[i].A[0], segs[i].B[0] = segs[i].A[0]+far, segs[i].B[0]+far
		}
		ix := New(segs, rapid.SampledFrom([]float64{0, 0.7, 5, 100, math.Inf(1)}).Draw(t, "cell"))
		for range 8 {
			p := drawPoint(t, "p")
			p[0] += far
			r := rapid.SampledFrom([]float64{0, 0.5, 5, 10, 30, 1e7}).Draw(t, "r")
			if got, want := ix.Within(p, r, nil), within(segs, p, r); !slices.Equal(got, want) {
				t.Fatalf("Within(%v, %v) = %v, brute force %v", p, r, got, want)
			}
			beside := orb.Point{p[0] + 3, p[1] - 4}
			if got, want := ix.Among(ix.Within(beside, r+5.001, nil), p, r, nil), within(segs, p, r); !slices.Equal(got, want) {
				t.Fatalf("Among those near %v, near %v: %v, brute force %v", beside, p, got, want)
			}
			id, _, ok := ix.Nearest(p, r)
			wantID, wantOK := nearest(segs, p, r)
			if ok != wantOK || (ok && id != wantID) {
				t.Fatalf("Nearest(%v, %v) = %v %v, brute force %v %v", p, r, id, ok, wantID, wantOK)
			}
		}
	})
}

func TestWithinReusesItsBuffer(t *testing.T) {
	segs := town(2000)
	ix := New(segs, 10)
	buf := make([]int32, 0, 64)
	if n := testing.AllocsPerRun(100, func() { buf = ix.Within(segs[7].A, 5, buf) }); n != 0 {
		t.Errorf("%v allocations a query, want none", n)
	}
}

func TestMemoryStaysLinear(t *testing.T) {
	for name, segs := range map[string][]Segment{
		"two points 1000 km apart": {{orb.Point{0, 0}, orb.Point{1, 1}}, {orb.Point{1e6, 1e6}, orb.Point{1e6, 1e6}}},
		"a line 1000 km long":      {{orb.Point{0, 0}, orb.Point{1e6, 1}}, {orb.Point{0, 0}, orb.Point{1, 1}}},
		"a diagonal":               {{orb.Point{0, 0}, orb.Point{1e6, 1e6}}},
		"one vertical":             {{orb.Point{0, 0}, orb.Point{0, 1e6}}},
	} {
		ix := New(segs, 1)
		if len(ix.starts) > 10_000 || len(ix.ids) > 10_000 {
			t.Errorf("%s: %d cells, %d entries", name, len(ix.starts), len(ix.ids))
		}
		if got := ix.Within(segs[0].A, 0.5, nil); !slices.Contains(got, 0) {
			t.Errorf("%s: does not find its own first segment", name)
		}
	}
}

// town is n segments of 5 to 40 m in streets over a square as dense as a city.
func town(n int) []Segment {
	rng := rand.New(rand.NewPCG(1, 2))
	side := math.Sqrt(float64(n)) * 40
	segs := make([]Segment, n)
	for i := range segs {
		x, y := rng.Float64()*side, rng.Float64()*side
		l, a := 5+35*rng.Float64(), rng.Float64()*2*math.Pi
		segs[i] = Segment{orb.Point{x, y}, orb.Point{x + l*math.Cos(a), y + l*math.Sin(a)}}
	}
	return segs
}

func BenchmarkBuild1M(b *testing.B) {
	segs := town(1_000_000)
	for b.Loop() {
		New(segs, 12)
	}
}

func BenchmarkWithin5m(b *testing.B) {
	segs := town(1_000_000)
	ix := New(segs, 12)
	rng := rand.New(rand.NewPCG(3, 4))
	ps := make([]orb.Point, 1<<16)
	for i := range ps {
		s := segs[rng.IntN(len(segs))]
		ps[i] = orb.Point{s.A[0] + 3*rng.NormFloat64(), s.A[1] + 3*rng.NormFloat64()}
	}
	b.Run("grid", func(b *testing.B) {
		b.ReportAllocs()
		buf := make([]int32, 0, 64)
		for i := 0; b.Loop(); i++ {
			buf = ix.Within(ps[i&(len(ps)-1)], 5, buf)
		}
	})
	b.Run("brute force", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			within(segs, ps[i&(len(ps)-1)], 5)
		}
	})
}

func Example() {
	ix := New([]Segment{
		{orb.Point{0, 0}, orb.Point{100, 0}},
		{orb.Point{0, 1.2}, orb.Point{100, 1.2}},
	}, 12)
	near := ix.Within(orb.Point{40, 0.9}, 1, nil)
	id, dist, _ := ix.Nearest(orb.Point{40, 0.9}, 10)
	fmt.Printf("%v; nearest is %d at %.1f\n", near, id, dist)
	// Output: [0 1]; nearest is 1 at 0.3
}
