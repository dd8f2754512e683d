package physics

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"pgregory.net/rapid"
)

// published are the values of testdata/published/line-current-fields.json.
type published struct {
	Citation string `json:"citation"`
	Lines    []struct {
		ApartM   float64 `json:"apart_m"`
		Relative float64 `json:"relative_current"`
		PeakM    float64 `json:"peak_shift_m"`
		NullM    float64 `json:"null_shift_m"`
		DepthM   float64 `json:"two_coil_depth_m"`
	} `json:"two_lines"`
	CoilsM float64 `json:"coils_m"`
	Ratio  []struct {
		DepthM  float64 `json:"depth_m"`
		Percent float64 `json:"depth_error_percent"`
	} `json:"one_percent_ratio_error"`
	SondeAsLine float64 `json:"sonde_read_as_line"`
	FieldNT     float64 `json:"field_10_ma_at_1_m_nt"`
	HalfAt      float64 `json:"half_strength_at_depths"`
	BracketAt   float64 `json:"strength_707_at_depths"`
}

func readPublished(t *testing.T) published {
	t.Helper()
	data, err := os.ReadFile("../../../testdata/published/line-current-fields.json")
	if err != nil {
		t.Fatal(err)
	}
	var p published
	if err := json.Unmarshal(data, &p); err != nil {
		t.Fatal(err)
	}
	if p.Citation == "" || len(p.Lines) == 0 || len(p.Ratio) == 0 {
		t.Fatal("line-current-fields.json: no values")
	}
	return p
}

// near compares to the digits that are given; a given value of 0 is not given.
func near(t *testing.T, p published, what string, got, want, half float64) {
	t.Helper()
	if want != 0 && !(math.Abs(got-want) <= half) {
		t.Errorf("%s: got %.6f, want %v (%s)", what, got, want, p.Citation)
	}
}

func TestTwoLinesMovePeakNullAndDepth(t *testing.T) {
	p := readPublished(t)
	for _, c := range p.Lines {
		lines := []Line{{0, 1, 1}, {c.ApartM, 1, c.Relative}}
		peak, ok := Peak(lines, 0, 0, 1)
		if !ok {
			t.Fatalf("no peak: %+v", c)
		}
		null, ok := Null(lines, 0, 0, 1)
		if !ok {
			t.Fatalf("no null: %+v", c)
		}
		near(t, p, "peak", peak, c.PeakM, 5e-5)
		near(t, p, "null", null, c.NullM, 1e-4)
		near(t, p, "depth", LineDepth(Across(lines, peak, 0), Across(lines, peak, p.CoilsM), p.CoilsM), c.DepthM, 5e-4)
	}
}

func TestDepthErrorGrowsWithDepth(t *testing.T) {
	p := readPublished(t)
	for _, c := range p.Ratio {
		one := []Line{{0, c.DepthM, 1}}
		depth := LineDepth(1.01*Across(one, 0, 0), Across(one, 0, p.CoilsM), p.CoilsM)
		near(t, p, "depth error in %", 100*(depth/c.DepthM-1), c.Percent, 0.05)
	}
}

func TestSondeReadAsLine(t *testing.T) {
	p := readPublished(t)
	lower, upper := Dipole(0.01, 1), Dipole(0.01, 1+p.CoilsM)
	near(t, p, "line formula on a sonde", LineDepth(lower, upper, p.CoilsM), p.SondeAsLine, 5e-4)
	near(t, p, "sonde formula on a sonde", SondeDepth(lower, upper, p.CoilsM), 1, 1e-12)
}

func TestFieldOfOneLine(t *testing.T) {
	p := readPublished(t)
	one := []Line{{0, 1, 0.01}}
	top := Across(one, 0, 0)
	near(t, p, "10 mA at 1 m, nT", 1e9*top, p.FieldNT, 5e-3)
	near(t, p, "half strength", Across(one, p.HalfAt, 0)/top, 0.5, 1e-12)
	near(t, p, "70.7 %", Across(one, p.BracketAt, 0)/top, 1/math.Sqrt2, 5e-4)
	near(t, p, "current", LineCurrent(top, 1), 0.01, 1e-15)
}

// genLines draws a target at 0 and up to three neighbours.
func genLines(t *rapid.T) []Line {
	lines := []Line{{X: 0, Depth: rapid.Float64Range(0.3, 3).Draw(t, "depth"), Current: 0.05}}
	for range rapid.IntRange(0, 3).Draw(t, "neighbours") {
		lines = append(lines, Line{
			X:     rapid.Float64Range(0.4, 3).Draw(t, "x") * float64(1-2*rapid.IntRange(0, 1).Draw(t, "side")),
			Depth: rapid.Float64Range(0.3, 3).Draw(t, "d"), Current: 0.05 * rapid.Float64Range(-2, 2).Draw(t, "k"),
		})
	}
	return lines
}

func TestPeakIsALocalMaximum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := genLines(t)
		x, ok := Peak(lines, 0, 0, 2)
		if !ok {
			return
		}
		here := math.Abs(Across(lines, x, 0))
		for _, by := range []float64{-0.03, -0.003, 0.003, 0.03} {
			if there := math.Abs(Across(lines, x+by, 0)); there > here*(1+1e-9) {
				t.Fatalf("stronger %v m beside the peak at %v: %g over %g", by, x, there, here)
			}
		}
	})
}

func TestNullIsACrossing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := genLines(t)
		x, ok := Null(lines, 0, 0, 2)
		if !ok {
			return
		}
		if math.Abs(x) > 2.1 {
			t.Fatalf("null at %v, beyond its reach", x)
		}
		a, b := Upright(lines, x-1e-4, 0), Upright(lines, x+1e-4, 0)
		if a*b > 0 {
			t.Fatalf("no change of sign at %v: %g, %g", x, a, b)
		}
	})
}

// What lies to the right moves things as what lies to the left, mirrored; a
// lone line is where it is, as deep as it is, and carries what it carries.
func TestMirrorAndLoneLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := genLines(t)
		mirror := make([]Line, len(lines))
		for i, l := range lines {
			mirror[i] = Line{-l.X, l.Depth, l.Current}
		}
		x, height := rapid.Float64Range(-2, 2).Draw(t, "at"), rapid.Float64Range(0, 1).Draw(t, "height")
		if a, b := Across(lines, x, height), Across(mirror, -x, height); math.Abs(a-b) > 1e-9*math.Abs(a) {
			t.Fatalf("across %g, mirrored %g", a, b)
		}
		if a, b := Upright(lines, x, height), -Upright(mirror, -x, height); math.Abs(a-b) > 1e-9*math.Abs(a)+1e-20 {
			t.Fatalf("upright %g, mirrored %g", a, b)
		}
		lone := lines[:1]
		depth := LineDepth(Across(lone, 0, 0), Across(lone, 0, 0.4), 0.4)
		if math.Abs(depth-lone[0].Depth) > 1e-9 || math.Abs(LineCurrent(Across(lone, 0, 0), depth)-lone[0].Current) > 1e-9 {
			t.Fatalf("a lone line %+v reads %v m", lone[0], depth)
		}
		if p, _ := Peak(lone, 0.3, 0, 1); p != 0 {
			t.Fatalf("a lone line's peak is at %v", p)
		}
	})
}

func TestNoDepthWithoutAGradient(t *testing.T) {
	if d := LineDepth(1, 1, 0.4); !math.IsNaN(d) {
		t.Errorf("a line without a gradient is %v m deep", d)
	}
	if d := SondeDepth(1, 2, 0.4); !math.IsNaN(d) {
		t.Errorf("a sonde without a gradient is %v m deep", d)
	}
}

// The middle of two noisy flanks, found by walking out until the meter says
// 70.7 %, scatters as the formula says.
func TestBracketSigma(t *testing.T) {
	const depth, noise, n = 1.3, 0.01, 20000
	d := rand.New(rand.NewPCG(1, 1))
	one := []Line{{0, depth, 1}}
	top := Across(one, 0, 0)
	flank := func(side float64) float64 {
		seen := top / math.Sqrt2 / (1 + noise*d.NormFloat64()) // the true field where the meter shows 70.7 %
		return side * bisect(func(x float64) float64 { return seen - Across(one, x, 0) }, 0, 3*depth)
	}
	sum := 0.0
	for range n {
		m := (flank(1) + flank(-1)) / 2
		sum += m * m
	}
	if got, want := math.Sqrt(sum/n), BracketSigma(depth, noise); math.Abs(got/want-1) > 0.03 {
		t.Errorf("scatter of %.5f m, formula %.5f m", got, want)
	}
}

func ExamplePeak() {
	// A target 1 m deep and a neighbour 1 m to the right with a tenth of its current.
	lines := []Line{{X: 0, Depth: 1, Current: 0.050}, {X: 1, Depth: 1, Current: 0.005}}
	peak, _ := Peak(lines, 0, 0, 1)
	null, _ := Null(lines, 0, 0, 1)
	depth := LineDepth(Across(lines, peak, 0), Across(lines, peak, 0.4), 0.4)
	fmt.Printf("peak %.4f m, null %.4f m, depth %.3f m\n", peak, null, depth)
	// Output: peak 0.0257 m, null 0.0501 m, depth 1.057 m
}
