package config

import (
	"math"
	"testing"
)

func TestQuantities(t *testing.T) {
	// Conversion factors: NIST SP 811 (2008), B.6 and B.8: 1 ft = 0.3048 m and
	// 1 in = 2.54 cm exactly, 1 US survey foot = 1200/3937 m exactly.
	const source = "NIST SP 811 (2008)"
	for _, q := range []struct {
		kind kind
		text string
		want float64
	}{
		{length, "0.5 m", 0.5},
		{length, "0.5m", 0.5},
		{length, " 18 in ", 0.4572},
		{length, "2 ft", 0.6096},
		{length, "1 ftUS", 0.304800609601219},
		{length, "30 cm", 0.3},
		{length, "7 mm", 0.007},
		{length, "1.2e3 mm", 1.2},
		{length, "-1 ft", -0.3048},
		{current, "250 mA", 0.25},
		{current, "1 A", 1},
		{frequency, "8.192 kHz", 8192},
		{frequency, "512 Hz", 512},
		{duration, "2 min", 120},
		{share, "0.05", 0.05},
		{share, "5 %", 0.05},
		{rate, "3.3 /km", 0.0033},
		{plain, "3", 3},
	} {
		got, err := q.kind.parse(q.text)
		if err != nil || math.Abs(got-q.want) > 1e-15*math.Abs(q.want)*4 {
			t.Errorf("%q is %v (%v), want %v (%s)", q.text, got, err, q.want, source)
		}
	}
	for _, q := range []struct {
		kind kind
		text string
	}{
		{length, "5"},
		{length, ""},
		{length, "m"},
		{length, "5 M"},
		{length, "5 FT"},
		{length, "nan m"},
		{length, "inf m"},
		{length, "1e400 m"},
		{length, "0x1p4 m"},
		{length, "1_000 m"},
		{length, "5 m 3"},
		{length, "5,3 m"},
		{length, "5 mA"},
		{plain, "3 m"},
		{share, "5 m"},
		{current, "3 m"},
	} {
		if got, err := q.kind.parse(q.text); err == nil {
			t.Errorf("%q is taken for %s of %v", q.text, q.kind.name, got)
		}
	}
}

func TestDidYouMean(t *testing.T) {
	for _, c := range []struct {
		word string
		want string
	}{
		{"recrods", "did you mean records?"},
		{"Field", "did you mean field?"},
		{"feild", "did you mean field?"},
		{"zzz", "use one of records, field, areas"},
	} {
		if got := didYouMean(c.word, []string{"records", "field", "areas"}); got != c.want {
			t.Errorf("didYouMean(%q) = %q, want %q", c.word, got, c.want)
		}
	}
	if d := distance("kitten", "sitting"); d != 3 {
		t.Errorf("distance is %d, want 3", d)
	}
	if d := distance("ab", "ba"); d != 1 {
		t.Errorf("a swap costs %d, want 1", d)
	}
}
