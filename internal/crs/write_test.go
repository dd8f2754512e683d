package crs

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// TestWKT1ReadsBack writes every projected system of the table in the older WKT
// and reads it.
func TestWKT1ReadsBack(t *testing.T) {
	for _, code := range epsg().codes {
		s, err := epsg().system(code)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Parse(s.WKT1())
		if err != nil || !again.sameGrid(s) || again.datum.name != s.datum.name {
			t.Errorf("%s: %v\n%s", s.Name(), err, s.WKT1())
		}
	}
	for _, def := range []string{"EPSG:4326", "EPSG:4807", "EPSG:4267"} {
		s := mustParse(t, def)
		if again := mustParse(t, s.WKT1()); !again.same(s) {
			t.Errorf("%s reads as another system: %s", def, s.WKT1())
		}
	}
}

// TestWrittenDefinitionsAgainstPROJ has PROJ read what is written, in both
// generations of WKT, and project with it.
func TestWrittenDefinitionsAgainstPROJ(t *testing.T) {
	need(t, "cs2cs")
	for _, s := range onePerMethod(t) {
		if s.method.code == 9830 || s.meridian.deg != 0 {
			continue // PROJ 9.1 has no variant C; grads are read as degrees by cs2cs
		}
		op, err := NewOperation(s.Geographic(), s)
		if err != nil {
			t.Fatal(err)
		}
		for name, def := range map[string]string{"WKT1": s.WKT1(), "WKT2": s.write()} {
			if s.method.code == 1051 && name == "WKT1" {
				continue // the older WKT has no common name for Michigan's method
			}
			base := s.Geographic().WKT1()
			if name == "WKT2" {
				base = s.Geographic().write()
			}
			var in strings.Builder
			ps := within(s, 5)
			for _, p := range ps {
				fmt.Fprintf(&in, "%.14f %.14f\n", p[0], p[1])
			}
			want, err := ask(in.String(), "cs2cs", "-f", "%.9f", base, "+to", def)
			if err != nil || len(want) != len(ps) {
				t.Errorf("%s, %s: %d lines, %v\n%s", s.Method(), name, len(want), err, def)
				continue
			}
			for i, p := range ps {
				got, err := op.Apply(p)
				d := math.Hypot(got[0]-want[i][0], got[1]-want[i][1]) * s.unit.factor
				if err != nil || !(d < 2e-6) {
					t.Errorf("%s, %s at %v: %v, PROJ %v (%v)\n%s", s.Method(), name, p, got, orb.Point{want[i][0], want[i][1]}, err, def)
					break
				}
			}
		}
	}
}
