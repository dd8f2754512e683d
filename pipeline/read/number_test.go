package read

import (
	"math"
	"testing"
)

func TestParseNumber(t *testing.T) {
	for _, c := range []struct {
		text      string
		delimiter rune
		want      float64
		why       string
	}{
		{"36", ',', 36, ""},
		{"-0.5", ',', -0.5, ""},
		{"+1.5e3", ',', 1500, ""},
		{".5", ',', .5, ""},
		{"1,5", ';', 1.5, ""},
		{"1,234", ';', 1.234, ""},
		{"1,5", ',', 1.5, ""},
		{"0,125", '\t', .125, ""},
		{"1,234", ',', 0, "may be a decimal comma or a thousand: write it with a point or without the comma"},
		{"1,234,567", ',', 0, "is not a number"},
		{"1,234.5", ',', 0, "is not a number"},
		{"0x10", ',', 0, "is not a number"},
		{"-0x1p3", ',', 0, "is not a number"},
		{"1_000", ',', 0, "is not a number"},
		{"36 in", ',', 0, "is not a number"},
		{"NaN", ',', 0, "is not a finite number"},
		{"-inf", ',', 0, "is not a finite number"},
		{"Infinity", ',', 0, "is not a finite number"},
		{"1e999", ',', 0, "is too large for a number"},
		{",", ';', 0, "is not a number"},
	} {
		if got, why := parseNumber(c.text, c.delimiter); got != c.want || why != c.why {
			t.Errorf("%q with %q: %v %q, want %v %q", c.text, c.delimiter, got, why, c.want, c.why)
		}
	}
}

// TestAccuracyPerAxis checks the factors against the published ones; the
// circular ones are in a file with their source.
func TestAccuracyPerAxis(t *testing.T) {
	for _, c := range []struct {
		means Accuracy
		by    float64 // stated = by x standard deviation
		tol   float64
		from  string
	}{
		{AccuracyRMS2D, math.Sqrt2, 1e-15, "radial rms of two equal axes, FGDC-STD-007.3-1998 app. 3-A (RMSEr = sqrt 2 RMSEx)"},
		{AccuracySigma1D, 1, 0, "definition"},
		{Accuracy95R, 2.4477, 5e-5, "FGDC-STD-007.3-1998 app. 3-A, 95 % circle"},
		{Accuracy95L, 1.9600, 5e-5, "normal distribution, 95 % interval"},
	} {
		got, err := c.means.perAxis()
		if err != nil || math.Abs(1/got-c.by) > c.tol {
			t.Errorf("%s: %s is %v x sigma, want %v (%v)", c.from, c.means, 1/got, c.by, err)
		}
	}
	if _, err := Accuracy("").perAxis(); err == nil {
		t.Error("an accuracy without a meaning was given one")
	}
}
