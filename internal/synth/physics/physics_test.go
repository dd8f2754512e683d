package physics

import (
	"encoding/json"
	"math"
	"os"
	"testing"
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
