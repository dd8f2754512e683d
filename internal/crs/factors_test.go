package crs

import (
	"fmt"
	"math"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// onePerMethod is a system of the table for every method and unit.
func onePerMethod(t *testing.T) (out []*System) {
	seen := map[string]bool{}
	for _, code := range epsg().codes {
		s, err := epsg().system(code)
		if err != nil {
			t.Fatal(err)
		}
		if key := s.Method() + s.Unit(); !seen[key] {
			seen[key] = true
			out = append(out, s)
		}
	}
	return out
}

// TestFactorsAgainstDerivatives compares scale and convergence with numerical
// derivatives of the projection: short steps on the ellipsoid to the north and
// east, measured in the grid.
func TestFactorsAgainstDerivatives(t *testing.T) {
	methodsSeen := map[string]bool{}
	for _, s := range onePerMethod(t) {
		methodsSeen[s.Method()] = true
		el := s.datum.ellipsoid
		for _, p := range within(s, 40) {
			lon, lat := (p[0]-s.meridian.deg)*radPerDegree, p[1]*radPerDegree
			if math.Abs(p[1]) > 89.9 {
				continue
			}
			const h = 1e-5
			diff := func(dLon, dLat float64) (x, y float64) {
				x1, y1 := s.projection.forward(lon+dLon, lat+dLat)
				x2, y2 := s.projection.forward(lon-dLon, lat-dLat)
				return x1 - x2, y1 - y2
			}
			sin := math.Sin(lat)
			nu := el.primeVertical(sin)
			rho := el.a * (1 - el.e2) / math.Pow(1-el.e2*sin*sin, 1.5)
			ex, ey := diff(h, 0)
			nx, ny := diff(0, h)
			ex, ey, nx, ny = ex/(2*h*nu*math.Cos(lat)), ey/(2*h*nu*math.Cos(lat)), nx/(2*h*rho), ny/(2*h*rho)
			wantScale := math.Sqrt(ex*ny - ey*nx) // square root of the areal scale
			wantConvergence := -math.Atan2(nx, ny)
			if s.Conformal() {
				if k, m := math.Hypot(ex, ey), math.Hypot(nx, ny); math.Abs(k-m) > 1e-7 {
					t.Errorf("%s is said to be conformal, with scales %v and %v", s.Method(), k, m)
				}
			}
			x, y := s.projection.forward(lon, lat)
			scale, convergence, err := s.Factors(orb.Point{x / s.unit.factor, y / s.unit.factor})
			if err != nil || math.Abs(scale-wantScale) > 1e-7 || math.Abs(wrap(convergence-wantConvergence)) > 1e-7 {
				t.Errorf("%s (%s) at %.6f: scale %.9f, by derivative %.9f; convergence %.9f, by derivative %.9f (%v)",
					s.definition, s.Method(), p, scale, wantScale, convergence, wantConvergence, err)
				break
			}
		}
	}
	for _, m := range methods {
		if !methodsSeen[m.name] {
			t.Errorf("no system of the table uses %s", m.name)
		}
	}
}

var (
	convergenceLine = regexp.MustCompile(`Convergence\s*:.*?\[\s*(-?[0-9.e+-]+)\s*\]`)
	arealLine       = regexp.MustCompile(`Areal scale.*?:\s*([0-9.]+)`)
)

// TestFactorsAgainstPROJ compares with what proj -V prints; it takes its
// derivatives numerically and prints 8 decimals of scale, so the bar is lower.
func TestFactorsAgainstPROJ(t *testing.T) {
	need(t, "proj")
	need(t, "projinfo")
	for _, s := range onePerMethod(t) {
		if s.method.code == 9830 || s.method.code == 1024 || s.method.code == 1051 {
			continue // PROJ: no variant C; factors of the sphere only; scale of its own ellipsoid
		}
		out, err := exec.Command("projinfo", "-q", "-o", "PROJ", s.definition).Output()
		if err != nil {
			t.Errorf("%s: %v", s.definition, err)
			continue
		}
		args := strings.Fields(strings.Replace(string(out), "+type=crs", "", 1))
		var in strings.Builder
		ps := within(s, 5)
		for _, p := range ps {
			fmt.Fprintf(&in, "%.12f %.12f\n", p[0], p[1])
		}
		cmd := exec.Command("proj", append([]string{"-V"}, args...)...)
		cmd.Stdin = strings.NewReader(in.String())
		out, err = cmd.Output()
		cs, as := convergenceLine.FindAllSubmatch(out, -1), arealLine.FindAllSubmatch(out, -1)
		if err != nil || len(cs) != len(ps) || len(as) != len(ps) {
			t.Errorf("%s: proj -V said %q (%v)", s.definition, out, err)
			continue
		}
		for i, p := range ps {
			x, y := s.projection.forward((p[0]-s.meridian.deg)*radPerDegree, p[1]*radPerDegree)
			scale, convergence, err := s.Factors(orb.Point{x / s.unit.factor, y / s.unit.factor})
			if err != nil || math.Abs(scale*scale-decimal(string(as[i][1]))) > 3e-7 || math.Abs(convergence/radPerDegree-decimal(string(cs[i][1]))) > 2e-5 {
				t.Errorf("%s (%s) at %.6f: areal scale %.8f, PROJ %s; convergence %.8f degrees, PROJ %s (%v)",
					s.definition, s.Method(), p, scale*scale, as[i][1], convergence/radPerDegree, cs[i][1], err)
			}
		}
	}
}

// Published by hand for the sign: east of the central meridian of a northern
// zone grid north lies east of true north, by (lon - lon0) sin lat to first
// order (Guidance Note 373-07-02 and every surveying handbook).
func TestConvergenceSign(t *testing.T) {
	s := mustParse(t, "EPSG:26917")
	for _, c := range []struct{ lon, lat float64 }{{-80, 40}, {-82, 40}, {-80, 10}} {
		x, y := s.projection.forward(c.lon*radPerDegree, c.lat*radPerDegree)
		_, got, err := s.Factors(orb.Point{x, y})
		want := (c.lon + 81) * radPerDegree * math.Sin(c.lat*radPerDegree)
		if err != nil || math.Abs(got-want) > 1e-5 {
			t.Errorf("at %v: convergence %v, first order %v (%v)", c, got, want, err)
		}
	}
}

func TestFactorsAtThePole(t *testing.T) {
	for _, c := range []struct {
		code  string
		p     orb.Point
		scale float64
	}{
		{"EPSG:32661", orb.Point{2000000, 2000000}, 0.994},
		{"EPSG:32761", orb.Point{2000000, 2000000}, 0.994},
		{"EPSG:3571", orb.Point{0, 0}, 1},
	} {
		scale, _, err := mustParse(t, c.code).Factors(c.p)
		if err != nil || math.Abs(scale-c.scale) > 1e-12 {
			t.Errorf("%s at the pole: scale %v, want %v (%v)", c.code, scale, c.scale, err)
		}
	}
}
