package lineref

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

func TestPublishedDistances(t *testing.T) {
	data, err := os.ReadFile("../../testdata/published/hausdorff-frechet.json")
	if err != nil {
		t.Fatal(err)
	}
	type pair struct {
		A, B              orb.LineString
		Densify, Distance float64
	}
	var f struct {
		Source             string
		Hausdorff, Frechet []pair
	}
	if err := json.Unmarshal(data, &f); err != nil {
		t.Fatal(err)
	}
	if len(f.Hausdorff) == 0 || len(f.Frechet) == 0 {
		t.Fatal("no published values")
	}
	for _, c := range f.Hausdorff {
		got := Hausdorff(orb.MultiLineString{c.A}, orb.MultiLineString{c.B}, c.Densify)
		if !near(got, c.Distance, 1e-12) {
			t.Errorf("Hausdorff densified by %v: %v, want %v (%s)", c.Densify, got, c.Distance, f.Source)
		}
	}
	for _, c := range f.Frechet {
		if got := Frechet(c.A, c.B); !near(got, c.Distance, 1e-12) {
			t.Errorf("Frechet %v, want %v (%s)", got, c.Distance, f.Source)
		}
	}
}

// leash is Eiter and Mannila's recursion as they print it.
func leash(a, b orb.LineString, i, j int) float64 {
	d := math.Hypot(a[i][0]-b[j][0], a[i][1]-b[j][1])
	switch {
	case i == 0 && j == 0:
		return d
	case i == 0:
		return max(leash(a, b, 0, j-1), d)
	case j == 0:
		return max(leash(a, b, i-1, 0), d)
	}
	return max(min(leash(a, b, i-1, j), leash(a, b, i-1, j-1), leash(a, b, i, j-1)), d)
}

func TestDistanceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawParts(t), drawParts(t)
		h := Hausdorff(a, b, 0)
		if h != Hausdorff(b, a, 0) || Hausdorff(a, a, 0) != 0 {
			t.Error("Hausdorff is not a distance")
		}
		if fine := Hausdorff(a, b, 0.1); fine < h-1e-12 {
			t.Errorf("densified %v is less than %v", fine, h)
		}
		f := Frechet(a[0], b[0])
		if want := leash(a[0], b[0], len(a[0])-1, len(b[0])-1); f != want {
			t.Errorf("Frechet %v, by the printed recursion %v", f, want)
		}
	})
	if !math.IsNaN(Hausdorff(nil, orb.MultiLineString{{{0, 0}}}, 0)) || !math.IsNaN(Frechet(nil, nil)) {
		t.Error("no points, but a distance")
	}
}
