package rank

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"
)

func published(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("../../testdata/published", name))
	if err == nil {
		err = json.Unmarshal(data, into)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// Eighteen batting averages (Efron and Morris 1977, recalled).
func TestJamesStein(t *testing.T) {
	var v struct {
		Source               string
		Trials               float64
		Observed             []float64
		Mean, C, First, Last float64
	}
	published(t, "james-stein-1977.json", &v)
	variances := make([]float64, len(v.Observed))
	m := mean(v.Observed)
	for i := range variances {
		variances[i] = m * (1 - m) / v.Trials
	}
	centre, shrunk := shrink(v.Observed, variances, float64(len(v.Observed)-3))
	c := (shrunk[0] - centre) / (v.Observed[0] - centre)
	for _, x := range []struct {
		name      string
		got, want float64
	}{{"mean", centre, v.Mean}, {"c", c, v.C}, {"first", shrunk[0], v.First}, {"last", shrunk[len(shrunk)-1], v.Last}} {
		if math.Abs(x.got-x.want) > 0.0005 {
			t.Errorf("%s %.4f, want %.3f (%s)", x.name, x.got, x.want, v.Source)
		}
	}
}

// Probabilities of precipitation (Wilks; table and climatology recalled).
func TestBrierOfPrecipitation(t *testing.T) {
	var v struct {
		Source                 string
		Count                  float64
		Forecast, Share, Found []float64
		Climatology            float64
	}
	published(t, "wilks-brier.json", &v)
	var promised []float64
	var found []bool
	want := 0.0
	for k, p := range v.Forecast {
		cases := math.Round(v.Count * v.Share[k])
		hits := math.Round(cases * v.Found[k])
		for i := range int(cases) {
			promised, found = append(promised, p), append(found, float64(i) < hits)
		}
		// Murphy 1973 by the printed table: of one forecast, (f - o)^2 + o (1 - o).
		o := v.Found[k]
		want += v.Share[k] * ((p-o)*(p-o) + o*(1-o))
	}
	c := verify("", promised, found)
	if math.Abs(c.Outside-v.Climatology) > 0.0005 {
		t.Errorf("climatology %.4f, want %.3f (%s)", c.Outside, v.Climatology, v.Source)
	}
	if math.Abs(c.Brier-want) > 0.0001 {
		t.Errorf("Brier score %.5f, want %.5f (%s)", c.Brier, want, v.Source)
	}
	if math.Abs(c.Uncertainty-v.Climatology*(1-v.Climatology)) > 0.0005 {
		t.Errorf("uncertainty %.4f, want %.4f (%s)", c.Uncertainty, v.Climatology*(1-v.Climatology), v.Source)
	}
}

// Four cases by hand.
func TestBrierByHand(t *testing.T) {
	c := verify("", []float64{0.1, 0.1, 0.8, 0.8}, []bool{false, false, true, false})
	for _, x := range []struct {
		name      string
		got, want float64
	}{
		{"score", c.Brier, 0.175},
		{"reliability", c.Reliability, 0.05},
		{"resolution", c.Resolution, 0.0625},
		{"uncertainty", c.Uncertainty, 0.1875},
		{"within", c.Within, 0},
	} {
		if math.Abs(x.got-x.want) > 1e-12 {
			t.Errorf("%s %v, want %v", x.name, x.got, x.want)
		}
	}
}

// The parts add up to the score.
func TestBrierAddsUp(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 200).Draw(rt, "p")
		y := rapid.SliceOfN(rapid.Bool(), len(p), len(p)).Draw(rt, "y")
		c := verify("", p, y)
		if sum := c.Reliability - c.Resolution + c.Uncertainty + c.Within; math.Abs(sum-c.Brier) > 1e-12 {
			rt.Fatalf("parts %v, score %v", sum, c.Brier)
		}
	})
}

// Wilson and Hilferty's chi-square beside the table's: the farther off, the fewer the
// degrees of freedom (Abramowitz and Stegun 1964, table 26.8, recalled).
func TestChiSquare(t *testing.T) {
	for _, c := range []struct {
		df        int
		want, off float64
	}{{1, 3.841, 0.1}, {5, 11.070, 0.03}, {10, 18.307, 0.02}, {20, 31.410, 0.01}} {
		if got := chiSquare95(c.df); math.Abs(got-c.want) > c.off {
			t.Errorf("%d: %.3f, want %.3f", c.df, got, c.want)
		}
	}
}

// What is shrunk lies between what was observed and the mean, and is drawn there no
// less than another of less error.
func TestShrinkDrawsToTheMean(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		y := rapid.SliceOfN(rapid.Float64Range(0, 3), 4, 20).Draw(rt, "y")
		v := rapid.SliceOfN(rapid.Float64Range(0.001, 2), len(y), len(y)).Draw(rt, "v")
		m, out := shrink(y, v, float64(len(y)-3))
		for i := range y {
			if (out[i]-m)*(y[i]-m) < -1e-12 || math.Abs(out[i]-m) > math.Abs(y[i]-m)+1e-12 {
				rt.Fatalf("%v is shrunk to %v, mean %v", y[i], out[i], m)
			}
			for k := range y {
				if a, b := (out[i]-m)*(y[k]-m), (out[k]-m)*(y[i]-m); v[i] > v[k] && math.Abs(a) > math.Abs(b)+1e-9 {
					rt.Fatalf("%v of variance %v is shrunk to %v, %v of %v to %v, mean %v", y[i], v[i], out[i], y[k], v[k], out[k], m)
				}
			}
		}
	})
}
