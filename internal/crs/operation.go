package crs

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/paulmach/orb"
)

// Operation takes points of one system to another. It never changes and may
// be used from many goroutines.
type Operation struct {
	from, to  *System
	shifts    []shift // of geographic positions, in order
	undo      bool    // shifts lead from to back to from, and are undone
	same      bool    // points go through untouched
	name      string
	accuracyM float64
	notes     []string
}

// shift takes a position from one datum to another. Where it has no value the
// result is NaN.
type shift interface{ apply(g geodetic) geodetic }

// Options say what an operation may need to know beside its two systems.
type Options struct {
	// Epoch is the date of the positions as a decimal year (2026.4), which
	// transformations between frames in motion need. 0: not known; such an
	// operation is then refused.
	Epoch float64
	// Grids are datum shift grids that may be used.
	Grids []*Grid
}

// ErrEpoch says that an operation moves with time and no epoch was given.
var ErrEpoch = errors.New("give the epoch of the positions as a decimal year such as 2026.4")

// NewOperation is NewOperationAt without options.
func NewOperation(from, to *System) (*Operation, error) {
	return NewOperationAt(from, to, Options{})
}

// NewOperationAt finds the operation between two systems: projections, and
// between different datums the most accurate chain of the known
// transformations (the null operations of the package's table, EPSG's Helmert
// transformations, the given grids). There is no identity by default: datums
// that no chain connects are an error that names them.
func NewOperationAt(from, to *System, o Options) (*Operation, error) {
	if from == nil || to == nil {
		return nil, errors.New("an operation needs two coordinate systems")
	}
	if o.Epoch != 0 && !(o.Epoch >= 1970 && o.Epoch <= 2100) {
		return nil, fmt.Errorf("epoch %v is no date of a survey: give a decimal year such as 2026.4", o.Epoch)
	}
	op := &Operation{from: from, to: to}
	if from.sameDatum(to) {
		op.same = from.sameNumbers(to)
		op.name = "no change of datum (" + from.datum.short + ")"
		return op, nil
	}
	way, err := findWay(from.datum.node(), to.datum.node(), o)
	if err != nil {
		return nil, err
	}
	way[len(way)-1].to = to.datum // with the ellipsoid of its own definition
	var parts []string
	at := from.datum
	for _, l := range way {
		if l.helmert != nil && l.helmert.timeDependent() && o.Epoch == 0 {
			return nil, fmt.Errorf("%s to %s moves with time (%s, from %s to %s): %w",
				from.datum.short, to.datum.short, l.name, at.short, l.to.short, ErrEpoch)
		}
		if s := l.shift(at, o.Epoch); s != nil {
			op.shifts = append(op.shifts, s)
		}
		parts = append(parts, l.describe(at, o.Epoch))
		if l.why != "" {
			op.notes = append(op.notes, at.short+" to "+l.to.short+": "+l.why)
		}
		op.accuracyM += l.accuracyM
		at = l.to
	}
	op.same = len(op.shifts) == 0 && from.sameNumbers(to)
	op.name = strings.Join(parts, ", then ") + ", " + accuracyWords(op.accuracyM)
	return op, nil
}

func accuracyWords(m float64) string {
	switch {
	case math.IsNaN(m):
		return "accuracy not stated"
	case m == 0:
		return "exact by definition"
	}
	return fmt.Sprintf("accurate to about %.2g m", m)
}

// node is the datum as the tables know it: a definition may have given it an
// ellipsoid with other last digits.
func (d *datum) node() *datum {
	if k := epsg().datums[d.code]; k != nil && d.toWGS84 == nil {
		return k
	}
	return d
}

// sameDatum says whether two systems rest on one datum.
func (s *System) sameDatum(o *System) bool {
	a, b := s.datum, o.datum
	if a == b || a.code != 0 && a.code == b.code {
		return true
	}
	return a.code == 0 && b.code == 0 && plain(a.name) == plain(b.name) && a.ellipsoid.same(b.ellipsoid) &&
		a.toWGS84 != nil && b.toWGS84 != nil && a.toWGS84.fixed() == b.toWGS84.fixed()
}

// sameGrid says whether two systems give a place the same coordinates, but for
// the digits that writers of definitions drop: 1e-7 m.
func (s *System) sameGrid(o *System) bool {
	if s.method != o.method || s.unit.factor != o.unit.factor || math.Abs(s.meridian.deg-o.meridian.deg) > 1e-12 || !s.datum.ellipsoid.same(o.datum.ellipsoid) {
		return false
	}
	if s.method == nil {
		return true
	}
	a, b := s.values.ordered(), o.values.ordered()
	for r := range roles {
		tolerance := map[byte]float64{'a': 1e-12, 'l': 1e-7, 'n': 1e-14}[r.kind()]
		if (a.has(r) || b.has(r)) && !(math.Abs(a[r]-b[r]) <= tolerance) {
			return false
		}
	}
	return true
}

// sameNumbers says whether a longitude and latitude taken over as they are have
// the same coordinates in two systems: a geographic one needs no ellipsoid.
func (s *System) sameNumbers(o *System) bool {
	if s.Projected() || o.Projected() {
		return s.sameGrid(o)
	}
	return s.unit == o.unit && s.meridian.deg == o.meridian.deg
}

// Name says in words what the operation does and how good it is.
func (o *Operation) Name() string { return o.name }

// AccuracyM is the accuracy of the change of datum in metres, as its source
// states it: 0 where there is none or it is exact by definition, NaN where it
// is not stated.
func (o *Operation) AccuracyM() float64 { return o.accuracyM }

// Notes say of every null operation how far its frames are apart, and on whose
// word they are taken as one.
func (o *Operation) Notes() []string { return o.notes }

// Apply takes one point over. The height above the ellipsoid is taken as 0.
func (o *Operation) Apply(p orb.Point) (orb.Point, error) {
	q, _, err := o.move(p, 0, false)
	return q, err
}

// ApplyHeight takes a point with its height above the ellipsoid, metres, over.
// Null operations and grids leave the height as it is.
func (o *Operation) ApplyHeight(p orb.Point, heightM float64) (orb.Point, float64, error) {
	return o.move(p, heightM, true)
}

func (o *Operation) move(p orb.Point, heightM float64, withHeight bool) (orb.Point, float64, error) {
	if o.same && finite(p[0]) && finite(p[1]) {
		return p, heightM, nil
	}
	lon, lat, err := o.from.geodetic(p)
	if err != nil {
		return orb.Point{}, 0, err
	}
	g := geodetic{lon, lat, heightM}
	if o.undo {
		g = undone{o.shifts, withHeight}.apply(g)
	} else {
		g = applyAll(o.shifts, g)
	}
	if !finite(g.lon) || !finite(g.lat) {
		return orb.Point{}, 0, o.noShift(lon, lat)
	}
	q, err := o.to.point(g.lon, g.lat)
	return q, g.h, err
}

func (o *Operation) noShift(lon, lat float64) error {
	return fmt.Errorf("longitude %.6f, latitude %.6f degrees lies outside the area of %s: give a grid that covers it", lon/radPerDegree, lat/radPerDegree, o.name)
}

// ApplyAll takes points over in place. It stops at the first that it cannot
// take, which the error names by its index; those before it are done.
func (o *Operation) ApplyAll(ps []orb.Point) error {
	for i := range ps {
		q, err := o.Apply(ps[i])
		if err != nil {
			return fmt.Errorf("point %d: %w", i, err)
		}
		ps[i] = q
	}
	return nil
}

// Inverse undoes this very operation, to rounding: what one wrote, the other
// reads back. It is not always the operation that NewOperation finds for the
// way back, since a Helmert transformation of a plane position drops a height.
func (o *Operation) Inverse() *Operation {
	i := *o
	i.from, i.to, i.undo = o.to, o.from, !o.undo
	if len(o.shifts) == 1 && i.undo {
		if u, twice := o.shifts[0].(undone); twice { // a grid backwards, undone: the grid
			i.shifts, i.undo = u.shifts, false
		}
	}
	if name, was := strings.CutPrefix(o.name, "inverse of "); was {
		i.name = name
	} else if len(o.shifts) > 0 || strings.Contains(o.name, ":") {
		i.name = "inverse of " + o.name
	}
	return &i
}

func applyAll(shifts []shift, g geodetic) geodetic {
	for _, s := range shifts {
		g = s.apply(g)
	}
	return g
}

// undone is a chain of shifts backwards: the position that they take to the
// given one, by fixed-point iteration. A shift changes slowly from place to
// place, so every turn gains three digits or more. Without heights, those of
// the sought and of the given position are both the given one: that is what a
// plane position went through.
type undone struct {
	shifts  []shift
	heights bool
}

func (u undone) apply(g geodetic) geodetic {
	p := g
	for range 20 {
		q := applyAll(u.shifts, p)
		dLon, dLat := wrap(g.lon-q.lon), g.lat-q.lat
		p.lon, p.lat = p.lon+dLon, p.lat+dLat
		if u.heights {
			p.h += g.h - q.h
		}
		// A shift changes by less than a thousandth from place to place: the next
		// turn would move p by less than 1e-14, or half a micrometre in a thousand.
		if !(math.Abs(dLon) > 1e-11 || math.Abs(dLat) > 1e-11) {
			return p
		}
	}
	if q := applyAll(u.shifts, p); math.Abs(wrap(g.lon-q.lon)) > 1e-12 || math.Abs(g.lat-q.lat) > 1e-12 {
		return geodetic{nan, nan, nan}
	}
	return p
}
