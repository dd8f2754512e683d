package crs

import (
	"math"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"testing"
)

var dialects = []string{"WKT1:GDAL", "WKT1:ESRI", "WKT2:2015", "WKT2:2019"}

// TestDefinitionsFromPROJ reads what PROJ writes for the table's systems in
// every dialect, and wants the system of the code back. By default a system of
// every method and unit is tried and one in twelve of the others.
func TestDefinitionsFromPROJ(t *testing.T) {
	need(t, "projinfo")
	seen := map[string]bool{}
	var codes []int
	for i, g := range shared() {
		s, err := epsg().system(g[0])
		if err != nil {
			t.Fatal(err)
		}
		key := s.Method() + s.Unit() + s.meridian.name
		if slow() || !seen[key] || i%12 == 0 {
			codes = append(codes, g[0])
		}
		seen[key] = true
	}
	for code := range epsg().geographic {
		if slow() || code == 4326 || code == 4269 || code == 6318 || code == 4258 || code == 4807 || code == 4277 {
			codes = append(codes, code)
		}
	}
	var wg sync.WaitGroup
	work := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for code := range work {
				definitionFromPROJ(t, code)
			}
		})
	}
	for _, code := range codes {
		work <- code
	}
	close(work)
	wg.Wait()
	t.Logf("%d systems in %d dialects", len(codes), len(dialects))
}

// renamed are systems that PROJ writes under the name of another datum.
var renamed = map[int]string{
	9754: "its ESRI form is on D_WGS_1984, which names the ensemble",
	9755: "its ESRI form is on D_WGS_1984, which names the ensemble",
	4698: "its ESRI form is on the name of its deprecated twin",
	4640: "its ESRI form is on the name of its twin",
	4973: "its ESRI form is on the name of its twin",
	4631: "its ESRI form is on the name of its twin",
	5359: "its ESRI form is on the name of a later realisation",
	5360: "its ESRI form is on the name of a later realisation",
}

func definitionFromPROJ(t *testing.T, code int) {
	want, err := epsg().system(code)
	if err != nil {
		t.Error(err)
		return
	}
	args := []string{"--single-line", "-o", strings.Join(dialects, ","), want.definition}
	out, err := exec.Command("projinfo", args...).Output()
	if err != nil && len(out) == 0 {
		t.Errorf("projinfo %s: %v", want.definition, err)
		return
	}
	if reason := renamed[code]; reason != "" {
		t.Logf("%s not compared: %s", want.definition, reason)
		return
	}
	for _, line := range strings.Split(string(out), "\n") {
		if !strings.Contains(line, "[") {
			continue
		}
		got, err := Parse(line)
		if err != nil {
			t.Errorf("%s: %v\n%s", want.definition, err, line)
			continue
		}
		// PROJ writes some methods as others (Mercator A as B): the numbers count.
		if diff := difference(got, want); diff != "" && !agree(got, want) {
			t.Errorf("%s: %s\n%s", want.definition, diff, line)
		}
	}
}

// agree says whether two systems on one datum give the same coordinates.
func agree(a, b *System) bool {
	if !a.sameDatum(b) {
		return false
	}
	op, err := NewOperation(a.Geographic(), a)
	if err != nil {
		return false
	}
	op2, err := NewOperation(b.Geographic(), b)
	if err != nil {
		return false
	}
	for _, p := range within(b, 20) {
		q, err := op.Apply(p)
		q2, err2 := op2.Apply(p)
		if err != nil || err2 != nil || !(math.Hypot(q[0]-q2[0], q[1]-q2[1]) < 1e-6) {
			return false
		}
	}
	return true
}

// difference says in what two systems differ by more than the digits that
// writers drop.
func difference(a, b *System) string {
	switch {
	case a.method != b.method:
		return "method " + a.Method() + ", want " + b.Method()
	case a.unit.factor != b.unit.factor:
		return "unit " + a.unit.name + ", want " + b.unit.name
	case math.Abs(a.meridian.deg-b.meridian.deg) > 1e-7:
		return "meridian " + a.meridian.name + ", want " + b.meridian.name
	case !a.sameDatum(b) && a.datum.name != b.datum.name && // a deprecated twin
		!(strings.HasPrefix(b.datum.name, a.datum.name+" (") && b.meridian.deg != 0):
		return "datum " + a.datum.name + ", want " + b.datum.name
	case a.datum.ellipsoid != b.datum.ellipsoid:
		return "ellipsoid"
	}
	for r := range roles {
		if a.method == nil || math.IsNaN(a.values[r]) && math.IsNaN(b.values[r]) {
			continue
		}
		d := a.values[r] - b.values[r]
		if r.kind() == 'a' {
			d = wrap(d*radPerDegree) / radPerDegree
		}
		if tolerance := map[byte]float64{'a': 2e-12, 'l': 1e-6, 'n': 1e-13}[r.kind()]; !(math.Abs(d) <= tolerance) {
			return nameOf(r, 0).name + " " + number(a.values[r]) + ", want " + number(b.values[r])
		}
	}
	return ""
}
