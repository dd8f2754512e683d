package crs

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// Every system of the tables can be built, named, written and read again.
func TestEverySystemReadsBack(t *testing.T) {
	c := epsg()
	count := 0
	check := func(code int) {
		count++
		s, err := c.system(code)
		if err != nil {
			t.Errorf("EPSG:%d: %v", code, err)
			return
		}
		if s.Name() == "" || s.Datum() == "" || s.Unit() == "" || s.Code() != code {
			t.Errorf("EPSG:%d: name %q, datum %q, unit %q, code %d", code, s.Name(), s.Datum(), s.Unit(), s.Code())
		}
		for _, form := range []*System{s, s.Metres(), s.Geographic()} {
			again, err := Parse(form.Definition())
			if err != nil || !again.sameGrid(form) || !again.sameDatum(form) {
				t.Errorf("EPSG:%d: %q reads as another system (%v)", code, form.Definition(), err)
			}
		}
		written, err := Parse(s.write())
		if err != nil || !written.sameGrid(s) || written.datum.name != s.datum.name || written.datum.ellipsoid != s.datum.ellipsoid {
			t.Errorf("EPSG:%d: %q reads as another system (%v)", code, s.write(), err)
		}
		if m := s.Metres(); s.Projected() && m.UnitM() != 1 || !s.Projected() && m != s {
			t.Errorf("EPSG:%d in metres has the unit %v", code, m.UnitM())
		}
		if g := s.Geographic(); g.Projected() || g.UnitM() != 0 || g.unit != degree || g.meridian != s.meridian {
			t.Errorf("EPSG:%d: base system %v", code, g)
		}
	}
	for _, code := range c.codes {
		check(code)
	}
	for code := range c.geographic {
		check(code)
	}
	if count < 2400 {
		t.Errorf("only %d systems", count)
	}
}

// The systems that the job cannot do without, by what they must be.
func TestSystemsOfTheTable(t *testing.T) {
	for _, c := range []struct {
		code, name, datum string
		unitM             float64
	}{
		{"EPSG:4269", "NAD83", "North American Datum 1983", 0},
		{"EPSG:4326", "WGS 84", "World Geodetic System 1984 ensemble", 0},
		{"EPSG:6318", "NAD83(2011)", "NAD83 (National Spatial Reference System 2011)", 0},
		{"EPSG:26917", "NAD83 / UTM zone 17N", "North American Datum 1983", 1},
		{"EPSG:26717", "NAD27 / UTM zone 17N", "North American Datum 1927", 1},
		{"EPSG:6346", "NAD83(2011) / UTM zone 17N", "NAD83 (National Spatial Reference System 2011)", 1},
		{"EPSG:25832", "ETRS89 / UTM zone 32N", "European Terrestrial Reference System 1989 ensemble", 1},
		{"EPSG:32756", "WGS 84 / UTM zone 56S", "World Geodetic System 1984 ensemble", 1},
		{"EPSG:2264", "NAD83 / North Carolina (ftUS)", "North American Datum 1983", surveyFootM},
		{"EPSG:6549", "NAD83(2011) / Ohio North (ftUS)", "NAD83 (National Spatial Reference System 2011)", surveyFootM},
		{"EPSG:2222", "NAD83 / Arizona East (ft)", "North American Datum 1983", footM},
		{"EPSG:26931", "NAD83 / Alaska zone 1", "North American Datum 1983", 1},
		{"EPSG:32022", "NAD27 / Ohio North", "North American Datum 1927", surveyFootM},
	} {
		s := mustParse(t, c.code)
		if s.Name() != c.name || s.Datum() != c.datum || s.UnitM() != c.unitM || s.Projected() != (c.unitM != 0) {
			t.Errorf("%s: %q on %q, %v m", c.code, s.Name(), s.Datum(), s.UnitM())
		}
	}
	// State Plane of 1983, by realisation and unit: EPSG has them in metres for
	// every zone, in survey feet where a state uses them, and in feet for six states.
	counts := map[string]int{}
	for _, code := range epsg().codes {
		r := epsg().projected[code]
		if name := epsg().conversions[integer(r[3])][1]; strings.HasPrefix(name, "SPCS83") {
			counts[epsg().geographic[integer(r[2])][1]+" "+unitsByCode[integer(r[4])].name]++
		}
	}
	for key, least := range map[string]int{"NAD83 metre": 120, "NAD83 US survey foot": 75, "NAD83 foot": 12, "NAD83(2011) metre": 118, "NAD83(2011) US survey foot": 75, "NAD83(2011) foot": 12} {
		if counts[key] < least {
			t.Errorf("State Plane, %s: %d systems, want %d or more", key, counts[key], least)
		}
	}
}

func TestUTM(t *testing.T) {
	for _, c := range []struct {
		system   string
		lon, lat float64
		want     string
	}{
		{"EPSG:4326", -81.5, 40, "EPSG:32617"},
		{"EPSG:4326", 151.2, -33.9, "EPSG:32756"},
		{"EPSG:3734", -81.5, 40, "EPSG:26917"},
		{"EPSG:6549", -81.5, 40, "EPSG:6346"},
		{"EPSG:4258", 9, 50, "EPSG:25832"},
		{"EPSG:4326", 180, 10, "EPSG:32601"},
		{"EPSG:4326", -180, 10, "EPSG:32601"},
		{"EPSG:4326", 179.99, 10, "EPSG:32660"},
		{"EPSG:4326", 539.99, 0, ""}, // beyond one turn: refused
		{"EPSG:4326", 10, 91, ""},
		{"EPSG:4326", math.NaN(), 10, ""},
	} {
		u, err := UTM(mustParse(t, c.system), c.lon, c.lat)
		if c.want == "" {
			if err == nil {
				t.Errorf("%v, %v gives %s", c.lon, c.lat, u.Name())
			}
			continue
		}
		if err != nil || u.Definition() != c.want {
			t.Errorf("%s at %v, %v: %v (%v), want %s", c.system, c.lon, c.lat, u, err, c.want)
		}
	}
	// A datum for which EPSG has no such zone gets one all the same.
	u, err := UTM(mustParse(t, "EPSG:4277"), -2, 54)
	if err != nil || u.Name() != "OSGB36 / UTM zone 30N" || u.Datum() != mustParse(t, "EPSG:4277").Datum() {
		t.Fatalf("%v %v", u, err)
	}
	if again := mustParse(t, u.Definition()); !again.sameGrid(u) || !again.sameDatum(u) {
		t.Errorf("%q reads as another system", u.Definition())
	}
	scale, _, err := u.Factors(orb.Point{500000, 5983000})
	if err != nil || math.Abs(scale-0.9996) > 1e-12 {
		t.Errorf("scale on the central meridian %v (%v)", scale, err)
	}
}

func TestInFrame(t *testing.T) {
	s, err := mustParse(t, "EPSG:26917").InFrame("ITRF2014")
	if err != nil {
		t.Fatal(err)
	}
	if s.Datum() != "International Terrestrial Reference Frame 2014" || !s.Projected() || s.Name() != "NAD83 / UTM zone 17N on ITRF2014" {
		t.Errorf("%s on %s", s.Name(), s.Datum())
	}
	if again := mustParse(t, s.Definition()); !again.sameDatum(s) || !again.sameGrid(s) {
		t.Errorf("%q reads as another system", s.Definition())
	}
	g, err := mustParse(t, "EPSG:4269").InFrame("ITRF2014")
	if err != nil || g.Projected() || g.Datum() != s.Datum() {
		t.Errorf("%v %v", g, err)
	}
	if _, err := s.InFrame("ITRF1066"); err == nil || !strings.Contains(err.Error(), "ITRF1066") {
		t.Errorf("unknown frame: %v", err)
	}
}

// A point outside what a system can mean is an error that names it.
func TestPointsRefused(t *testing.T) {
	for _, c := range []struct {
		from, to string
		p        orb.Point
		want     string
	}{
		{"EPSG:4269", "EPSG:26917", orb.Point{457320, 4427876}, "no longitude and latitude"},
		{"EPSG:4269", "EPSG:26917", orb.Point{40, -95}, "no longitude and latitude"},
		{"EPSG:4269", "EPSG:26917", orb.Point{nan, 40}, "no longitude and latitude"},
		{"EPSG:4269", "EPSG:26917", orb.Point{100, 40}, "outside what NAD83 / UTM zone 17N can project"},
		{"EPSG:26917", "EPSG:4269", orb.Point{1e9, 1e9}, "outside what NAD83 / UTM zone 17N can mean"},
		{"EPSG:26917", "EPSG:4269", orb.Point{math.Inf(1), 0}, "outside what"},
		{"EPSG:26917", "EPSG:26917", orb.Point{nan, 0}, "outside what"},
		{"EPSG:4258", "EPSG:3035", orb.Point{-170, -52}, "outside what"},
		{"EPSG:3035", "EPSG:4258", orb.Point{3e7, 0}, "outside what"},
		{"EPSG:4269", "EPSG:3734", orb.Point{-82, -90}, "outside what"},
		{"EPSG:4326", "EPSG:3857", orb.Point{10, 90}, ""}, // finite in floating point: 2.4e8 m
	} {
		q, err := mustOperation(t, c.from, c.to, Options{}).Apply(c.p)
		if c.want == "" {
			if err != nil || !finite(q[1]) {
				t.Errorf("%v from %s to %s: %v %v", c.p, c.from, c.to, q, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v from %s to %s: %v, %v; want %q", c.p, c.from, c.to, q, err, c.want)
		}
	}
	if _, _, err := mustParse(t, "EPSG:4269").Factors(orb.Point{-81, 40}); err == nil || !strings.Contains(err.Error(), "geographic") {
		t.Errorf("factors of a geographic system: %v", err)
	}
	if _, _, err := mustParse(t, "EPSG:26917").Factors(orb.Point{1e9, 0}); err == nil {
		t.Error("factors outside the zone")
	}
}

// What a projection does, its inverse undoes, anywhere in the area of use of
// any system.
func TestRoundTripProperty(t *testing.T) {
	codes := epsg().codes
	rapid.Check(t, func(t *rapid.T) {
		s, err := epsg().system(codes[rapid.IntRange(0, len(codes)-1).Draw(t, "system")])
		if err != nil {
			t.Fatal(err)
		}
		west, south, east, north, _ := s.Area()
		if east < west {
			east += 360
		}
		p := orb.Point{rapid.Float64Range(west, east).Draw(t, "lon"), rapid.Float64Range(south, north).Draw(t, "lat")}
		if p[0] > 180 {
			p[0] -= 360
		}
		p[0] -= s.meridian.deg
		op, err := NewOperation(s.Geographic(), s)
		if err != nil {
			t.Fatal(err)
		}
		q, err := op.Apply(p)
		if err != nil {
			t.Fatal(err)
		}
		r, err := op.Inverse().Apply(q)
		if err != nil || math.Abs(r[1]-p[1]) > 1e-9 || math.Abs(wrap((r[0]-p[0])*radPerDegree))*math.Cos(p[1]*radPerDegree) > 1e-9*radPerDegree {
			t.Fatalf("%s: %v back at %v (%v)", s.Name(), p, r, err)
		}
	})
}

func Example() {
	field, _ := Parse("EPSG:4269")   // NAD83, longitude and latitude
	records, _ := Parse("EPSG:3734") // NAD83 / Ohio North, US survey feet
	op, err := NewOperation(field, records)
	if err != nil {
		fmt.Println(err)
		return
	}
	p, err := op.Apply(orb.Point{-81.5, 40.8})
	fmt.Printf("%s\n%.3f E, %.3f N (%v)\n", op.Name(), p[0], p[1], err)
	// Output:
	// no change of datum (NAD83)
	// 2245346.307 E, 414486.406 N (<nil>)
}

func ExampleUTM() {
	s, _ := Parse("EPSG:3734")
	u, _ := UTM(s, -81.5, 40.8)
	fmt.Println(u.Name(), u.Definition())
	// Output: NAD83 / UTM zone 17N EPSG:26917
}

func ExampleSystem_Factors() {
	s, _ := Parse("EPSG:26917")
	scale, convergence, _ := s.Factors(orb.Point{457320.055, 4427876.924})
	fmt.Printf("scale %.6f, convergence %.4f degrees\n", scale, convergence*180/math.Pi)
	// Output: scale 0.999622, convergence -0.3214 degrees
}

// The same grid in another unit has the same places, and reads back; units that
// writers round are what they mean.
func TestInUnit(t *testing.T) {
	utm := mustParse(t, "EPSG:26917")
	feet, err := utm.InUnit(0.3048006096)
	if err != nil || feet.UnitM() != surveyFootM || feet.Unit() != "US survey foot" {
		t.Fatalf("%v, %v", feet, err)
	}
	p := orb.Point{457822.3026, 4516675.8047}
	for _, s := range []*System{feet, mustParse(t, feet.Definition())} {
		q, err := mustOp(t, utm, s).Apply(p)
		if err != nil || math.Abs(q[0]*surveyFootM-p[0]) > 1e-9 || math.Abs(q[1]*surveyFootM-p[1]) > 1e-8 {
			t.Errorf("%s: %v, %v", s.Name(), q, err)
		}
	}
	if s, err := utm.InUnit(1); err != nil || s != utm {
		t.Errorf("its own unit: %v, %v", s, err)
	}
	for _, c := range []struct {
		s    *System
		unit float64
	}{{utm, 0}, {utm, nan}, {mustParse(t, "EPSG:4269"), 1}} {
		if s, err := c.s.InUnit(c.unit); err == nil {
			t.Errorf("unit %v of %s gives %s", c.unit, c.s.Name(), s.Name())
		}
	}
}

func mustOp(t *testing.T, from, to *System) *Operation {
	t.Helper()
	op, err := NewOperation(from, to)
	if err != nil {
		t.Fatal(err)
	}
	return op
}
