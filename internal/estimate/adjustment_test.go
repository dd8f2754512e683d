package estimate

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestConformal(t *testing.T) {
	var p struct {
		Source       string
		From, To     [][2]float64
		A, B, Tx, Ty float64
		Scale, S0    float64
		Rotation     [3]float64 `json:"rotation_dms"`
	}
	published(t, "ghilani-conformal.json", &p)
	c, err := FitConformal(p.From, p.To)
	if err != nil {
		t.Fatal(err)
	}
	near(t, p.Source, "a", c.A, p.A, 1e-5)
	near(t, p.Source, "b", c.B, p.B, 1e-5)
	near(t, p.Source, "Tx", c.Tx, p.Tx, 1e-3)
	near(t, p.Source, "Ty", c.Ty, p.Ty, 1e-3)
	near(t, p.Source, "scale", c.Scale(), p.Scale, 1e-6)
	near(t, p.Source, "S0", c.S0, p.S0, 1e-4)
	degrees := p.Rotation[0] + p.Rotation[1]/60 + p.Rotation[2]/3600
	near(t, p.Source, "rotation", c.RotationRad()*180/math.Pi, degrees, 0.1/3600)
	for k, from := range p.From {
		near(t, p.Source, "easting", c.Apply(from)[0], p.To[k][0], 0.3)
		near(t, p.Source, "northing", c.Apply(from)[1], p.To[k][1], 0.3)
	}
	if _, err := FitConformal(p.From[:1], p.To[:1]); err == nil {
		t.Error("one point fits")
	}
	if _, err := FitConformal([][2]float64{{3, 3}, {3, 3}}, p.To[:2]); err == nil {
		t.Error("two points in one place fit")
	}
}

// TestConformalExact: points that a transform moved give it back.
func TestConformalExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-1000, 1000)
		want := Conformal{A: number.Draw(t, "a"), B: number.Draw(t, "b"), Tx: number.Draw(t, "tx"), Ty: number.Draw(t, "ty")}
		from := [][2]float64{{0, 0}, {100, 0}}
		for range rapid.IntRange(0, 5).Draw(t, "more") {
			from = append(from, [2]float64{number.Draw(t, "x"), number.Draw(t, "y")})
		}
		var to [][2]float64
		for _, p := range from {
			to = append(to, want.Apply(p))
		}
		got, err := FitConformal(from, to)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range []float64{got.A - want.A, got.B - want.B, got.Tx - want.Tx, got.Ty - want.Ty, got.S0} {
			if math.Abs(d) > 1e-6 {
				t.Fatalf("%+v, want %+v", got, want)
			}
		}
	})
}

func TestLevelNet(t *testing.T) {
	var p struct {
		Source string
		Known  map[string]float64
		Lines  []struct {
			From, To string
			Rise     float64
		}
		Elevations map[string]float64
		S0         float64
		Freedom    int
	}
	published(t, "ghilani-levelling.json", &p)
	unknown := map[string]int{"A": 0, "B": 1, "C": 2}
	var obs []Observation
	for _, l := range p.Lines {
		o := Observation{Value: l.Rise, Weight: 1}
		for _, end := range []struct {
			name string
			sign float64
		}{{l.From, -1}, {l.To, 1}} {
			if i, ok := unknown[end.name]; ok {
				o.At, o.A = append(o.At, i), append(o.A, end.sign)
			} else {
				o.Value -= end.sign * p.Known[end.name]
			}
		}
		obs = append(obs, o)
	}
	fit, err := Adjust(3, obs, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for name, i := range unknown {
		near(t, p.Source, name, fit.X[i], p.Elevations[name], 6e-4)
	}
	near(t, p.Source, "S0", math.Sqrt(fit.VarianceFactor), p.S0, 5e-4)
	near(t, p.Source, "degrees of freedom", float64(fit.Freedom), float64(p.Freedom), 0)
}

func TestAdjustErrors(t *testing.T) {
	one := Observation{At: []int{0}, A: []float64{1}, Value: 3, Weight: 1}
	var not *NotPositiveError
	if _, err := Adjust(2, []Observation{one}, Options{}); !errors.As(err, &not) || not.Unknown != 1 {
		t.Errorf("unknown 1 has no observation: %v", err)
	}
	one.Weight = -1
	if _, err := Adjust(1, []Observation{one}, Options{}); err == nil {
		t.Error("a negative weight passes")
	}
}

func TestAdjustedP(t *testing.T) {
	var p struct {
		Source      string
		P, Adjusted []float64
		Q           float64
		Rejected    int
	}
	published(t, "benjamini-hochberg.json", &p)
	rejected := 0
	for i, got := range AdjustedP(p.P) {
		near(t, p.Source, "adjusted p", got, p.Adjusted[i], 1e-9)
		if got <= p.Q {
			rejected++
		}
	}
	near(t, p.Source, "number rejected", float64(rejected), float64(p.Rejected), 0)
	rapid.Check(t, func(t *rapid.T) {
		mixed := rapid.Permutation(ints(len(p.P))).Draw(t, "order")
		shuffled := make([]float64, len(mixed))
		for k, i := range mixed {
			shuffled[k] = p.P[i]
		}
		for k, got := range AdjustedP(shuffled) {
			if want := p.Adjusted[mixed[k]]; math.Abs(got-want) > 1e-9 {
				t.Fatalf("p %v: %v, in order %v", shuffled[k], got, want)
			}
		}
	})
}

func ExampleAdjust() {
	// Two lines of levels to one point, the second measured four times as well.
	fit, err := Adjust(1, []Observation{
		{At: []int{0}, A: []float64{1}, Value: 10.10, Weight: 1},
		{At: []int{0}, A: []float64{1}, Value: 10.20, Weight: 4},
	}, Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f m, s0 %.3f m\n", fit.X[0], math.Sqrt(fit.VarianceFactor))
	// Output: 10.180 m, s0 0.089 m
}

func ExampleBuilder() {
	// Three nodes on a line, tied to their neighbours, the first held at 0.
	b := NewBuilder(3)
	b.AddNormal([]int{0}, []float64{1}, 1e4)
	b.AddNormal([]int{0, 1}, []float64{-1, 1}, 100)
	b.AddNormal([]int{1, 2}, []float64{-1, 1}, 100)
	f, err := b.Factor(Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	inverse := f.SelectedInverse()
	for i := range 3 {
		fmt.Printf("node %d: standard deviation %.3f m\n", i, math.Sqrt(inverse.Variance(i)))
	}
	// Output:
	// node 0: standard deviation 0.010 m
	// node 1: standard deviation 0.100 m
	// node 2: standard deviation 0.142 m
}
