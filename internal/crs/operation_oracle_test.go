package crs

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// TestChangesOfDatumAgainstPROJ compares chains of transformations with what
// PROJ finds between three-dimensional systems, to 1e-6 m. The pairs are those
// for which PROJ of Debian, which has no grids but five, goes the same way.
func TestChangesOfDatumAgainstPROJ(t *testing.T) {
	need(t, "cs2cs")
	for _, c := range []struct {
		from, to                 int
		epoch                    float64
		west, south, east, north float64
	}{
		{4326, 4277, 0, -6, 50, 1, 58},          // OSGB36 by Helmert
		{4277, 4326, 0, -6, 50, 1, 58},          // and back
		{4289, 4326, 0, 3.4, 50.8, 7.2, 53.6},   // Amersfoort
		{4258, 4289, 0, 3.4, 50.8, 7.2, 53.6},   // by way of EPSG:9281
		{4150, 4326, 0, 6, 46, 10.4, 47.7},      // CH1903+
		{4283, 7844, 0, 113, -43, 153, -11},     // GDA94 to GDA2020
		{4269, 6318, 0, -124, 26, -68, 48},      // NAD83 to NAD83(2011)
		{4269, 4326, 0, -124, 26, -68, 48},      // null
		{6318, 4326, 0, -124, 26, -68, 48},      // null
		{7912, 6319, 2010, -124, 26, -68, 48},   // ITRF2014 to NAD83(2011)
		{7912, 6319, 2026.5, -124, 26, -68, 48}, // the same, later
		{6319, 7912, 2026.5, -124, 26, -68, 48}, // and back
		{9989, 6319, 2026.5, -124, 26, -68, 48}, // ITRF2020, by way of ITRF2014
		{7911, 6319, 2024, -124, 26, -68, 48},   // ITRF2008
		{7912, 8403, 2026.5, -9, 36, 30, 70},    // ETRF2014
		{7912, 7931, 2026.5, -9, 36, 30, 70},    // ETRF2000
		{7912, 4937, 2026.5, -9, 36, 16, 52},    // ETRS89, an ensemble
		{7912, 8254, 2026.5, -130, 45, -60, 60}, // NAD83(CSRS)v7
		{8254, 6319, 2026.5, -130, 45, -68, 49}, // across the border
		{9754, 6319, 2026.5, -124, 26, -68, 48}, // WGS 84 (G2139)
		{7912, 7843, 2026.5, 113, -43, 153, -11},
	} {
		from, to := mustParse(t, fmt.Sprint("EPSG:", c.from)), mustParse(t, fmt.Sprint("EPSG:", c.to))
		op, err := NewOperationAt(from, to, Options{Epoch: c.epoch})
		if err != nil {
			t.Error(err)
			continue
		}
		rng := rand.New(rand.NewPCG(5, 6))
		var ps []orb.Point
		var hs []float64
		var in strings.Builder
		for range 50 {
			p := orb.Point{c.west + rng.Float64()*(c.east-c.west), c.south + rng.Float64()*(c.north-c.south)}
			h := 0.
			if c.epoch != 0 {
				h = rng.Float64() * 2000
			}
			ps, hs = append(ps, p), append(hs, h)
			fmt.Fprintf(&in, "%.14f %.14f %.6f", p[1], p[0], h)
			if c.epoch != 0 {
				fmt.Fprintf(&in, " %v", c.epoch)
			}
			in.WriteString("\n")
		}
		want, err := ask(in.String(), "cs2cs", "-f", "%.13f", from.definition, to.definition)
		if err != nil || len(want) != len(ps) {
			t.Errorf("%d lines: %v", len(want), err)
			continue
		}
		worst := 0.
		for i, p := range ps {
			var q orb.Point
			var h float64
			if c.epoch != 0 {
				q, h, err = op.ApplyHeight(p, hs[i])
				worst = max(worst, math.Abs(h-want[i][2]))
			} else {
				q, err = op.Apply(p)
			}
			if err != nil {
				t.Fatal(err)
			}
			worst = max(worst, 111320*math.Hypot(q[1]-want[i][0], (q[0]-want[i][1])*math.Cos(p[1]*radPerDegree)))
		}
		t.Logf("EPSG:%d to EPSG:%d at epoch %v: at most %.1e m from PROJ", c.from, c.to, c.epoch, worst)
		if worst > 1e-6 {
			t.Errorf("EPSG:%d to EPSG:%d at %v: %.9f m from PROJ (%s)", c.from, c.to, c.epoch, worst, op.Name())
		}
	}
}
