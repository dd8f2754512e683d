package crs

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"
)

// Hypothesis is what positions become if their coordinates were not what was
// stated.
type Hypothesis struct {
	Name      string      // what the coordinates would be: "feet, not metres"
	System    *System     // the system that they would be in
	Operation string      // how they reach the target
	Points    []orb.Point // in the target system, as many as were given; NaN where they cannot be
	Share     float64     // of the points that lie within the extent
	// ShiftM is the mean difference from what was stated, metres of a projected
	// target to the east and north; NaN where there is none.
	ShiftM [2]float64
}

// Hypotheses lists what positions become in the target system as stated and
// under every mistake that is plausible there, best first:
//
//   - longitude and latitude, or easting and northing, swapped; a longitude
//     without its sign;
//   - degrees given as a grid's metres, and a grid's coordinates as degrees;
//   - metres, feet and US survey feet taken for each other;
//   - another projected system that is used there: the neighbouring zone of UTM
//     or of the State Plane system, the other unit's definition;
//   - NAD27 for NAD83 and the other way (by a given grid, or else by the mean
//     shift of EPSG:1172, 1173 or 1176, good to 10 to 20 m);
//   - the frame of the continent for that of a satellite receiver (ITRF2014 at
//     the epoch of the options; left out without one), and the other way.
//
// The score is the share of the points that fall within the extent, given in
// the target's coordinates; it separates gross mistakes. Mistakes of a few
// metres have the same share as what was stated, which then stays first: they
// show in ShiftM. Hand over a sample of the points: all are kept for each
// hypothesis.
func Hypotheses(ps []orb.Point, stated, target *System, extent orb.Bound, o Options) ([]Hypothesis, error) {
	lon, lat, err := centre(target, extent)
	if err != nil {
		return nil, err
	}
	op, err := roughOperation(stated, target, lon, lat, o)
	if err != nil {
		return nil, err
	}
	first := evaluate(guess{name: "as stated", system: stated}, op, ps, extent)
	out := []Hypothesis{first}
	for _, g := range guesses(stated, target, lon, lat, o) {
		op, err := roughOperation(g.system, target, lon, lat, o)
		if err != nil {
			continue // an epoch or a grid that nobody gave
		}
		h := evaluate(g, op, ps, extent)
		h.ShiftM = meanShift(first.Points, h.Points, target)
		out = append(out, h)
	}
	slices.SortStableFunc(out, func(a, b Hypothesis) int {
		switch {
		case a.Share > b.Share:
			return -1
		case a.Share < b.Share:
			return 1
		}
		return 0
	})
	return out, nil
}

// guess is a mistake: how to read the coordinates instead.
type guess struct {
	name   string
	system *System
	read   func(orb.Point) orb.Point // nil: as they are
}

func evaluate(g guess, op *Operation, ps []orb.Point, extent orb.Bound) Hypothesis {
	h := Hypothesis{Name: g.name, System: g.system, Operation: op.Name(), Points: make([]orb.Point, len(ps))}
	within := 0
	for i, p := range ps {
		if g.read != nil {
			p = g.read(p)
		}
		q, err := op.Apply(p)
		if err != nil {
			q = orb.Point{nan, nan}
		} else if extent.Contains(q) {
			within++
		}
		h.Points[i] = q
	}
	if len(ps) > 0 {
		h.Share = float64(within) / float64(len(ps))
	}
	return h
}

func meanShift(from, to []orb.Point, s *System) [2]float64 {
	var d [2]float64
	n := 0.
	for i := range from {
		if x, y := to[i][0]-from[i][0], to[i][1]-from[i][1]; finite(x) && finite(y) {
			d[0], d[1], n = d[0]+x, d[1]+y, n+1
		}
	}
	if n == 0 || !s.Projected() {
		return [2]float64{nan, nan}
	}
	return [2]float64{d[0] / n * s.UnitM(), d[1] / n * s.UnitM()}
}

// guesses are the mistakes that are plausible at a place, always in the same
// order.
func guesses(stated, target *System, lon, lat float64, o Options) (out []guess) {
	swap := func(p orb.Point) orb.Point { return orb.Point{p[1], p[0]} }
	if stated.Projected() {
		out = append(out, guess{name: "easting and northing swapped", system: stated, read: swap})
		out = append(out, guess{name: "degrees, not " + stated.Unit(), system: stated.Geographic()})
		for _, u := range []unit{metre, foot, surveyFoot} {
			if u != stated.unit {
				s := *stated
				s.unit, s.code = u, 0
				out = append(out, guess{name: fmt.Sprintf("coordinates in the unit %s, not %s", u.name, stated.unit.name), system: &s})
			}
		}
	} else {
		out = append(out, guess{name: "latitude and longitude swapped", system: stated, read: swap})
		out = append(out, guess{name: "longitude without its sign", system: stated, read: func(p orb.Point) orb.Point { return orb.Point{-p[0], p[1]} }})
	}
	used := usedAt(lon, lat, stated)
	if !slices.ContainsFunc(used, target.same) && !stated.same(target) {
		used = append(used, target)
	}
	for _, s := range used {
		name := "coordinates of " + s.name
		if !stated.Projected() {
			name += ", not degrees"
		}
		out = append(out, guess{name: name, system: s})
	}
	return append(out, frameGuesses(stated, target, o)...)
}

// centre is the middle of an extent in degrees from Greenwich.
func centre(s *System, extent orb.Bound) (lon, lat float64, err error) {
	if extent.IsEmpty() {
		return 0, 0, errors.New("the extent to find positions in is empty")
	}
	lon, lat, err = s.geodetic(extent.Center())
	return lon / radPerDegree, lat / radPerDegree, err
}

// same says whether two systems give every place the same coordinates.
func (s *System) same(o *System) bool { return s.sameDatum(o) && s.sameGrid(o) }

// usedAt are the other projected systems of the table that are used at a place
// or near it: on the stated datum, and where that is NAD83 after them on NAD27.
func usedAt(lon, lat float64, stated *System) (out []*System) {
	c := epsg()
	onDatum := func(match func(*datum) bool) {
		for _, code := range c.codes {
			r := c.projected[code]
			if !match(c.datums[integer(c.geographic[integer(r[2])][2])]) || !near(r, c.conversions[integer(r[3])][1], lon, lat) {
				continue
			}
			if s, err := c.system(code); err == nil && !s.same(stated) {
				out = append(out, s)
			}
		}
	}
	onDatum(func(d *datum) bool { return d.code == stated.datum.code })
	if northAmerican(stated.datum) {
		onDatum(func(d *datum) bool { return d.short == "NAD27" })
	}
	return out
}

// near says whether a place lies in the area of a line of the table, or within
// a degree of it: the next zone begins there. A whole state is often held in
// one zone of UTM, so the next zone counts as near.
func near(r []string, conversion string, lon, lat float64) bool {
	margin := 1.
	if strings.HasPrefix(conversion, "UTM zone") {
		margin = 6
	}
	var a [4]float64
	for i, f := range strings.Fields(r[5]) {
		a[i] = decimal(f)
	}
	east := math.Mod(lon-a[0]+margin+720, 360) // from the western edge
	width := math.Mod(a[2]-a[0]+360, 360)
	if a[2]-a[0] >= 360 {
		width = 360
	}
	return east <= width+2*margin && lat >= a[1]-margin && lat <= a[3]+margin
}

func northAmerican(d *datum) bool { return strings.HasPrefix(d.short, "NAD83") }

// receiverFrames are the frames that go with a continent, for which a
// receiver's ITRF may be taken.
var receiverFrames = []struct{ continent, prefix string }{
	{"NAD83(2011)", "NAD83"}, {"ETRF2014", "ETRS89"}, {"GDA2020", "GDA"},
}

// frameGuesses are the same coordinates in another datum or frame.
func frameGuesses(stated, target *System, o Options) (out []guess) {
	add := func(frame, name string) {
		s, err := stated.InFrame(frame)
		if err != nil || s.sameDatum(stated) {
			return
		}
		out = append(out, guess{name: name, system: s})
	}
	not := ", not " + stated.datum.short
	switch {
	case northAmerican(stated.datum) || northAmerican(target.datum) && stated.datum.short != "NAD27":
		add("NAD27", "NAD27"+not)
	case stated.datum.short == "NAD27":
		add("NAD83", "NAD83"+not)
	}
	for _, f := range receiverFrames {
		if strings.HasPrefix(stated.datum.short, f.prefix) || strings.HasPrefix(target.datum.short, f.prefix) {
			if o.Epoch != 0 {
				add("ITRF2014", fmt.Sprintf("ITRF2014 at epoch %v%s", o.Epoch, not))
			}
			if !strings.HasPrefix(stated.datum.short, f.prefix) {
				add(f.continent, f.continent+not)
			}
		}
	}
	return out
}

// nad27Means are EPSG's mean shifts from NAD27 to WGS 84, for want of a grid:
// metres, good to 10 m (20 m in Canada).
var nad27Means = []struct {
	code                     int
	west, south, east, north float64
	t                        [3]float64
	accuracyM                float64
}{
	{1173, -124.79, 24.41, -66.91, 49.05, [3]float64{-8, 160, 176}, 10},
	{1176, -168.26, 51.3, -129.99, 71.4, [3]float64{-5, 135, 172}, 12},
	{1172, -141.01, 40.04, -47.74, 83.17, [3]float64{-10, 158, 187}, 20},
}

// roughOperation is the operation between two systems, from or to NAD27 by the
// mean shift of the region where no better way is known.
func roughOperation(from, to *System, lon, lat float64, o Options) (*Operation, error) {
	op, err := NewOperationAt(from, to, o)
	if err == nil {
		return op, nil
	}
	for _, m := range nad27Means {
		if lon < m.west || lon > m.east || lat < m.south || lat > m.north {
			continue
		}
		tied := func(s *System) *System {
			if s.datum.short != "NAD27" {
				return s
			}
			return s.bound(&helmert{code: m.code, t: m.t, accuracyM: m.accuracyM})
		}
		if op, err := NewOperationAt(tied(from), tied(to), o); err == nil {
			return op, nil
		}
	}
	return nil, err
}
