package estimate

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The BCG vaccine trials (Colditz et al. 1994), tuberculosis among the vaccinated
// and others: the tables are recalled. Published maximum-likelihood estimates of
// the variance between trials: of the log odds ratio .302 about -.742 (van
// Houwelingen, Arends and Stijnen 2002, Statistics in Medicine 21, section 3), of
// the log risk ratio .280 about -.711 (recalled, as standard software gives it).
func TestSizeOfTrials(t *testing.T) {
	trials := [][4]float64{
		{4, 119, 11, 128}, {6, 300, 29, 274}, {3, 228, 11, 209}, {62, 13536, 248, 12619}, {33, 5036, 47, 5761},
		{180, 1361, 372, 1079}, {8, 2537, 10, 619}, {505, 87886, 499, 87892}, {29, 7470, 45, 7232}, {17, 1699, 65, 1600},
		{186, 50448, 141, 27197}, {5, 2493, 3, 2338}, {27, 16886, 29, 17825},
	}
	for _, c := range []struct {
		name           string
		of             func(a, b, c, d float64) (effect, variance float64)
		mean, variance float64
	}{
		{"odds", func(a, b, c, d float64) (float64, float64) { return math.Log(a * d / (b * c)), 1/a + 1/b + 1/c + 1/d }, -0.742, 0.302},
		{"risk", func(a, b, c, d float64) (float64, float64) {
			return math.Log(a / (a + b) * (c + d) / c), 1/a - 1/(a+b) + 1/c - 1/(c+d)
		}, -0.711, 0.280},
	} {
		var effects []Informed
		for _, q := range trials {
			y, v := c.of(q[0], q[1], q[2], q[3])
			effects = append(effects, Informed{Precision: [2]float64{1 / v}, Pull: [2]float64{(y - c.mean) / v}})
		}
		got := SizeOf(effects, 1e12, 1)
		if math.Abs(got.Value*got.Value-c.variance) > 0.002 {
			t.Errorf("%s: variance %.4f, published %.3f", c.name, got.Value*got.Value, c.variance)
		}
	}
}

// Effects made of a known size are found of that size, within what U promises.
func TestSizeOfMadeUp(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct{ size, nu, noise float64 }{
		{0.15, 3, 0.03}, {0.06, 4, 0.05}, {0.03, 1e12, 0.03}, {0.4, 3, 0.1}, {0.02, 4, 0.005},
	} {
		var effects []Informed
		for range 2000 {
			w := 1.0
			if c.nu < 1000 {
				w = chi2(rng, c.nu) / c.nu
			}
			var e Informed
			for k := range e.Precision {
				y := rng.NormFloat64()*c.size/math.Sqrt(w) + rng.NormFloat64()*c.noise
				e.Precision[k], e.Pull[k] = 1/(c.noise*c.noise), y/(c.noise*c.noise)
			}
			effects = append(effects, e)
		}
		got := SizeOf(effects, c.nu, 0.1)
		if math.Abs(got.Value-c.size) > 4*got.U || got.U > 0.1*c.size {
			t.Errorf("made of %.3f: %.4f +- %.4f", c.size, got.Value, got.U)
		}
	}
}

func chi2(rng *rand.Rand, nu float64) float64 {
	sum := 0.0
	for range int(nu) {
		z := rng.NormFloat64()
		sum += z * z
	}
	return sum
}

// Noise alone has no effect behind it, no effects have no size, and the size does
// not hang on what was expected.
func TestSizeOfLittle(t *testing.T) {
	if got := SizeOf(nil, 3, 0.1); got.Value != 0 || got.Count != 0 {
		t.Errorf("of nothing: %+v", got)
	}
	var none, some []Informed
	for i := range 400 {
		y := 0.01 * math.Sin(float64(i)) // of variance half of 1e-4
		none = append(none, Informed{Precision: [2]float64{1e4}, Pull: [2]float64{y * 1e4}})
		some = append(some, Informed{Precision: [2]float64{1e4}, Pull: [2]float64{y * 1e5}})
	}
	if got := SizeOf(none, 1e12, 0.05); got.Value != 0 || got.U > 0.005 {
		t.Errorf("of half the noise: %+v", got)
	}
	want := math.Sqrt(0.1*0.1/2 - 1e-4)
	for _, expected := range []float64{0.01, 0.05, 0.3} {
		if got := SizeOf(some, 1e12, expected); math.Abs(got.Value-want) > 0.001 {
			t.Errorf("expected %v: %v, want %v", expected, got.Value, want)
		}
	}
	if few := SizeOf(some[:1], 1e12, 0.05); few.Count > 1 || few.U < 0.05 {
		t.Errorf("of one: %+v", few)
	}
}
