package scorer

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strings"
	"testing"
)

func TestFiguresAreWhole(t *testing.T) {
	seen := map[string]bool{}
	var groups []string
	for f := range numFigures {
		d := &figures[f]
		if d.group == "" || d.name == "" {
			t.Errorf("figure %d is not described: %+v", f, d)
		}
		if len(d.name) > nameWidth-2 || len(d.aim) > aimWidth {
			t.Errorf("%q is too wide", d.name)
		}
		if !slices.Contains(groups, d.group) {
			groups = append(groups, d.group)
		} else if groups[len(groups)-1] != d.group {
			t.Errorf("%q stands apart from its group %q", d.name, d.group)
		}
		same := strings.HasPrefix(d.name, "the same") || d.name == "false ones, a town"
		if key := d.group + d.name; seen[key] && !same {
			t.Errorf("%q twice", key)
		} else {
			seen[key] = true
		}
	}
}

func TestPrint(t *testing.T) {
	tl := &Tally{towns: make([][numFigures]cases, 1)}
	tl.measure(OutsideFound, 81, 263)
	tl.promise(PromiseByTenth, 0.04, true)
	tl.promise(PromiseByTenth, 0.06, false)
	for _, v := range []float64{3, -1, 2, 4} {
		tl.value(ProfileError, v)
		tl.value(After, v)
		tl.value(UnmappedFalse, v)
	}
	var b bytes.Buffer
	if err := Print(&b, []Column{{"one", tl}, {"none", NewTally()}}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"\nverdict\n",
		"  truly outside found                                     98.5        30.8 (25.5-36.6)      263                                -\n",
		"  outside where 0-10 % was promised                   within 3   5.0: 50.0 (9.5-90.5)         2                                -\n",
		"  error of the offset, rms / p95, m                       0.04       2.739 / 4.000            4                                -\n",
		"  surveyed parts after, mean / p95, m                0.03/0.09       2.000 / 4.000            4                                -\n",
		"  false ones, a town                                       < 1       2.000                    4                                -\n",
		"  truly outside said within                              < 0.7                                -                                -\n",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the table lacks\n%q\n%s", want, b.String())
		}
	}
	b.Reset()
	if err := WriteCSV(&b, []Column{{"one", tl}}); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != int(numFigures)+1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for f, want := range map[Figure][]string{
		OutsideFound:   {"verdict", "truly outside found", "98.5", "one", "263", "0.307985", "0.255289", "0.366210", "", "", "", ""},
		PromiseByTenth: {"re-survey", "outside where 0-10 % was promised", "within 3", "one", "2", "0.500000", "0.094531", "0.905469", "0.050000", "", "", ""},
		ProfileError:   {"profile", "error of the offset, rms / p95, m", "0.04", "one", "4", "", "", "", "", "2.000000", "2.738613", "4.000000"},
		OutsideMissed:  {"verdict", "truly outside said within", "< 0.7", "one", "0", "", "", "", "", "", "", ""},
	} {
		if got := rows[f+1]; !slices.Equal(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
