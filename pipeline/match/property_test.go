package match

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"

	"github.com/asfound/asfound/pipeline/survey"
)

// drawTown is a few crooked records, some joined, and one short trace among
// them.
func drawTown(t *rapid.T, readings int) *survey.Survey {
	// Points with a name of their own lie in fields of their own: records are
	// some metres long, as records are.
	pt := func(name string) orb.Point {
		west := map[string]float64{"a": -8, "b": 8, "c": 24, "p": -6}[name]
		return orb.Point{west + rapid.Float64Range(0, 8).Draw(t, name+" x"), rapid.Float64Range(-5, 5).Draw(t, name+" y")}
	}
	s := &survey.Survey{}
	for i := range rapid.IntRange(1, 4).Draw(t, "records") {
		utility := rapid.SampledFrom([]string{"gas", "water", ""}).Draw(t, "utility")
		sheet := rapid.SampledFrom([]string{"", "S1", "S2"}).Draw(t, "sheet")
		pts := []orb.Point{pt("a"), pt("b")}
		joined := i > 0 && rapid.Bool().Draw(t, "joined")
		if joined {
			pts[0] = s.Records[i-1].Parts[0][1]
		}
		if rapid.Bool().Draw(t, "bent") {
			pts = append(pts, pt("c"))
		}
		// Nothing lies exactly on or half way between anything else: what ties
		// by geometry may fall either way.
		for k := range pts {
			if k > 0 || !joined {
				pts[k][1] += 0.0137*float64(i+1) + 0.0071*float64(k)
			}
		}
		r := line(fmt.Sprint("R", i), utility, sheet, pts...)
		r.Convergence = rapid.SampledFrom([]float64{0, 0.02}).Draw(t, "convergence")
		s.Records = append(s.Records, r)
	}
	w := walk(rapid.SampledFrom([]string{"gas", ""}).Draw(t, "label"), rapid.Uint64Range(1, 1000).Draw(t, "seed"))
	n := rapid.IntRange(1, readings).Draw(t, "readings")
	for i := range n {
		p := pt("p")
		p[0] += 6 * float64(i%5)
		w.current = rapid.SampledFrom([]float64{nan, 0.01, 0.02}).Draw(t, "current")
		w.to(p, orb.Point{p[0] + 1, p[1]}, 2)
	}
	s.Traces = append(s.Traces, w.tr)
	return s
}

// enumerate is the slow exact way: it weighs every path through the states.
func enumerate(c *chain, start []float64) (posterior [][]float64, best []int) {
	n := len(c.obs)
	posterior = make([][]float64, n)
	for i := range posterior {
		posterior[i] = make([]float64, c.states(i))
	}
	total, top := 0.0, -1.0
	path := make([]int, n)
	var walk func(i int, w float64)
	walk = func(i int, w float64) {
		if i == n {
			total += w
			for j, s := range path {
				posterior[j][s] += w
			}
			if w > top {
				top, best = w, slices.Clone(path)
			}
			return
		}
		for s := range c.states(i) {
			f := 0.0
			if i == 0 {
				f = start[s]
			} else {
				f = c.weights[c.wFrom[i]+path[i-1]*c.states(i)+s]
			}
			path[i] = s
			walk(i+1, w*f)
		}
	}
	walk(0, 1)
	for i := range posterior {
		for s := range posterior[i] {
			posterior[i][s] /= total
		}
	}
	return posterior, best
}

func TestChainEqualsEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawTown(t, 5)
		o := ordinary
		sheets := sheetNames(s.Records)
		n := newNetwork(s, sheets, o)
		n.meet(o)
		ps := newPriors(&layout{sheets: make([]verdict, len(sheets))}, nil, nil, sheets, nil, nil, o)
		c := &chain{net: n.join(ps, o), o: o, ps: ps}
		tr := &s.Traces[0]
		c.observe(tr, -1, judgeTrust(tr, &o, nil))
		c.solve()

		// The start is not kept: fill it once more.
		kept := slices.Clone(c.fwd)
		c.start()
		start := slices.Clone(c.fwd[:c.states(0)])
		copy(c.fwd, kept)

		want, path := enumerate(c, start)
		for i := range c.obs {
			for b := range c.states(i) {
				if got := c.fwd[c.stateFrom(i)+b]; math.Abs(got-want[i][b]) > 1e-9 {
					t.Fatalf("posterior of reading %d, state %d: %v, all paths give %v", i, b, got, want[i][b])
				}
			}
		}
		weigh := func(path []int) float64 {
			w := math.Log(start[path[0]])
			for i := 1; i < len(path); i++ {
				w += math.Log(c.weights[c.wFrom[i]+path[i-1]*c.states(i)+path[i]])
			}
			return w
		}
		got := make([]int, len(c.path))
		for i, p := range c.path {
			got[i] = int(p)
		}
		if a, b := weigh(got), weigh(path); a < b-1e-9 {
			t.Fatalf("best path %v weighs %v, but %v weighs %v", got, a, path, b)
		}
	})
}

func TestMovesAddUpToAtMostOne(t *testing.T) {
	// Where the densities are taken out, what remains are probabilities: summed
	// over destinations they do not exceed 1.
	o := ordinary
	for _, g := range []float64{0.05, 0.5, 2, 30, 1000} {
		jump, leave := 1-math.Exp(-o.JumpPerM*g), 1-math.Exp(-o.LeavePerM*g)
		back := 1 - math.Exp(-o.ReturnPerM*g)
		if jump+leave > 1.5 || back+leave > 1.5 {
			t.Errorf("at %g m: jump %.3f, leave %.3f, return %.3f", g, jump, leave, back)
		}
	}
}

func TestOrderChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawTown(t, 12)
		for i := range 3 {
			more := drawTown(t, 6).Traces[0]
			more.ID = fmt.Sprint("more ", i)
			s.Traces = append(s.Traces, more)
		}
		want := Traces(s, nil, withWorkers(1))

		seed := rapid.Uint64().Draw(t, "shuffle")
		rng := rand.New(rand.NewPCG(seed, 0))
		recs, trs := rng.Perm(len(s.Records)), rng.Perm(len(s.Traces))
		other := &survey.Survey{Records: make([]survey.Record, len(recs)), Traces: make([]survey.Trace, len(trs))}
		for i, at := range recs {
			other.Records[at] = s.Records[i]
		}
		for i, at := range trs {
			other.Traces[at] = s.Traces[i]
		}
		got := Traces(other, nil, withWorkers(4))
		for i, at := range trs {
			for j, m := range got[at] {
				if m.Record >= 0 {
					m.Record = slices.Index(recs, m.Record)
				}
				if !same(m, want[i][j]) {
					t.Fatalf("trace %d reading %d: %+v, in another order %+v", i, j, want[i][j], m)
				}
			}
		}
	})
}

func same(a, b survey.Match) bool {
	if math.IsNaN(a.OffsetM) && math.IsNaN(b.OffsetM) {
		a.OffsetM, b.OffsetM, a.StationM, b.StationM = 0, 0, 0, 0
	}
	return reflect.DeepEqual(a, b)
}

func TestReversedRecord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawTown(t, 12)
		want := Traces(s, nil, ordinary)[0]
		at := rapid.IntRange(0, len(s.Records)-1).Draw(t, "which")
		rev := *s
		rev.Records = slices.Clone(s.Records)
		pts := slices.Clone(s.Records[at].Parts[0])
		slices.Reverse(pts)
		rev.Records[at].Parts = orb.MultiLineString{pts}
		length := 0.0
		for i := 1; i < len(pts); i++ {
			length += dist(pts[i-1], pts[i])
		}
		for i, m := range Traces(&rev, nil, ordinary)[0] {
			w := want[i]
			if math.Abs(m.Probability-w.Probability) > 1e-6 || (m.Record != w.Record && w.Probability > 0.5+1e-6) {
				t.Fatalf("reading %d: record %d p %v, reversed %d p %v", i, w.Record, w.Probability, m.Record, m.Probability)
			}
			if m.Record != at || w.Record != at || m.AtEnd || w.AtEnd || m.Segment == w.Segment && len(pts) == 3 {
				continue
			}
			if math.Abs(m.OffsetM+w.OffsetM) > 1e-9 || math.Abs(length-m.StationM-w.StationM) > 1e-6 {
				t.Fatalf("reading %d: %+v, reversed %+v", i, w, m)
			}
		}
	})
}
