package estimate

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// add is one call of Builder.Add.
type add struct {
	i, j int
	v    float64
}

func build(n int, adds []add) *Builder {
	b := NewBuilder(n)
	for _, a := range adds {
		b.Add(a.i, a.j, a.v)
	}
	return b
}

func dense(n int, adds []add) *mat.SymDense {
	s := mat.NewSymDense(n, nil)
	for _, a := range adds {
		s.SetSym(a.i, a.j, s.At(a.i, a.j)+a.v)
	}
	return s
}

// network draws the normal equations of an adjustment: unknowns tied in one of
// the shapes that networks take, each with a weak prior.
func network(t *rapid.T) (n int, adds []add) {
	n = rapid.IntRange(1, 60).Draw(t, "n")
	shape := rapid.SampledFrom([]string{"random", "tree", "loop", "star", "arrow", "chains", "disconnected"}).Draw(t, "shape")
	rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	weight := func() float64 { return math.Exp(2 * rng.NormFloat64()) }
	tie := func(i, j int) {
		if i == j {
			return
		}
		w := weight()
		adds = append(adds, add{i, i, w}, add{j, j, w}, add{i, j, -w})
	}
	for i := range n {
		adds = append(adds, add{i, i, 0.01 + rng.Float64()})
	}
	switch shape {
	case "random":
		for range 3 * n {
			tie(rng.IntN(n), rng.IntN(n))
		}
	case "tree":
		for i := 1; i < n; i++ {
			tie(i, rng.IntN(i))
		}
	case "loop":
		for i := range n {
			tie(i, (i+1)%n)
		}
	case "star":
		for i := 1; i < n; i++ {
			tie(0, i)
		}
	case "arrow":
		for i := range n {
			for g := max(0, n-4); g < n; g++ {
				tie(i, g)
			}
			tie(i, (i+1)%n)
		}
	case "chains":
		for i := 1; i < n; i++ {
			tie(i-1, i)
			if i%7 == 0 {
				tie(i, rng.IntN(i))
			}
		}
	case "disconnected":
		for i := 5; i < n; i++ {
			tie(i, i-5)
		}
	}
	return n, adds
}

func drawOptions(t *rapid.T, n int) Options {
	perm := rapid.Permutation(ints(n)).Draw(t, "unknowns")
	return Options{Last: perm[:rapid.IntRange(0, min(n, 6)).Draw(t, "last")]}
}

func close9(got, want, scale float64) bool { return math.Abs(got-want) <= 1e-9*scale }

// TestAgainstDense compares every result with gonum's dense Cholesky.
func TestAgainstDense(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, adds := network(t)
		f, err := build(n, adds).Factor(drawOptions(t, n))
		if err != nil {
			t.Fatal(err)
		}
		var chol mat.Cholesky
		if !chol.Factorize(dense(n, adds)) {
			t.Skip("not positive definite to gonum")
		}
		var cov mat.SymDense
		if err := chol.InverseTo(&cov); err != nil {
			t.Skip(err)
		}
		largest := mat.Max(&cov)

		rhs := make([]float64, n)
		for i := range rhs {
			rhs[i] = rapid.Float64Range(-1, 1).Draw(t, "rhs")
		}
		var want mat.VecDense
		if err := chol.SolveVecTo(&want, mat.NewVecDense(n, rhs)); err != nil {
			t.Skip(err)
		}
		x := f.Solve(rhs)
		for i := range x {
			if !close9(x[i], want.AtVec(i), largest*float64(n)) {
				t.Fatalf("x[%d] = %v, gonum %v", i, x[i], want.AtVec(i))
			}
		}
		if !close9(f.LogDet(), chol.LogDet(), 1+math.Abs(chol.LogDet())) {
			t.Fatalf("log determinant %v, gonum %v", f.LogDet(), chol.LogDet())
		}
		inv := f.SelectedInverse()
		for _, a := range adds {
			got, ok := inv.At(a.i, a.j)
			if !ok || !close9(got, cov.At(a.i, a.j), largest) {
				t.Fatalf("inverse (%d, %d) = %v (%v), gonum %v", a.i, a.j, got, ok, cov.At(a.i, a.j))
			}
			if sym, _ := inv.At(a.j, a.i); sym != got {
				t.Fatalf("inverse (%d, %d) is not symmetric", a.i, a.j)
			}
		}
		known := 0
		for i := range n {
			for j := range n {
				if got, ok := inv.At(i, j); ok {
					known++
					if !close9(got, cov.At(i, j), largest) {
						t.Fatalf("inverse (%d, %d) = %v, gonum %v", i, j, got, cov.At(i, j))
					}
				}
			}
		}
		if known != n+2*f.NNZ() {
			t.Fatalf("%d elements of the inverse, pattern has %d", known, n+2*f.NNZ())
		}
	})
}

// TestSampleCovariance: draws are linear in z, so that drawing every unit vector
// gives the square root S of the covariance: S S' = A^-1 exactly.
func TestSampleCovariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, adds := network(t)
		f, err := build(n, adds).Factor(drawOptions(t, n))
		if err != nil {
			t.Fatal(err)
		}
		root := mat.NewDense(n, n, nil)
		for k := range n {
			z, out := make([]float64, n), make([]float64, n)
			z[k] = 1
			f.Sample(z, out)
			root.SetCol(k, out)
		}
		var cov, unit mat.Dense
		cov.Mul(root, root.T())
		unit.Mul(dense(n, adds), &cov)
		scale := mat.Max(&cov) * mat.Max(dense(n, adds))
		for i := range n {
			for j := range n {
				want := 0.0
				if i == j {
					want = 1
				}
				if !close9(unit.At(i, j), want, 1+1e-4*scale) {
					t.Fatalf("A Cov (%d, %d) = %v", i, j, unit.At(i, j))
				}
			}
		}
	})
}

// TestOrderOfAdds: any order of the same entries, split or swapped, gives the
// same bits.
func TestOrderOfAdds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, adds := network(t)
		o := drawOptions(t, n)
		mixed := rapid.Permutation(adds).Draw(t, "adds")
		for k := range mixed {
			if k%2 == 1 {
				mixed[k].i, mixed[k].j = mixed[k].j, mixed[k].i
			}
		}
		slices.Reverse(o.Last)
		a, errA := build(n, adds).Factor(o)
		b, errB := build(n, mixed).Factor(o)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		rhs := make([]float64, n)
		rhs[n/2] = 1
		if !slices.Equal(a.Solve(rhs), b.Solve(rhs)) || a.LogDet() != b.LogDet() {
			t.Fatal("the order of Add calls changes the solution")
		}
		ia, ib := a.SelectedInverse(), b.SelectedInverse()
		for i := range n {
			if ia.Variance(i) != ib.Variance(i) {
				t.Fatalf("the order of Add calls changes variance %d", i)
			}
		}
	})
}

// TestLastIsLast: the border is eliminated after everything else, and pairs in
// it that were given, if only as zeros, have their covariance.
func TestLastIsLast(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, adds := network(t)
		o := drawOptions(t, n)
		b := build(n, adds)
		for _, i := range o.Last {
			for _, j := range o.Last {
				b.Add(i, j, 0)
			}
		}
		f, err := b.Factor(o)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range o.Last {
			if int(f.place[i]) < n-len(o.Last) {
				t.Fatalf("unknown %d of the border goes at step %d of %d", i, f.place[i], n)
			}
		}
		inv := f.SelectedInverse()
		for _, i := range o.Last {
			for _, j := range o.Last {
				if _, ok := inv.At(i, j); !ok {
					t.Fatalf("no covariance of %d and %d in the border", i, j)
				}
			}
		}
		sorted := slices.Clone(f.order)
		slices.Sort(sorted)
		if !slices.Equal(sorted, identity(n)) {
			t.Fatalf("the order %v is not a permutation", f.order)
		}
		for k, p := range f.parent {
			if p >= 0 && int(p) <= k {
				t.Fatalf("step %d has the earlier parent %d", k, p)
			}
		}
	})
}

func TestNotPositive(t *testing.T) {
	for _, c := range []struct {
		name    string
		n       int
		adds    []add
		unknown []int
	}{
		{"nothing observes it", 3, []add{{0, 0, 1}, {2, 2, 1}}, []int{1}},
		{"negative", 2, []add{{0, 0, 1}, {1, 1, -1}}, []int{1}},
		{"levelling loop without a datum", 3, []add{{0, 0, 2}, {1, 1, 2}, {2, 2, 2}, {0, 1, -1}, {1, 2, -1}, {0, 2, -1}}, []int{0, 1, 2}},
		{"indefinite", 2, []add{{0, 0, 1}, {1, 1, 1}, {0, 1, 2}}, []int{0, 1}},
	} {
		_, err := build(c.n, c.adds).Factor(Options{})
		var not *NotPositiveError
		if !errors.As(err, &not) || !slices.Contains(c.unknown, not.Unknown) || math.IsNaN(not.Pivot) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1)} {
		if _, err := build(2, []add{{0, 0, 1}, {1, 1, v}}).Factor(Options{}); err == nil {
			t.Errorf("an entry %v passes", v)
		}
	}
	if f, err := NewBuilder(0).Factor(Options{}); err != nil || len(f.Solve(nil)) != 0 {
		t.Errorf("no unknowns: %v", err)
	}
}

// TestFillOfTree: a tree needs no fill, whatever its shape.
func TestFillOfTree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 300).Draw(t, "n")
		b := NewBuilder(n)
		for i := range n {
			b.Add(i, i, 10)
			if i > 0 {
				b.Add(i, rapid.IntRange(0, i-1).Draw(t, "to"), -1e-3)
			}
		}
		f, err := b.Factor(Options{})
		if err != nil {
			t.Fatal(err)
		}
		if f.NNZ() != n-1 {
			t.Fatalf("%d entries for %d ties", f.NNZ(), n-1)
		}
	})
}

func TestAddNormal(t *testing.T) {
	b := NewBuilder(3)
	b.AddNormal([]int{2, 0, 2}, []float64{1, 2, 3}, 0.5) // the coefficient of 2 is 1 + 3
	m, err := b.Matrix()
	if err != nil {
		t.Fatal(err)
	}
	y := make([]float64, 3)
	m.Mul(y, []float64{1, 10, 100})
	if want := []float64{0.5 * 2 * 402, 0, 0.5 * 4 * 402}; !slices.Equal(y, want) {
		t.Errorf("%v, want %v", y, want)
	}
}
