package estimate

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// ouCovariance is the dense covariance of the process at the places t.
func ouCovariance(t []float64, lambda, sigma float64) *mat.SymDense {
	s := mat.NewSymDense(len(t), nil)
	for i := range t {
		for j := range i + 1 {
			s.SetSym(i, j, sigma*sigma*math.Exp(-math.Abs(t[i]-t[j])/lambda))
		}
	}
	return s
}

// chain draws the places of a chain's nodes, spaced from 1 mm to 20 km.
func chain(t *rapid.T) (at []float64, lambda, sigma float64) {
	lambda = rapid.Float64Range(1, 200).Draw(t, "lambda")
	sigma = rapid.Float64Range(0.01, 3).Draw(t, "sigma")
	at = []float64{0}
	for _, decade := range rapid.SliceOfN(rapid.Float64Range(-3, 4.3), 1, 25).Draw(t, "decades") {
		at = append(at, at[len(at)-1]+math.Pow(10, decade))
	}
	return at, lambda, sigma
}

func ouChain(at []float64, lambda, sigma float64) *Builder {
	b := NewBuilder(len(at))
	b.Add(0, 0, OUEnd(sigma))
	b.Add(len(at)-1, len(at)-1, OUEnd(sigma))
	for i := 1; i < len(at); i++ {
		diag, off := OUEdge(at[i]-at[i-1], lambda, sigma)
		b.Add(i-1, i-1, diag)
		b.Add(i, i, diag)
		b.Add(i-1, i, off)
	}
	return b
}

// TestOUChain: the edges of a chain invert the process's covariance, at any
// spacing.
func TestOUChain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at, lambda, sigma := chain(t)
		f, err := ouChain(at, lambda, sigma).Factor(Options{})
		if err != nil {
			t.Fatal(err)
		}
		want := ouCovariance(at, lambda, sigma)
		for i := range at {
			e := make([]float64, len(at))
			e[i] = 1
			for j, got := range f.Solve(e) {
				// Rounding of 1e-16 is divided by the shortest edge, 1e-3/200.
				if math.Abs(got-want.At(i, j)) > 1e-8*sigma*sigma {
					t.Fatalf("covariance (%d, %d) = %v, exp(-|t|/lambda) gives %v", i, j, got, want.At(i, j))
				}
			}
		}
	})
}

// TestOUBridge: the mean and variance inside an edge are those of the dense
// process given its two ends.
func TestOUBridge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := math.Pow(10, rapid.Float64Range(-2, 3).Draw(t, "decade"))
		lambda, sigma := rapid.Float64Range(1, 200).Draw(t, "lambda"), rapid.Float64Range(0.01, 3).Draw(t, "sigma")
		at := length * rapid.Float64Range(0, 1).Draw(t, "share")
		from, to, variance := OUBridge(at, length, lambda, sigma)
		r := math.Exp(-length / lambda)
		a, b := math.Exp(-at/lambda), math.Exp(-(length-at)/lambda)
		det := -math.Expm1(-2 * length / lambda)
		wantFrom, wantTo := (a-r*b)/det, (b-r*a)/det
		wantVariance := sigma * sigma * (1 - wantFrom*a - wantTo*b)
		tolerance := 1e-13 / det
		if math.Abs(from-wantFrom) > tolerance || math.Abs(to-wantTo) > tolerance ||
			math.Abs(variance-wantVariance) > 10*sigma*sigma*tolerance {
			t.Fatalf("%v %v %v, conditional normal %v %v %v", from, to, variance, wantFrom, wantTo, wantVariance)
		}
	})
}

func TestOULimits(t *testing.T) {
	for _, length := range []float64{0, 1e-300, 1e-9, 1, 1e6, 1e300, math.Inf(1)} {
		diag, off := OUEdge(length, 40, 0.25)
		if math.IsNaN(diag+off) || diag < -off || off > 0 {
			t.Errorf("edge of %g m: %v %v", length, diag, off)
		}
		for _, share := range []float64{0, 0.5, 1} {
			at := length * share
			if math.IsNaN(at) || math.IsInf(at, 0) {
				at = 0
			}
			from, to, variance := OUBridge(at, length, 40, 0.25)
			if !(from >= 0 && to >= 0 && from+to <= 1+1e-15 && variance >= 0 && variance <= 0.0625) {
				t.Errorf("bridge at %g of %g m: %v %v %v", at, length, from, to, variance)
			}
		}
	}
	// Beyond a free end the process forgets the node and regains its variance.
	from, to, variance := OUBridge(40, math.Inf(1), 40, 0.25)
	near(t, "exp(-1)", "weight of the end node", from, math.Exp(-1), 1e-15)
	near(t, "free end", "weight of nothing", to, 0, 0)
	near(t, "1-exp(-2)", "variance", variance, 0.0625*(1-math.Exp(-2)), 1e-15)
}

// TestOUNode: a node inserted into an edge changes nothing at the others.
func TestOUNode(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lambda, sigma := 40.0, 0.3
		a, b := rapid.Float64Range(0.1, 100).Draw(t, "a"), rapid.Float64Range(0.1, 100).Draw(t, "b")
		with, err := ouChain([]float64{0, a, a + b}, lambda, sigma).Factor(Options{})
		if err != nil {
			t.Fatal(err)
		}
		without, err := ouChain([]float64{0, a + b}, lambda, sigma).Factor(Options{})
		if err != nil {
			t.Fatal(err)
		}
		x, y := with.Solve([]float64{1, 0, 2}), without.Solve([]float64{1, 2})
		from, to, _ := OUBridge(a, a+b, lambda, sigma)
		if !close9(x[0], y[0], 1) || !close9(x[2], y[1], 1) || !close9(x[1], from*y[0]+to*y[1], 1) {
			t.Fatalf("with a node inside %v, without %v", x, y)
		}
	})
}
