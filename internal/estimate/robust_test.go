package estimate

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

type stackloss struct {
	Source string             `json:"values_source"`
	Huber  map[string]float64 `json:"huber"`
	Data   [][]float64        `json:"data"`
}

func (s stackloss) observations() []Observation {
	var obs []Observation
	for _, row := range s.Data {
		obs = append(obs, Observation{At: []int{0, 1, 2, 3}, A: []float64{1, row[0], row[1], row[2]}, Value: row[3], Weight: 1})
	}
	return obs
}

func TestHuberStackLoss(t *testing.T) {
	var p stackloss
	published(t, "stackloss.json", &p)
	obs := p.observations()
	var fit *Adjustment
	_, err := Reweight(len(obs), func(weights []float64) ([]float64, error) {
		for k := range obs {
			obs[k].Weight = weights[k]
		}
		var err error
		fit, err = Adjust(4, obs, Options{})
		if err != nil {
			return nil, err
		}
		return fit.Residuals, nil
	}, MAD, func(r float64) float64 { return Huber(r, HuberTuning) }, 1e-12, 500)
	if err != nil {
		t.Fatal(err)
	}
	for i, name := range []string{"constant", "air_flow", "water_temperature", "acid"} {
		near(t, p.Source, name, fit.X[i], p.Huber[name], 2e-5)
	}
}

// TestWeights checks the weights where their definitions are plain.
func TestWeights(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"Huber inside", Huber(-1.3, HuberTuning), 1},
		{"Huber outside", Huber(-2.69, HuberTuning), 0.5},
		{"Tukey at 0", Tukey(0, TukeyTuning), 1},
		{"Tukey half way", Tukey(TukeyTuning/2, TukeyTuning), 0.5625},
		{"Tukey beyond", Tukey(-5, TukeyTuning), 0},
		{"t at 0", StudentT(0, 4), 1.25},
		{"t at 1", StudentT(1, 4), 1},
		{"t of one component", StudentTVector(9, 1, 4), StudentT(3, 4)},
		{"t of two components", StudentTVector(2, 2, 4), 1},
		{"t covariance", StudentTCovariance(4), 1.4},
		{"median of an even number", Median([]float64{4, 1, 3, 2}), 2.5},
		{"MAD", MAD([]float64{-1, 1, 1, -1, 50}), 1.4826},
		{"MAD factor", MADFactor, 1 / NormalQuantile(0.75)},
	} {
		near(t, "definition", c.name, c.got, c.want, 2e-5)
	}
	if !math.IsNaN(Median(nil)) {
		t.Error("the median of nothing is a number")
	}
}

// TestStudentTCovariance: with the factor, intervals from frozen weights cover
// what they claim; without it they do not.
func TestStudentTCovariance(t *testing.T) {
	const nu, n, trials = 4.0, 60, 4000
	rng := rand.New(rand.NewPCG(7, 7))
	covered, coveredFrozen := 0, 0
	for range trials {
		y := make([]float64, n)
		for i := range y {
			chi2 := 0.0
			for range int(nu) {
				chi2 += square(rng.NormFloat64())
			}
			y[i] = rng.NormFloat64() / math.Sqrt(chi2/nu)
		}
		mean, sum := 0.0, 0.0
		_, err := Reweight(n, func(w []float64) ([]float64, error) {
			mean, sum = 0, 0
			for i, v := range y {
				mean += w[i] * v
				sum += w[i]
			}
			mean /= sum
			r := slices.Clone(y)
			for i := range r {
				r[i] -= mean
			}
			return r, nil
		}, func([]float64) float64 { return 1 }, func(r float64) float64 { return StudentT(r, nu) }, 1e-9, 500)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(mean) < 1.96/math.Sqrt(sum) {
			coveredFrozen++
		}
		if math.Abs(mean) < 1.96*math.Sqrt(StudentTCovariance(nu)/sum) {
			covered++
		}
	}
	const source = "Lange, Little & Taylor 1989, simulated coverage"
	near(t, source, "coverage with the factor", float64(covered)/trials, 0.95, 0.015)
	if share := float64(coveredFrozen) / trials; share > 0.92 {
		t.Errorf("%s: frozen weights cover %.3f without it", source, share)
	}
}

func TestReweightGivesUp(t *testing.T) {
	flip := -1.0
	_, err := Reweight(1, func([]float64) ([]float64, error) { flip = -flip; return []float64{1 + flip}, nil },
		func([]float64) float64 { return 1 }, func(r float64) float64 { return 1 / (1 + r) }, 1e-9, 10)
	if err == nil {
		t.Error("weights that never settle pass")
	}
}
