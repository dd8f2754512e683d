package estimate

import (
	"math"
	"math/rand/v2"
	"testing"
)

// checkLarge checks a factorisation too large for a dense one: A x = rhs, and
// that row i of A times column i of the inverse is 1, for which the pattern of A
// is enough.
func checkLarge(t *testing.T, name string, b *Builder, o Options) *Factor {
	t.Helper()
	m, err := b.Matrix()
	if err != nil {
		t.Fatal(err)
	}
	f, err := m.Factor(o)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	rng := rand.New(rand.NewPCG(9, 9))
	x, rhs := make([]float64, m.n), make([]float64, m.n)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	m.Mul(rhs, x)
	for i, got := range f.Solve(rhs) {
		if math.Abs(got-x[i]) > 1e-8 {
			t.Fatalf("%s: x[%d] = %v, want %v", name, i, got, x[i])
		}
	}
	inv, product := f.SelectedInverse(), make([]float64, m.n)
	for j := range m.n {
		for p := m.ptr[j]; p < m.ptr[j+1]; p++ {
			i := int(m.row[p])
			z, ok := inv.At(i, j)
			if !ok {
				t.Fatalf("%s: no inverse at (%d, %d)", name, i, j)
			}
			product[j] += m.val[p] * z
			if i != j {
				product[i] += m.val[p] * z
			}
		}
	}
	for i, got := range product {
		if math.Abs(got-1) > 1e-8 {
			t.Fatalf("%s: row %d of A times column %d of its inverse is %v", name, i, i, got)
		}
	}
	if trace := inv.Trace(m); math.Abs(trace-float64(m.n)) > 1e-8*float64(m.n) {
		t.Fatalf("%s: the trace of the inverse times A is %v, not %d", name, trace, m.n)
	}
	return f
}

func TestLarge(t *testing.T) {
	const n = 4000
	rng := rand.New(rand.NewPCG(11, 11))
	tied := func(pairs func(tie func(i, j int))) *Builder {
		b := NewBuilder(n)
		for i := range n {
			b.Add(i, i, 1)
		}
		pairs(func(i, j int) {
			if i != j {
				b.AddNormal([]int{i, j}, []float64{1, -1}, 0.5+rng.Float64())
			}
		})
		return b
	}
	builder, o := city(20000)
	f := checkLarge(t, "city", builder, o)
	if fill := float64(f.NNZ()) / float64(f.N()); fill > 12 {
		t.Errorf("city: %.1f entries of L an unknown", fill)
	}
	builder, _ = city(20000)
	f = checkLarge(t, "city without a border", builder, Options{})
	if len(f.branches) < 2 || int(f.trunk()) < f.N()/2 {
		t.Errorf("city: %d branches, and a trunk from step %d of %d", len(f.branches), f.trunk(), f.N())
	}

	// Hubs with more neighbours than the ordering takes in its stride.
	hubs := func(tie func(i, j int)) {
		for i := 3; i < n; i++ {
			tie(i, i%3)
			if i%5 == 0 {
				tie(i, i-3)
			}
		}
	}
	f = checkLarge(t, "hubs", tied(hubs), Options{})
	for hub := range 3 {
		if int(f.place[hub]) < n-3 {
			t.Errorf("hub %d goes at step %d of %d", hub, f.place[hub], n)
		}
	}
	checkLarge(t, "hubs under a border", tied(hubs), Options{Last: []int{n - 1, 5, 1}})
	checkLarge(t, "grid", tied(func(tie func(i, j int)) {
		const side = 60
		for i := range side * side {
			if i%side > 0 {
				tie(i, i-1)
			}
			if i >= side {
				tie(i, i-side)
			}
		}
	}), Options{})
	checkLarge(t, "random tree and chords", tied(func(tie func(i, j int)) {
		for i := 1; i < n; i++ {
			tie(i, rng.IntN(i))
		}
		for range 300 {
			tie(rng.IntN(n), rng.IntN(n))
		}
	}), Options{})
	var border []int
	for i := range 200 {
		border = append(border, 20*i)
	}
	checkLarge(t, "many small parts on a wide border", tied(func(tie func(i, j int)) {
		for i := range n {
			if i%20 > 1 {
				tie(i, i-1)
			}
			tie(i, 20*rng.IntN(200))
		}
	}), Options{Last: border})
}
