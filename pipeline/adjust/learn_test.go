package adjust

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// made is what the errors of a made-up city are generated with, one standard
// deviation each.
type made struct{ sheet, own, local, lambda, session, bias, noise float64 }

// city makes sheets of four streets each, running east and north in turn, every
// one walked to and fro by two sessions.
func (g made) city(sheets int, rng *rand.Rand) *world {
	w := &world{}
	normal := func(size float64) orb.Point { return orb.Point{size * rng.NormFloat64(), size * rng.NormFloat64()} }
	var sessions [60]orb.Point
	for i := range sessions {
		sessions[i] = normal(g.session)
	}
	for s := range sheets {
		sheet := normal(g.sheet)
		for k := range 4 {
			from, to := orb.Point{float64(s) * 1000, float64(k) * 150}, orb.Point{float64(s)*1000 + 100, float64(k) * 150}
			if k%2 == 1 {
				to = orb.Point{from[0], from[1] + 100}
			}
			r := len(w.s.Records)
			w.record(fmt.Sprintf("R%04d", r), fmt.Sprintf("S%03d", s), from, to)
			w.s.Records[r].Installed, w.s.Records[r].Material = 1950+10*(r%3), "PE"
			g.walks(w, r, sheet, normal(g.own), &sessions, rng)
		}
	}
	return w
}

// walks adds the walks along one record.
func (g made) walks(w *world, r int, sheet, own orb.Point, sessions *[60]orb.Point, rng *rand.Rand) {
	line := lineref.New(w.s.Records[r].Parts, 1)
	d := line.Direction(0, 0)
	local := make([]float64, 25)
	x := g.local * rng.NormFloat64()
	rho := math.Exp(-4 / g.lambda)
	for i := range local {
		local[i] = x
		x = rho*x + g.local*math.Sqrt(1-rho*rho)*rng.NormFloat64()
	}
	for walk := range 4 {
		against, session := walk%2 == 1, (r+walk/2)%len(sessions)
		bias := g.bias * rng.NormFloat64()
		if against {
			bias = -bias
		}
		var pts []orb.Point
		for i := range local {
			p := line.AtPart(0, 0, 2+4*float64(i))
			across := local[i] + bias + g.noise*rng.NormFloat64()
			pts = append(pts, orb.Point{
				p[0] + sheet[0] + own[0] + sessions[session][0] + across*d[1],
				p[1] + sheet[1] + own[1] + sessions[session][1] - across*d[0],
			})
		}
		w.walk(fmt.Sprintf("T%04d-%d", r, walk), fmt.Sprintf("C%02d", session), r, against, pts...)
	}
}

// learnt is what a model says of the sizes, by the beginning of their names.
func learnt(t *testing.T, w *world, o Options) func(name string) (survey.Term, bool) {
	first := w.adjust(t, o)
	second, err := Network(&w.s, w.matches, nil, first, o)
	if err != nil {
		t.Fatal(err)
	}
	return func(name string) (survey.Term, bool) {
		for _, term := range second.Budget {
			if strings.HasPrefix(term.Name, name) && strings.HasSuffix(term.Name, "as estimated") {
				return term, true
			}
		}
		return survey.Term{}, false
	}
}

// Errors of other sizes than those given are found of the sizes that they were made
// with; what is not there is found to be nothing.
func TestSizesAreLearnt(t *testing.T) {
	o := testOptions()
	o.OwnNu, o.SheetNu, o.WanderS = 1e12, 1e12, 0 // as they are made
	for _, g := range []made{
		{sheet: 0.4, own: 0.3, local: 0.3, lambda: 40, session: 0.08, bias: 0.05, noise: 0.03},
		{sheet: 0.1, own: 0.15, local: 0.25, lambda: 25, session: 0.02, bias: 0.01, noise: 0.015},
	} {
		term := learnt(t, g.city(60, rand.New(rand.NewPCG(7, 8))), o)
		for name, want := range map[string]float64{
			"an ordinary sheet's shift": g.sheet, "a record's own shift": g.own, "a record's local error": g.local,
			"correlation length": g.lambda, "a session's error": g.session, "a trace's bias": g.bias,
		} {
			got, ok := term(name)
			if !ok {
				t.Errorf("%s: nothing is told of", name)
				continue
			}
			if math.Abs(got.Value-want) > 3*got.U+0.15*want || !(got.U > 0) || got.U > want {
				t.Errorf("%s: %.4f +- %.4f, made with %.4f", name, got.Value, got.U, want)
			}
		}
	}
	none := made{sheet: 0.1, local: 0.1, lambda: 40, noise: 0.02}
	term := learnt(t, none.city(60, rand.New(rand.NewPCG(7, 8))), o)
	for _, name := range []string{"a session's error", "a trace's bias"} {
		if got, ok := term(name); !ok || got.Value > 0.004 {
			t.Errorf("%s: %.4f +- %.4f, made with none", name, got.Value, got.U)
		}
	}
}

// Readings that scatter more or less than they state are taken as they are.
func TestReceiversAreLearnt(t *testing.T) {
	o := testOptions()
	o.WanderS, o.LocateMinM, o.LocateShare, o.PoleM = 0, 0.001, 0, 0
	g := made{sheet: 0.1, own: 0.1, local: 0.1, lambda: 40, session: 0.02, bias: 0.01, noise: 0.06} // three times of what they state
	w := g.city(20, rand.New(rand.NewPCG(1, 2)))
	for i := range w.s.Traces {
		w.s.Traces[i].Receiver = "R1"
	}
	term := learnt(t, w, o)
	if got, ok := term("factor on the accuracy that receiver R1 reports"); !ok || got.Value < 2.3 || got.Value > 3.3 {
		t.Errorf("factor %.2f +- %.2f, made with 3", got.Value, got.U)
	}
}

// Where there is little to learn from, what is given stands.
func TestLittleToLearn(t *testing.T) {
	o := testOptions()
	var w world
	w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0})
	w.walk("T", "C", 0, false, orb.Point{20, 0.3}, orb.Point{50, 0.4}, orb.Point{80, 0.2})
	term := learnt(t, &w, o)
	for _, name := range []string{"an ordinary sheet's shift", "a record's own shift", "a session's error", "a source", "a trace's bias", "factor", "the same"} {
		if got, ok := term(name); ok {
			t.Errorf("%s: %.3f is learnt from three readings", name, got.Value)
		}
	}
	for name, given := range map[string]float64{"a record's local error": o.LocalM, "correlation length": o.LambdaM} {
		if got, ok := term(name); ok && math.Abs(got.Value-given) > 0.3*given {
			t.Errorf("%s: %.3f is learnt from three readings, %.3f was given", name, got.Value, given)
		}
	}
}

// What the classes' slopes give of each other is what the solution moves by where
// a size changes: the derivative of x by the precision of a class is minus what the
// inverse of all equations makes of its slope (the weights standing as they are).
func TestSlopesAreDerivatives(t *testing.T) {
	o := testOptions()
	o.Sizes, o.WanderS = SizesGiven, 0
	g := made{sheet: 0.2, own: 0.1, local: 0.2, lambda: 40, session: 0.05, bias: 0.03, noise: 0.02}
	w := g.city(6, rand.New(rand.NewPCG(5, 6)))
	// Two walks that go on along a second record, so that records share their biases.
	w.record("on", "S000", orb.Point{100, 0}, orb.Point{200, 0})
	for k, y := range []float64{0.1, 0.2} {
		w.walk(fmt.Sprint("W", k), "C00", 0, false, orb.Point{20, y}, orb.Point{60, y}, orb.Point{90, y})
		w.walk("", "C00", len(w.s.Records)-1, false, orb.Point{110, y}, orb.Point{150, y}, orb.Point{180, y})
		last := len(w.s.Traces) - 1
		w.s.Traces[last-1].Readings = append(w.s.Traces[last-1].Readings, w.s.Traces[last].Readings...)
		w.matches[last-1] = append(w.matches[last-1], w.matches[last]...)
		w.s.Traces, w.matches = w.s.Traces[:last], w.matches[:last]
	}
	n := buildNetwork(&w.s, usedFeet(&w.s, w.matches, nil), nil, o)
	p := newProblem(n, gather(&w.s, w.matches, nil, n, o), cellsAtOnce, o)
	p.begin(nil)
	if err := p.run(); err != nil {
		t.Fatal(err)
	}
	solve := func() []float64 {
		p.unsettle()
		p.x = slices.Clone(p.x)
		if err := p.factor(1); err != nil {
			t.Fatal(err)
		}
		if err := p.solve(lastShare); err != nil {
			t.Fatal(err)
		}
		return p.x
	}
	if !slices.Contains(p.sharedBias, true) {
		t.Fatal("no walk is shared")
	}
	x := solve()
	products := p.pull(make([]heard, len(p.readCells)))
	for k := range classes {
		size, _, _ := o.sizeOf(k)
		const by = 1e-4
		z := sizesOf(n, p.ev, o)
		to, _, _ := z.o.sizeOf(k)
		*to = *size / math.Sqrt(1+by)
		p.resize(z)
		moved := solve()
		p.x = x
		p.resize(sizesOf(n, p.ev, o))
		for l := range k + 1 {
			want := 0.0
			p.slope(l, func(i int, v float64) { want -= v * (moved[i] - x[i]) })
			want /= by / (*size * *size)
			if got := products[k][l]; math.Abs(got-want) > 2e-3*(math.Abs(want)+math.Sqrt(products[k][k]*products[l][l])*1e-3) {
				t.Errorf("classes %d and %d: %.8g, by perturbing %.8g", k, l, got, want)
			}
		}
	}
}

// slope is the slope of a class's squares in all unknowns.
func (p *problem) slope(of class, use func(i int, v float64)) {
	pair := func(q *prior) {
		for axis := range 2 {
			v := q.weight * p.beyond(q, axis)
			use(q.first+axis, v)
			if q.parent >= 0 {
				use(q.parent+axis, -v)
			}
		}
	}
	switch of {
	case ownShift:
		for _, c := range p.readCells {
			pair(&p.own[c.record])
		}
	case walkBias:
		for i := range p.ev.biases {
			use(p.u.bias+i, p.x[p.u.bias+i])
		}
	}
	p.eachShared(func(k class, q *prior) {
		if k == of {
			pair(q)
		}
	})
}
