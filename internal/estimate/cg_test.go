package estimate

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestConjugateGradient(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, adds := network(t)
		o := drawOptions(t, n)
		m := mustMatrix(t, build(n, adds))
		f, err := m.Factor(o)
		if err != nil {
			t.Fatal(err)
		}
		rhs := make([]float64, n)
		for i := range rhs {
			rhs[i] = math.Sin(float64(3*i + 1))
		}
		want := f.Solve(rhs)
		cut, err := m.Cut(o.Last).Factor(Options{})
		if err != nil {
			t.Fatal(err)
		}
		work := make([]float64, n)
		for name, precondition := range map[string]func(dst, r []float64){
			"Jacobi": m.Jacobi(),
			"cut":    func(dst, r []float64) { cut.SolveInto(dst, r, work) },
			"factor": func(dst, r []float64) { f.SolveInto(dst, r, work) },
		} {
			x := make([]float64, n)
			rounds, err := m.ConjugateGradient(x, rhs, precondition, 1e-12, 100*n+100)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if name == "factor" && rounds > 3 {
				t.Fatalf("%d rounds with the exact factor", rounds)
			}
			for i := range x {
				if math.Abs(x[i]-want[i]) > 1e-6*(1+math.Abs(want[i])) {
					t.Fatalf("%s: x[%d] = %v, factor %v", name, i, x[i], want[i])
				}
			}
		}
	})
}

// TestCutCity: with the border cut off, a city takes a few rounds an unknown of
// the border, however large it is.
func TestCutCity(t *testing.T) {
	b, o := city(20000)
	m, err := b.Matrix()
	if err != nil {
		t.Fatal(err)
	}
	cut, err := m.Cut(o.Last).Factor(Options{})
	if err != nil {
		t.Fatal(err)
	}
	x, rhs, work := make([]float64, m.n), make([]float64, m.n), make([]float64, m.n)
	for i := range rhs {
		rhs[i] = math.Sin(float64(i))
	}
	rounds, err := m.ConjugateGradient(x, rhs, func(dst, r []float64) { cut.SolveInto(dst, r, work) }, 1e-10, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if rounds > 2*len(o.Last)+2 {
		t.Errorf("%d rounds for a border of %d unknowns", rounds, len(o.Last))
	}
	plain, err := m.ConjugateGradient(make([]float64, m.n), rhs, m.Jacobi(), 1e-10, 100000)
	if err != nil {
		t.Fatal(err)
	}
	if plain <= rounds {
		t.Errorf("%d rounds with the border cut off, %d with the diagonal", rounds, plain)
	}
}

func TestConjugateGradientFails(t *testing.T) {
	m := &Matrix{n: 2, ptr: []int{0, 1, 2}, row: []int32{0, 1}, val: []float64{1, -1}}
	same := func(dst, r []float64) { copy(dst, r) }
	if _, err := m.ConjugateGradient(make([]float64, 2), []float64{0, 1}, same, 1e-9, 10); err == nil {
		t.Error("an indefinite matrix passes")
	}
	b, _ := city(1000)
	c, err := b.Matrix()
	if err != nil {
		t.Fatal(err)
	}
	rhs := make([]float64, c.n)
	rhs[0] = 1
	if _, err := c.ConjugateGradient(make([]float64, c.n), rhs, c.Jacobi(), 1e-12, 3); err == nil {
		t.Error("three rounds are enough for a city")
	}
	if rounds, err := c.ConjugateGradient(make([]float64, c.n), make([]float64, c.n), c.Jacobi(), 1e-9, 3); err != nil || rounds != 0 {
		t.Errorf("nothing to solve takes %d rounds: %v", rounds, err)
	}
}
