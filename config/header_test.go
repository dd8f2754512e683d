package config

import (
	"slices"
	"testing"
)

func TestCSVHeader(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"commas", "A,B C,D\n1,2,3\n", []string{"A", "B C", "D"}},
		{"semicolons, with a mark", "\ufeffA;B,C;D\r\n1;2;3\r\n", []string{"A", "B,C", "D"}},
		{"tabs", "A\tB\n", []string{"A", "B"}},
		{"quotes", "\"A, B\",\"C\"\"D\"\n", []string{"A, B", `C"D`}},
		{"one column", "A\n1\n", []string{"A"}},
		{"blanks around names", " A , B\n", []string{"A", "B"}},
		{"nothing", "", nil},
		{"UTF-16", "\xff\xfeA\x00,\x00B\x00\n\x00", nil},
		{"a line before the header", "sep=;\nA;B\n", nil},
		{"not UTF-8", "A,Stra\xdfe\n", nil},
	} {
		if got := csvHeader([]byte(c.text)); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
