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

// TestPartsAreTheWhole: two regions that share unknowns, condensed, joined and
// completed, give what the whole system gives: solution, covariances, draws.
func TestPartsAreTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 6))
		shared := rapid.IntRange(1, 5).Draw(t, "shared")
		own := [2]int{rapid.IntRange(1, 25).Draw(t, "own"), rapid.IntRange(1, 25).Draw(t, "own")}
		n := shared + own[0] + own[1]
		// A part's unknowns: the shared ones, then its own; the whole: shared, first, second.
		whole, joint := NewBuilder(n), NewBuilder(shared)
		rhs, jointRHS := make([]float64, n), make([]float64, shared)
		for i := range shared { // a prior that no part holds
			whole.Add(i, i, 0.3)
			joint.Add(i, i, 0.3)
		}
		var front Front
		var parts [2]*Part
		place := func(part, i int) int {
			if part == 1 && i >= shared {
				return i + own[0]
			}
			return i
		}
		for part := range parts {
			np := shared + own[part]
			var eqs []equation
			for i := range np {
				if i >= shared || i == 0 {
					eqs = append(eqs, equation{[]int{i}, []float64{1}, 0.1, rng.NormFloat64()})
				}
				if i > 0 {
					eqs = append(eqs, equation{[]int{i, rng.IntN(i)}, []float64{1, -1}, math.Exp(rng.NormFloat64()), rng.NormFloat64()})
				}
			}
			for _, q := range eqs {
				at := slices.Clone(q.at)
				for k, i := range q.at {
					at[k] = place(part, i)
					rhs[at[k]] += q.weight * q.a[k] * q.value
				}
				whole.AddNormal(at, q.a, q.weight)
			}
			order := mixed(rng, shared, np)
			for range 2 { // the second time in the memory of the first
				if parts[part] == nil {
					parts[part] = &Part{}
				}
				if err := condense(&front, parts[part], order, own[part], eqs); err != nil {
					t.Fatal(err)
				}
			}
			parts[part].Schur(joint.Add)
			parts[part].Reduced(func(i int, v float64) { jointRHS[i] += v })
		}
		f, err := whole.Factor(Options{})
		if err != nil {
			t.Fatal(err)
		}
		for i := range shared {
			for j := range i {
				joint.Add(i, j, 0)
			}
		}
		jf, err := joint.Factor(Options{})
		if err != nil {
			t.Fatal(err)
		}
		want, x := f.Solve(rhs), jf.Solve(jointRHS)
		cov := denseInverse(t, f)
		jointInverse := jf.SelectedInverse()
		for part, p := range parts {
			px := append(append([]float64(nil), x...), make([]float64, own[part])...)
			p.Solve(px, make([]float64, len(px)))
			for i := range px {
				if g := place(part, i); !close9(px[i], want[g], 1+math.Abs(want[g])) {
					t.Fatalf("part %d: x[%d] = %v, whole %v", part, i, px[i], want[g])
				}
			}
		}
		// Draws are linear in their normal numbers: the unit vectors give a root of
		// the covariance of everything.
		root := mat.NewDense(n, n, nil)
		for k := range n {
			z := make([]float64, n)
			z[k] = 1
			out := make([]float64, n)
			js := make([]float64, shared)
			jf.Sample(z[:shared], js)
			at := shared
			for part, p := range parts {
				po := append(append([]float64(nil), js...), make([]float64, own[part])...)
				zp := make([]float64, len(po))
				copy(zp, z[at:at+own[part]]) // own steps come first in the part's order
				at += own[part]
				p.Sample(zp, po)
				for i, v := range po {
					out[place(part, i)] = v
				}
			}
			root.SetCol(k, out)
		}
		var got mat.Dense
		got.Mul(root, root.T())
		for i := range n {
			for j := range n {
				if !close9(got.At(i, j), cov.At(i, j), 1+math.Abs(cov.At(i, j))) {
					t.Fatalf("covariance of draws (%d, %d) = %v, want %v", i, j, got.At(i, j), cov.At(i, j))
				}
			}
		}
		for part, p := range parts {
			for j := range shared { // the covariances with a shared unknown
				px := make([]float64, shared+own[part])
				for i := range shared {
					px[i] = cov.At(i, j)
				}
				p.Follow(px, make([]float64, len(px)))
				for i, got := range px {
					if w := cov.At(place(part, i), j); !close9(got, w, 1+math.Abs(w)) {
						t.Fatalf("part %d: covariance of %d with shared %d = %v, whole %v", part, i, j, got, w)
					}
				}
			}
			checkContrasts(t, p, rng, shared+own[part], shared, func(i, j int) float64 { return cov.At(place(part, i), place(part, j)) })
			inv := p.SelectedInverse(func(i, j int) float64 { v, _ := jointInverse.At(i, j); return v })
			for i := range shared + own[part] {
				for j := range shared + own[part] {
					got, ok := inv.At(i, j)
					if w := cov.At(place(part, i), place(part, j)); ok && !close9(got, w, 1+math.Abs(w)) {
						t.Fatalf("part %d: covariance (%d, %d) = %v, whole %v", part, i, j, got, w)
					}
				}
			}
		}
	})
}

// checkContrasts holds the variances and the covariance of two forms of a part's
// unknowns, of which the first are shared, against those of all covariances.
func checkContrasts(t *rapid.T, p *Part, rng *rand.Rand, n, shared int, cov func(i, j int) float64) {
	var forms, left, work [2][]float64
	for k := range forms {
		for range n {
			forms[k] = append(forms[k], rng.NormFloat64())
		}
		left[k], work[k] = slices.Clone(forms[k]), make([]float64, n)
		if got := p.Contrast(left[k], work[k]); got != p.Inner(work[k], work[k]) || got < 0 {
			t.Fatalf("a form's variance is %v, and %v", got, p.Inner(work[k], work[k]))
		}
	}
	for _, at := range [][2]int{{0, 0}, {1, 1}, {1, 0}} {
		want, got := 0.0, p.Inner(work[at[0]], work[at[1]])
		for i := range n {
			for j := range n {
				want += forms[at[0]][i] * forms[at[1]][j] * cov(i, j)
				if i < shared && j < shared {
					got += left[at[0]][i] * left[at[1]][j] * cov(i, j)
				}
			}
		}
		if !close9(got, want, 1+math.Abs(want)) {
			t.Fatalf("covariance of forms %v: %v, want %v", at, got, want)
		}
	}
}

func denseInverse(t *rapid.T, f *Factor) *mat.Dense {
	inv := mat.NewDense(f.n, f.n, nil)
	for i := range f.n {
		e := make([]float64, f.n)
		e[i] = 1
		inv.SetCol(i, f.Solve(e))
	}
	return inv
}

// equation is one observation: weight * (a' x - value)^2.
type equation struct {
	at            []int
	a             []float64
	weight, value float64
}

// mixed is an order of a part's unknowns: its own, which come after the shared
// ones, and then those.
func mixed(rng *rand.Rand, shared, n int) (order []int32) {
	for _, i := range rng.Perm(n - shared) {
		order = append(order, int32(shared+i))
	}
	for i := range shared {
		order = append(order, int32(i))
	}
	return order
}

// condense adds every equation just before the first of its unknowns goes.
func condense(f *Front, p *Part, order []int32, inner int, eqs []equation) error {
	f.Start(p, order, inner)
	added := make([]bool, len(eqs))
	add := func(with func(q equation) bool) {
		for k, q := range eqs {
			if !added[k] && with(q) {
				added[k] = true
				f.AddNormal(q.at, q.a, q.weight, q.value)
			}
		}
	}
	for _, i := range order[:inner] {
		add(func(q equation) bool { return slices.Contains(q.at, int(i)) })
		if err := f.Eliminate(); err != nil {
			f.Abandon()
			return err
		}
	}
	add(func(equation) bool { return true })
	f.Finish()
	return nil
}

// A window that has to grow again and again leaves what a dense elimination does.
func TestWideFront(t *testing.T) {
	const own, shared = 150, 150
	rng := rand.New(rand.NewPCG(5, 5))
	var eqs []equation
	var adds []add
	for i := range own + shared {
		eqs = append(eqs, equation{[]int{i}, []float64{1}, 1, 0})
		adds = append(adds, add{i, i, 1})
		if i > 0 {
			j := rng.IntN(i)
			eqs = append(eqs, equation{[]int{i, j}, []float64{1, -1}, 1, 0})
			adds = append(adds, add{i, i, 1}, add{j, j, 1}, add{i, j, -1})
		}
	}
	var p Part
	var front Front
	if err := condense(&front, &p, mixed(rng, shared, own+shared), own, eqs); err != nil {
		t.Fatal(err)
	}
	var cov, left mat.SymDense
	var chol mat.Cholesky
	if !chol.Factorize(dense(own+shared, adds)) || chol.InverseTo(&cov) != nil {
		t.Fatal("singular")
	}
	if !chol.Factorize(cov.SliceSym(0, shared)) || chol.InverseTo(&left) != nil {
		t.Fatal("singular")
	}
	p.Schur(func(i, j int, v float64) {
		if !close9(v, left.At(i, j), 1) {
			t.Fatalf("(%d, %d) is %v, want %v", i, j, v, left.At(i, j))
		}
	})
}

func TestCondenseNotPositive(t *testing.T) {
	var front Front
	var p Part
	one := func(i int) equation { return equation{[]int{i}, []float64{1}, 1, 0} }
	tie := equation{[]int{0, 2}, []float64{1, -1}, 1, 0}
	if err := condense(&front, &p, []int32{0, 1, 2}, 1, []equation{tie, one(2)}); err != nil {
		t.Errorf("shared unknowns need not be determined: %v", err)
	}
	var not *NotPositiveError
	if err := condense(&front, &p, []int32{0, 1, 2}, 2, []equation{tie, one(2)}); !errors.As(err, &not) || not.Unknown != 1 {
		t.Errorf("unknown 1 is its own and not determined: %v", err)
	}
	if err := condense(&front, &p, []int32{0, 2, 1}, 2, []equation{tie, one(1)}); !errors.As(err, &not) || not.Unknown != 2 {
		t.Errorf("unknowns 0 and 2 are only known to be equal: %v", err)
	}
	if err := condense(&front, &p, []int32{0, 1, 2}, 1, []equation{tie, one(2)}); err != nil {
		t.Errorf("after a failure: %v", err)
	}
}
