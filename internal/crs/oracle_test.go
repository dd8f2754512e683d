package crs

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/paulmach/orb"
)

// The oracle of these tests is PROJ (Debian: proj-bin), a general-purpose
// program of other authors.

func slow() bool { return os.Getenv("ASFOUND_SLOW") == "1" }

// need finds a program, or skips, or with ASFOUND_ORACLES=1 fails.
func need(t *testing.T, program string) {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		if os.Getenv("ASFOUND_ORACLES") == "1" {
			t.Fatalf("%s is missing: install proj-bin", program)
		}
		t.Skipf("%s is not installed (Debian: proj-bin): PROJ is not asked", program)
	}
}

// ask runs a PROJ program on lines of input and reads numbers back.
func ask(input string, program string, args ...string) ([][]float64, error) {
	cmd := exec.Command(program, args...)
	cmd.Env = append(os.Environ(), "PROJ_NETWORK=OFF")
	cmd.Stdin = strings.NewReader(input)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("%s %s: %v %s", program, strings.Join(args, " "), err, stderr.String())
	}
	var rows [][]float64
	for line := range strings.Lines(string(out)) {
		var row []float64
		for _, f := range strings.Fields(line) {
			v, err := strconv.ParseFloat(f, 64)
			if err != nil {
				v = nan
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// within are n random positions in the area of use, in degrees from
// Greenwich, always the same for a system.
func within(s *System, n int) []orb.Point {
	w, south, e, north, known := s.Area()
	if !known {
		w, south, e, north = -180, -80, 180, 80
	}
	if e < w {
		e += 360
	}
	rng := rand.New(rand.NewPCG(uint64(s.code), 7))
	out := make([]orb.Point, n)
	for i := range out {
		lon := w + rng.Float64()*(e-w)
		if lon > 180 {
			lon -= 360
		}
		out[i] = orb.Point{lon, south + rng.Float64()*(north-south)}
	}
	return out
}

// shared groups the projected systems of the table by what decides their
// numbers: conversion, ellipsoid, meridian and unit.
func shared() (groups [][]int) {
	c := epsg()
	place := map[string]int{}
	for _, code := range c.codes {
		r := c.projected[code]
		d := c.datums[integer(c.geographic[integer(r[2])][2])]
		key := fmt.Sprint(r[3], d.ellipsoid, c.datumMeridian[d.code], c.geographic[integer(r[2])][3], r[4])
		if _, seen := place[key]; !seen {
			place[key] = len(groups)
			groups = append(groups, nil)
		}
		groups[place[key]] = append(groups[place[key]], code)
	}
	return groups
}

// TestSystemsAgainstPROJ compares every projected system of the table with
// PROJ over its area of use. Systems that share all their numbers are asked
// for once, and compared with each other; with ASFOUND_SLOW=1 each is asked
// for, with 2,000 points.
func TestSystemsAgainstPROJ(t *testing.T) {
	need(t, "cs2cs")
	n, groups := 50, shared()
	if slow() {
		n = 2000
		groups = nil
		for _, code := range epsg().codes {
			groups = append(groups, []int{code})
		}
	}
	var wg sync.WaitGroup
	work := make(chan []int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for g := range work {
				againstPROJ(t, g, n)
			}
		})
	}
	for _, g := range groups {
		work <- g
	}
	close(work)
	wg.Wait()
	t.Logf("%d systems in %d groups, %d points each", len(epsg().codes), len(groups), n)
}

// againstPROJ compares n points of a group of systems that share their numbers,
// there and back, and gives the largest difference from PROJ in metres.
func againstPROJ(t *testing.T, group []int, n int) (worst float64) {
	s, err := epsg().system(group[0])
	if err != nil {
		t.Error(err)
		return nan
	}
	for _, code := range group[1:] {
		o, err := epsg().system(code)
		if err != nil {
			t.Error(err)
		} else if !s.sameGrid(o) || s.datum.ellipsoid != o.datum.ellipsoid {
			t.Errorf("%s and %s share their numbers in the table, and are not the same", s.name, o.name)
		}
	}
	base, err := epsg().system(integer(epsg().projected[group[0]][2]))
	if err != nil {
		t.Error(err)
		return nan
	}
	ps := within(s, n)
	if s.method.code == 9830 {
		// PROJ 9.1 has no variant C; TestPolarStereographicC has its published example.
		t.Logf("%s: PROJ cannot project it (%s)", s.definition, s.method.name)
		return nan
	}
	var input strings.Builder
	for i, p := range ps { // cs2cs reads degrees, whatever the unit of the system
		fmt.Fprintf(&input, "%.14f %.14f\n", p[1], p[0]-base.meridian.deg)
		ps[i] = orb.Point{(p[0] - base.meridian.deg) * degree.factor / base.unit.factor, p[1] * degree.factor / base.unit.factor}
	}
	want, err := ask(input.String(), "cs2cs", "-f", "%.9f", base.definition, s.definition)
	if err != nil || len(want) != n {
		t.Errorf("%s: %d of %d lines, %v", s.definition, len(want), n, err)
		return nan
	}
	op, err := NewOperation(base, s)
	if err != nil {
		t.Error(err)
		return nan
	}
	east, north := 0, 1
	back := op.Inverse()
	for i, p := range ps {
		got, err := op.Apply(p)
		if err != nil || len(want[i]) < 2 {
			t.Errorf("%s at %v: %v", s.name, p, err)
			return nan
		}
		if i == 0 && math.Abs(want[0][0]-got[1])+math.Abs(want[0][1]-got[0]) < 1 {
			east, north = 1, 0 // EPSG puts northing first
		}
		dx, dy := (got[0]-want[i][east])*s.unit.factor, (got[1]-want[i][north])*s.unit.factor
		tolerance := 1e-6
		if s.method.code == 9820 && math.Abs(p[1]) > 89.5 {
			tolerance = 1e-4 // PROJ loses digits here; TestNearThePole has them
		}
		worst = max(worst, math.Hypot(dx, dy))
		if !(math.Abs(dx) < tolerance && math.Abs(dy) < tolerance) {
			t.Errorf("%s %s (%s) at %.9f, %.9f: %.9f, %.9f; PROJ %.9f, %.9f", s.definition, s.name, s.method.name, p[0], p[1], got[0], got[1], want[i][east], want[i][north])
			return nan
		}
		r, err := back.Apply(got)
		if !(math.Abs(r[1]-p[1]) < 1e-9 && math.Abs(wrap((r[0]-p[0])*radPerDegree)) < 1e-9*radPerDegree) || err != nil {
			t.Errorf("%s (%s) at %.9f, %.9f: back at %.12f, %.12f (%v)", s.name, s.method.name, p[0], p[1], r[0], r[1], err)
			return nan
		}
	}
	return worst
}
