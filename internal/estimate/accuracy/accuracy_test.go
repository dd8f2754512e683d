package accuracy

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"
)

func published(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

func near(t *testing.T, source, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %s is %.8g, published %.8g (tolerance %g)", source, what, got, want, tolerance)
	}
}

type residuals struct {
	Source              string
	East, North, Height []float64
	SD, Mean, RMSE      []float64
	Radial              float64 `json:"rmse_radial"`
	Horizontal          float64 `json:"horizontal_95"`
	Averaged            float64 `json:"horizontal_95_averaged"`
	Vertical            float64 `json:"vertical_95"`
}

func TestWorkedResiduals(t *testing.T) {
	for file, tolerance := range map[string]float64{"nssda-pers-2014.json": 6e-5, "asprs-2014.json": 6e-4} {
		var p residuals
		published(t, file, &p)
		var rmse []float64
		for k, d := range [][]float64{p.East, p.North, p.Height} {
			r := Describe(d)
			rmse = append(rmse, r.RMSE)
			near(t, p.Source, "RMSE", r.RMSE, p.RMSE[k], tolerance)
			if p.Mean != nil {
				near(t, p.Source, "mean", r.Mean, p.Mean[k], tolerance)
				near(t, p.Source, "standard deviation", r.SD, p.SD[k], 6e-4)
			}
		}
		near(t, p.Source, "radial RMSE", RMSER(rmse[0], rmse[1]), p.Radial, tolerance)
		near(t, p.Source, "horizontal accuracy", NSSDARadial(rmse[0], rmse[1]), p.Horizontal, tolerance)
		near(t, p.Source, "vertical accuracy", NSSDAVertical(rmse[2]), p.Vertical, tolerance)
		if p.Averaged != 0 {
			got, ok := NSSDA(rmse[0], rmse[1])
			near(t, p.Source, "horizontal accuracy by the averaged form", got, p.Averaged, tolerance)
			if !ok {
				t.Errorf("%s: the averaged form holds for these", p.Source)
			}
		}
	}
}

func TestNSSDAFactors(t *testing.T) {
	var p struct {
		Source  string
		Factors struct {
			Equal, Averaged, Vertical float64
			LeastRatio                float64 `json:"least_ratio"`
		}
	}
	published(t, "nssda-pers-2014.json", &p)
	equal, _ := NSSDA(1, 1)
	near(t, p.Source, "equal RMSE", equal, p.Factors.Equal*math.Sqrt2, 1e-9)
	near(t, p.Source, "vertical", NSSDAVertical(1), p.Factors.Vertical, 1e-9)
	for _, c := range []struct {
		ratio float64
		ok    bool
	}{{p.Factors.LeastRatio + 0.01, true}, {p.Factors.LeastRatio - 0.01, false}} {
		got, ok := NSSDA(c.ratio, 1)
		near(t, p.Source, "averaged form", got, p.Factors.Averaged*(c.ratio+1)/2, 1e-9)
		if ok != c.ok {
			t.Errorf("%s: ratio %g: %v", p.Source, c.ratio, ok)
		}
	}
	// The rule of thumb for a bias, from the same page.
	if !Describe([]float64{0.1, 0.11, 0.09}).Biased() || Describe([]float64{-0.1, 0.11, -0.01}).Biased() {
		t.Errorf("%s: bias", p.Source)
	}
}

func TestCircularFactor(t *testing.T) {
	var p struct {
		Source  string
		Factors [][2]float64
	}
	published(t, "circular-factors.json", &p)
	for _, f := range p.Factors {
		near(t, p.Source, fmt.Sprintf("factor of %g", f[0]), CircularFactor(f[0]), f[1], 6e-5)
	}
	near(t, "CircularFactor", "constant", Factor95Circular, CircularFactor(0.95), 1e-15)
}

func TestNGSCircle(t *testing.T) {
	var p struct {
		Source string
		Cases  []struct{ North, East, Correlation, Radius float64 }
	}
	published(t, "ngs-circle.json", &p)
	for _, c := range p.Cases {
		near(t, p.Source, "radius", Circle95(c.North, c.East, c.Correlation), c.Radius, 0.0151)
		near(t, p.Source, "radius with the axes swapped", Circle95(c.East, c.North, c.Correlation), c.Radius, 0.0151)
	}
	near(t, "CircularFactor", "equal axes", Circle95(1, 1, 0), Factor95Circular, 4e-3)
	near(t, "one dimension", "a line", Circle95(1, 0, 0), Factor95Linear, 1e-3)
	near(t, "no error", "radius", Circle95(0, 0, 0), 0, 0)
}

// TestCircle95Holds: the circle holds 95 % of draws, whatever the ellipse.
func TestCircle95Holds(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for _, c := range [][3]float64{{1, 1, 0}, {1, 0.3, 0.5}, {0.2, 2, -0.9}, {1, 1, 0.99}} {
		const draws = 40000
		radius, inside := Circle95(c[0], c[1], c[2]), 0
		for range draws {
			a, b := rng.NormFloat64(), rng.NormFloat64()
			north, east := c[0]*a, c[1]*(c[2]*a+math.Sqrt(1-c[2]*c[2])*b)
			if math.Hypot(north, east) <= radius {
				inside++
			}
		}
		near(t, "95 % circle, simulated", fmt.Sprint(c), float64(inside)/draws, 0.95, 0.005)
	}
}

// TestOffset95: an offset is one-dimensional: its interval is that of the
// coordinate across the line, in whatever axes the covariance is given.
func TestOffset95(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		across, along := rapid.Float64Range(0, 3).Draw(t, "across"), rapid.Float64Range(0, 3).Draw(t, "along")
		angle := rapid.Float64Range(0, 2*math.Pi).Draw(t, "angle")
		e, n := math.Cos(angle), math.Sin(angle)
		ee := across*across*e*e + along*along*n*n
		nn := across*across*n*n + along*along*e*e
		en := (across*across - along*along) * e * n
		if got := Offset95(e, n, ee, en, nn); math.Abs(got-1.959963984540054*across) > 1e-6 {
			t.Fatalf("%v, want 1.96 x %v", got, across)
		}
	})
}

func TestASPRS2023(t *testing.T) {
	// Edition 2: RMSE_H = sqrt(RMSE_test^2 + RMSE_survey^2) (from memory).
	near(t, "ASPRS edition 2 (2023)", "RMSE", ASPRS2023(0.03, 0.04), 0.05, 1e-15)
}

func ExampleNSSDA() {
	accuracy, ok := NSSDA(0.09, 0.08)
	fmt.Printf("%.3f m at the 95 %% confidence level, %v\n", accuracy, ok)
	// Output: 0.208 m at the 95 % confidence level, true
}
