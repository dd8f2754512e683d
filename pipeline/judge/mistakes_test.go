package judge

import (
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
)

// The shift of ITRF2014 taken for NAD83(2011) at 40 N 100 W, epoch 2010, is 0.978
// m east and 0.695 m south (EPSG:8970, US National Geodetic Survey); that of NAD27
// is known to 10 m only (EPSG:1173) and must not be taken for anything.
func TestWhichMistakeFits(t *testing.T) {
	possible := []survey.Mistake{
		{Name: "NAD27", East: 35, North: 0, U: 10},
		{Name: "ITRF2014", East: 0.978, North: -0.695, U: 0.1},
		{Name: "foot", East: 1.4, North: 0.3, U: 0.02},
	}
	for _, c := range []struct {
		east, north, u float64
		fits           string
		count          int
	}{
		{1.02, -0.66, 0.05, "ITRF2014", 1},
		{1.37, 0.27, 0.05, "foot", 1},
		{-0.978, 0.695, 0.05, "", 0},        // the other way round
		{1.02, -0.2, 0.05, "", 0},           // half a metre off: 4 standard deviations
		{1.2, -0.2, 0.5, "ITRF2014", 2},     // so little is known that both fit
		{31, 4, 0.1, "NAD27", 1},            // within what is known of it
		{12, 0, 0.1, "", 0},                 // within its 10 m twice over, but it would explain too little
		{0.978, -0.695, 2.5, "ITRF2014", 1}, // a sheet seen from one direction only
	} {
		v := survey.Vector{East: c.east, North: c.north, EE: c.u * c.u, NN: c.u * c.u}
		fits := fitting(v, possible)
		got := ""
		if len(fits) > 0 {
			got = fits[0].Name
		}
		if got != c.fits || len(fits) != c.count {
			t.Errorf("%.2f east %.2f north, u %.2f: %q and %d fit, want %q and %d", c.east, c.north, c.u, got, len(fits), c.fits, c.count)
		}
		words := mistakeWords(v, possible)
		if c.fits == "" != strings.Contains(words, "None of 3 mistakes") || !strings.Contains(words, c.fits) {
			t.Errorf("%.2f east %.2f north: %q", c.east, c.north, words)
		}
	}
}
