package crs

import (
	"fmt"
	"math"
	"os/exec"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// town is 100 places in a square of 4 km, in longitude and latitude of NAD83.
func town(lon, lat float64) (ps []orb.Point) {
	for i := range 100 {
		ps = append(ps, orb.Point{lon + float64(i%10-5)*0.005, lat + float64(i/10-5)*0.004})
	}
	return ps
}

// through are points taken by an operation, or the test fails.
func through(t testing.TB, op *Operation, ps []orb.Point) []orb.Point {
	t.Helper()
	out := append([]orb.Point(nil), ps...)
	if err := op.ApplyAll(out); err != nil {
		t.Fatal(err)
	}
	return out
}

func bound(ps []orb.Point, margin float64) orb.Bound {
	b := orb.MultiPoint(ps).Bound()
	return b.Pad(margin)
}

// Every mistake, made on purpose, is found and named; without it, nothing is.
func TestHypothesesFindTheMistake(t *testing.T) {
	target := "EPSG:26917"
	places := town(-81.5, 40.8)
	inTarget := through(t, mustOperation(t, "EPSG:4269", target, Options{}), places)
	extent := bound(inTarget, 500)
	swap := func(ps []orb.Point) []orb.Point {
		out := make([]orb.Point, len(ps))
		for i, p := range ps {
			out[i] = orb.Point{p[1], p[0]}
		}
		return out
	}
	in := func(system string) []orb.Point {
		return through(t, mustOperation(t, "EPSG:4269", system, Options{}), places)
	}
	times := func(ps []orb.Point, f float64) []orb.Point {
		out := make([]orb.Point, len(ps))
		for i, p := range ps {
			out[i] = orb.Point{p[0] * f, p[1] * f}
		}
		return out
	}
	positive := make([]orb.Point, len(places))
	for i, p := range places {
		positive[i] = orb.Point{-p[0], p[1]}
	}
	for _, c := range []struct {
		name   string
		stated string
		points []orb.Point
		want   string
	}{
		{"nothing, degrees", "EPSG:4269", places, "as stated"},
		{"nothing, feet", "EPSG:3734", in("EPSG:3734"), "as stated"},
		{"swapped degrees", "EPSG:4269", swap(places), "latitude and longitude swapped"},
		{"swapped feet", "EPSG:3734", swap(in("EPSG:3734")), "easting and northing swapped"},
		{"no sign", "EPSG:4269", positive, "longitude without its sign"},
		{"degrees as metres", "EPSG:26917", places, "degrees, not metre"},
		{"metres as degrees", "EPSG:4269", inTarget, "coordinates of NAD83 / UTM zone 17N, not degrees"},
		{"feet as metres", "EPSG:26917", times(inTarget, 1/footM), "coordinates in the unit foot, not metre"},
		{"metres as survey feet", "EPSG:3734", times(in("EPSG:3734"), surveyFootM), "coordinates in the unit metre, not US survey foot"},
		{"next UTM zone", "EPSG:26917", in("EPSG:26916"), "coordinates of NAD83 / UTM zone 16N"},
		{"next State Plane zone", "EPSG:3734", in("EPSG:3735"), "coordinates of NAD83 / Ohio South (ftUS)"},
		{"State Plane of 1927", "EPSG:3734", in27(t, places, "EPSG:32022"), "coordinates of NAD27 / Ohio North"},
	} {
		hs, err := Hypotheses(c.points, mustParse(t, c.stated), mustParse(t, target), extent, Options{Epoch: 2026.4})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if hs[0].Name != c.want || hs[0].Share < 0.99 {
			t.Errorf("%s: the best is %q with %.2f, want %q", c.name, hs[0].Name, hs[0].Share, c.want)
		}
		seen := map[string]bool{}
		for i, h := range hs {
			if seen[h.Name] || h.Name == "" || h.Operation == "" || h.System == nil || len(h.Points) != len(c.points) {
				t.Errorf("%s: hypothesis %d, %q, is not whole", c.name, i, h.Name)
			}
			seen[h.Name] = true
			if i > 0 && h.Share > hs[i-1].Share {
				t.Errorf("%s: %q comes after a worse one", c.name, h.Name)
			}
		}
	}
}

// in27 are places as a NAD27 system has them, by the mean shift.
func in27(t testing.TB, places []orb.Point, system string) []orb.Point {
	op, err := roughOperation(mustParse(t, "EPSG:4269"), mustParse(t, system), -81.5, 40.8, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return through(t, op, places)
}

// Small mistakes show in the shift: its size is known for each.
func TestHypothesesOfMetres(t *testing.T) {
	stated, target := mustParse(t, "EPSG:3734"), mustParse(t, "EPSG:26917")
	places := town(-81.5, 40.8)
	feet := through(t, mustOperation(t, "EPSG:4269", "EPSG:3734", Options{}), places)
	extent := bound(through(t, mustOperation(t, "EPSG:3734", "EPSG:26917", Options{}), feet), 1000)
	hs, err := Hypotheses(feet, stated, target, extent, Options{Epoch: 2026.4})
	if err != nil {
		t.Fatal(err)
	}
	byName := map[string]Hypothesis{}
	for _, h := range hs {
		byName[h.Name] = h
	}
	for _, c := range []struct {
		name     string
		min, max float64 // metres
	}{
		// 2 ppm of 2,245,346 ft and 414,486 ft: 4.57 ft (the feet's definitions)
		{"coordinates in the unit foot, not US survey foot", 1.38, 1.40},
		// NAD83(2011) against ITRF2014: 1.2 m in 2010, 1.4 m in 2025 at 40 N 100 W
		{"ITRF2014 at epoch 2026.4, not NAD83", 1.0, 1.5},
		// NAD27 to NAD83: 10 to 100 m
		{"NAD27, not NAD83", 5, 100},
	} {
		h, found := byName[c.name]
		d := math.Hypot(h.ShiftM[0], h.ShiftM[1])
		if !found || !(d >= c.min && d <= c.max) {
			t.Errorf("%s: found %v, shift %.3f m, want %v to %v", c.name, found, d, c.min, c.max)
		}
	}
	if hs[0].Name != "as stated" {
		t.Errorf("shifts of metres must not win by share: %q did", hs[0].Name)
	}
}

func TestHypothesesRefused(t *testing.T) {
	a, b := mustParse(t, "EPSG:4269"), mustParse(t, "EPSG:26917")
	if _, err := Hypotheses(nil, a, b, orb.Bound{Min: orb.Point{1, 1}, Max: orb.Point{0, 0}}, Options{}); err == nil || !strings.Contains(err.Error(), "empty") {
		t.Errorf("no extent: %v", err)
	}
	if _, err := Hypotheses(nil, mustParse(t, "EPSG:4230"), b, bound([]orb.Point{{457000, 4500000}}, 10), Options{}); err == nil || !strings.Contains(err.Error(), "ED50") {
		t.Errorf("no way: %v", err)
	}
	hs, err := Hypotheses(nil, a, b, bound([]orb.Point{{457000, 4500000}}, 10), Options{})
	if err != nil || hs[0].Name != "as stated" || hs[0].Share != 0 {
		t.Errorf("no points: %v %v", hs, err)
	}
}

// The means of NAD27 are EPSG's, as PROJ's database has them.
func TestNAD27Means(t *testing.T) {
	need(t, "projinfo")
	for _, m := range nad27Means {
		out, err := exec.Command("projinfo", "-q", "-k", "operation", "-o", "PROJ", fmt.Sprintf("EPSG:%d", m.code)).Output()
		want := fmt.Sprintf("+proj=helmert +x=%v +y=%v +z=%v", m.t[0], m.t[1], m.t[2])
		if text := strings.Join(strings.Fields(string(out)), " "); err != nil || !strings.Contains(text, want+" ") {
			t.Errorf("EPSG:%d is %q (%v), want %s", m.code, text, err, want)
		}
	}
}

func ExampleHypotheses() {
	stated, _ := Parse("EPSG:4269")
	target, _ := Parse("EPSG:26917")
	swapped := []orb.Point{{40.80, -81.50}, {40.81, -81.51}} // latitude came first
	extent := orb.Bound{Min: orb.Point{450000, 4510000}, Max: orb.Point{465000, 4525000}}
	hs, err := Hypotheses(swapped, stated, target, extent, Options{})
	fmt.Printf("%s: %.0f %% within (%v)\n", hs[0].Name, 100*hs[0].Share, err)
	// Output: latitude and longitude swapped: 100 % within (<nil>)
}
