package estimate

import (
	"errors"
	"math"
	"math/rand/v2"
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
		var parts [2]*Part
		var partRHS [2][]float64
		place := func(part, i int) int {
			if part == 1 && i >= shared {
				return i + own[0]
			}
			return i
		}
		for part := range parts {
			np := shared + own[part]
			b := NewBuilder(np)
			tie := func(i, j int, w float64) {
				b.AddNormal([]int{i, j}, []float64{1, -1}, w)
				whole.AddNormal([]int{place(part, i), place(part, j)}, []float64{1, -1}, w)
			}
			for i := range np {
				if i >= shared && i%3 == 0 {
					b.Add(i, i, 0.1)
					whole.Add(place(part, i), place(part, i), 0.1)
				}
				if i > 0 {
					tie(i, rng.IntN(i), math.Exp(rng.NormFloat64()))
				}
			}
			partRHS[part] = make([]float64, np)
			for i := range np {
				partRHS[part][i] = rng.NormFloat64()
				rhs[place(part, i)] += partRHS[part][i]
			}
			m := mustMatrix(t, b)
			var err error
			if parts[part], err = m.Condense(Options{Last: ints(shared)}); err != nil {
				t.Fatal(err)
			}
			parts[part].Schur(joint.Add)
			parts[part].Reduce(partRHS[part], func(i int, v float64) { jointRHS[i] += v })
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
			p.Solve(px, partRHS[part])
			inv := p.SelectedInverse(func(i, j int) float64 { v, _ := jointInverse.At(i, j); return v })
			for i := range px {
				if g := place(part, i); !close9(px[i], want[g], 1+math.Abs(want[g])) {
					t.Fatalf("part %d: x[%d] = %v, whole %v", part, i, px[i], want[g])
				}
				for j := range px {
					got, ok := inv.At(i, j)
					if w := cov.At(place(part, i), place(part, j)); ok && !close9(got, w, 1+math.Abs(w)) {
						t.Fatalf("part %d: covariance (%d, %d) = %v, whole %v", part, i, j, got, w)
					}
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
	})
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

func TestCondenseNotPositive(t *testing.T) {
	b := NewBuilder(3)
	b.Add(0, 0, 1)
	b.Add(1, 1, 0) // shared: another part determines it
	m, err := b.Matrix()
	if err != nil {
		t.Fatal(err)
	}
	var not *NotPositiveError
	if _, err := m.Condense(Options{Last: []int{1, 2}}); err != nil {
		t.Errorf("shared unknowns need not be determined: %v", err)
	}
	if _, err := m.Condense(Options{Last: []int{1}}); !errors.As(err, &not) || not.Unknown != 2 {
		t.Errorf("unknown 2 is its own and not determined: %v", err)
	}
}
