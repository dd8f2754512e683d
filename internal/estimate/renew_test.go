package estimate

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// patternOf is the places of entries, named in a mixed order and some twice.
func patternOf(n int, adds []add) *Matrix {
	return Pattern(n, func(place func(i, j int)) {
		for k := range adds {
			a := adds[len(adds)-1-k]
			place(a.i, a.j)
			if k%3 == 0 {
				place(a.j, a.i)
			}
		}
	})
}

// A pattern that is filled again is the factor of a matrix that was new, however
// its entries come: one by one, by observation, by their slots, from stored values.
func TestFillAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, adds := network(t)
		o := drawOptions(t, n)
		want, err := build(n, adds).Factor(o)
		if err != nil {
			t.Fatal(err)
		}
		f := patternOf(n, adds).Analyse(o)
		rhs := make([]float64, n)
		rhs[n/2] = 1
		same := func(how string) {
			if err := f.Eliminate(); err != nil {
				t.Fatal(how, err)
			}
			x, w := f.Solve(rhs), want.Solve(rhs)
			for i := range x {
				if !close9(x[i], w[i], 1+math.Abs(w[i])) {
					t.Fatalf("%s: x[%d] = %v, want %v", how, i, x[i], w[i])
				}
			}
		}
		for _, a := range adds {
			f.Add(a.i, a.j, 7)
		}
		f.Clear()
		for _, a := range adds {
			f.Add(a.j, a.i, a.v)
		}
		kept := f.Values()
		same("Add")
		f.Clear()
		for _, a := range adds {
			f.AddAt(f.Slot(a.i, a.j), a.v)
		}
		same("AddAt")
		f.Clear()
		f.SetValues(kept)
		same("SetValues")
		f.Clear()
		for i := range n {
			f.Add(i, i, adds[i].v)
		}
		for k := n; k < len(adds); k += 3 { // a tie: of weight v
			f.AddNormal([]int{adds[k+2].i, adds[k+2].j}, []float64{1, -1}, adds[k].v)
		}
		same("AddNormal")
	})
}

func TestNoPlace(t *testing.T) {
	f := patternOf(3, []add{{0, 0, 0}, {1, 1, 0}, {2, 2, 0}, {0, 1, 0}}).Analyse(Options{})
	for name, call := range map[string]func(){
		"Add":       func() { f.Add(1, 2, 1) },
		"Slot":      func() { f.Slot(2, 0) },
		"AddNormal": func() { f.AddNormal([]int{2, 1}, []float64{1, 1}, 1) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s takes an entry that has no place", name)
				}
			}()
			call()
		}()
	}
}

// arrow is sessions (the last unknowns) that each of many records' shifts was
// measured in, two by two: exact elimination ties all of them to each other.
func arrow(records, sessions int, rng *rand.Rand) (n int, adds []add, loose []int) {
	n = records + sessions
	for i := range n {
		adds = append(adds, add{i, i, 0.5 + rng.Float64()})
	}
	for i := range records {
		for range 2 {
			w, s := 0.2+rng.Float64(), records+rng.IntN(sessions)
			adds = append(adds, add{i, i, w}, add{s, s, w}, add{i, s, w})
		}
	}
	for s := range sessions {
		loose = append(loose, records+s)
	}
	return n, adds, loose
}

// Where the sessions are loose the factor has no entry among them, its refined
// solution is that of the whole matrix, and its variances are near to its.
func TestLoose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 9))
		n, adds, loose := arrow(rapid.IntRange(20, 80).Draw(t, "records"), rapid.IntRange(2, 12).Draw(t, "sessions"), rng)
		f, err := build(n, adds).Factor(Options{Loose: loose})
		if err != nil {
			t.Fatal(err)
		}
		for k := n - len(loose); k < n; k++ {
			if rows, _ := f.column(k); len(rows) > 0 {
				t.Fatalf("session at step %d has entries with those at %v", k, rows)
			}
		}
		rhs := make([]float64, n)
		for i := range rhs {
			rhs[i] = rng.NormFloat64()
		}
		x := make([]float64, n)
		rounds, err := f.Refine(x, rhs, 1e-12, 100)
		if err != nil || rounds == 0 {
			t.Fatalf("%d rounds: %v", rounds, err)
		}
		var chol mat.Cholesky
		if !chol.Factorize(dense(n, adds)) {
			t.Fatal("not positive definite")
		}
		var want mat.VecDense
		if err := chol.SolveVecTo(&want, mat.NewVecDense(n, slices.Clone(rhs))); err != nil {
			t.Fatal(err)
		}
		for i := range x {
			if !close9(x[i], want.AtVec(i), 1+math.Abs(want.AtVec(i))) {
				t.Fatalf("x[%d] = %v, want %v", i, x[i], want.AtVec(i))
			}
		}
		var cov mat.SymDense
		if err := chol.InverseTo(&cov); err != nil {
			t.Fatal(err)
		}
		inv := f.SelectedInverse()
		for i := range n { // what is left out can only make a variance smaller, and never below its own prior's
			if v := inv.Variance(i); v > cov.At(i, i)*(1+1e-9) {
				t.Fatalf("variance %d is %v, of the whole matrix %v", i, v, cov.At(i, i))
			}
		}
	})
}

// Invert is SelectedInverse in other memory.
func TestInvert(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, adds := network(t)
		f, err := build(n, adds).Factor(drawOptions(t, n))
		if err != nil {
			t.Fatal(err)
		}
		want := f.SelectedInverse()
		got := f.Invert()
		if !slices.Equal(got.diag, want.diag) || !slices.Equal(got.val, want.val) {
			t.Fatal("another inverse")
		}
	})
}

// The branches of a matrix's elimination tree give the same bits on one core as on
// many: its solution, a refined one, its inverse.
func TestSameOnAnyCores(t *testing.T) {
	numbers := func(cores int) (out []float64) {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		b, o := city(20000)
		m, err := b.Matrix()
		if err != nil {
			t.Fatal(err)
		}
		o.Loose, o.Last = o.Last[20:], o.Last[:20] // the sessions
		f, err := m.Factor(o)
		if err != nil {
			t.Fatal(err)
		}
		if len(f.branches) < 2 {
			t.Fatalf("%d branches", len(f.branches))
		}
		rhs, x := make([]float64, f.N()), make([]float64, f.N())
		for i := range rhs {
			rhs[i] = float64(i%7) - 3
		}
		out = f.Solve(rhs)
		if _, err := f.Refine(x, rhs, 1e-9, 100); err != nil {
			t.Fatal(err)
		}
		out = append(out, x...)
		inv := f.Invert()
		for i := range f.N() {
			out = append(out, inv.Variance(i))
		}
		return out
	}
	want := numbers(1)
	for _, cores := range []int{2, 7} {
		if got := numbers(cores); !slices.Equal(got, want) {
			t.Errorf("%d cores give other numbers than one", cores)
		}
	}
}
