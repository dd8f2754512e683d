package estimate

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// TestExactSum: entries of one pair add up to the float nearest to their exact
// sum, however often they were compacted in between.
func TestExactSum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Custom(func(t *rapid.T) float64 {
			v := math.Ldexp(float64(rapid.Int64Range(-1<<53, 1<<53).Draw(t, "digits")), rapid.IntRange(-120, 60).Draw(t, "exponent"))
			if rapid.Bool().Draw(t, "round") { // values that make ties likely
				v = math.Ldexp(1, rapid.IntRange(-60, 60).Draw(t, "power"))
			}
			return v
		})
		values := rapid.SliceOfN(value, 1, 40).Draw(t, "values")
		exact := new(big.Float).SetPrec(2000)
		b := NewBuilder(1)
		for _, v := range values {
			exact.Add(exact, new(big.Float).SetFloat64(v))
			b.Add(0, 0, v)
			if rapid.IntRange(0, 3).Draw(t, "compact") == 0 {
				b.compact()
			}
		}
		m, err := b.Matrix()
		if err != nil {
			t.Fatal(err)
		}
		if want, _ := exact.Float64(); m.val[0] != want {
			t.Fatalf("%v, exact sum %v", m.val[0], want)
		}
	})
}

// TestBuilderMemory: memory goes by pairs, not by calls.
func TestBuilderMemory(t *testing.T) {
	b := NewBuilder(100)
	for k := range 300000 {
		b.Add(k%100, (k/7)%100, 1/float64(k+1))
	}
	if cap(b.entries) > 50000 {
		t.Errorf("room for %d entries, for 5050 pairs", cap(b.entries))
	}
}

func mustMatrix(t *rapid.T, b *Builder) *Matrix {
	m, err := b.Matrix()
	if err != nil {
		t.Fatal(err)
	}
	return m
}
