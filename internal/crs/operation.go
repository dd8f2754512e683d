package crs

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

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
		op.same = from.sameGrid(to)
		op.name = "no change of datum (" + from.datum.short + ")"
		return op, nil
	}
	way, err := findWay(from.datum, to.datum, o)
	if err != nil {
		return nil, err
	}
	var parts []string
	at := from.datum
	for _, l := range way {
		if l.helmert != nil && l.helmert.timeDependent() && o.Epoch == 0 {
			return nil, fmt.Errorf("%s to %s moves with time (%s, from %s to %s): give the epoch of the positions as a decimal year such as 2026.4",
				from.datum.short, to.datum.short, l.name, at.short, l.to.short)
		}
		if s := l.shift(at, o.Epoch); s != nil {
			op.shifts = append(op.shifts, s)
		}
		parts = append(parts, l.describe(at, o.Epoch))
		op.accuracyM += l.accuracyM
		at = l.to
	}
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

// describe says in words what a link does.
func (l link) describe(at *datum, epoch float64) string {
	text := at.short + " to " + l.to.short + ": " + l.name
	if l.helmert != nil && l.helmert.timeDependent() {
		text += fmt.Sprintf(" at epoch %v", epoch)
	}
	return text
}

// shift is what a link does to positions; nil for nothing.
func (l link) shift(at *datum, epoch float64) shift {
	switch {
	case l.helmert != nil && l.backwards:
		return newHelmertShift(l.helmert.at(epoch), at.ellipsoid, l.to.ellipsoid, true)
	case l.helmert != nil:
		return newHelmertShift(l.helmert.at(epoch), at.ellipsoid, l.to.ellipsoid, false)
	case l.grid != nil && l.backwards:
		return undone{shifts: []shift{l.grid}}
	case l.grid != nil:
		return l.grid
	}
	return nil
}

// sameDatum says whether two systems rest on one datum.
func (s *System) sameDatum(o *System) bool {
	a, b := s.datum, o.datum
	if a == b || a.code != 0 && a.code == b.code {
		return true
	}
	return a.code == 0 && b.code == 0 && plain(a.name) == plain(b.name) && a.ellipsoid.same(b.ellipsoid) &&
		a.toWGS84 != nil && b.toWGS84 != nil && *a.toWGS84 == *b.toWGS84
}

// sameGrid says whether two systems on one datum give a place the same
// coordinates.
func (s *System) sameGrid(o *System) bool {
	if s.method != o.method || s.unit.factor != o.unit.factor || s.meridian.deg != o.meridian.deg {
		return false
	}
	for r := range s.values {
		if s.method != nil && s.values[r] != o.values[r] && !(math.IsNaN(s.values[r]) && math.IsNaN(o.values[r])) {
			return false
		}
	}
	return true
}

// Name says in words what the operation does and how good it is.
func (o *Operation) Name() string { return o.name }

// AccuracyM is the accuracy of the change of datum in metres, as its source
// states it: 0 where there is none or it is exact by definition, NaN where it
// is not stated.
func (o *Operation) AccuracyM() float64 { return o.accuracyM }

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
		if !(math.Abs(dLon) > 1e-15 || math.Abs(dLat) > 1e-15) {
			return p
		}
	}
	if q := applyAll(u.shifts, p); math.Abs(wrap(g.lon-q.lon)) > 1e-12 || math.Abs(g.lat-q.lat) > 1e-12 {
		return geodetic{nan, nan, nan}
	}
	return p
}

// known are the links of the embedded tables, read once.
var known = sync.OnceValue(func() links {
	c, l := epsg(), links{}
	for i, n := range nullOperations {
		a, b := c.frame(n.from), c.frame(n.to)
		if a == nil || b == nil { // a test sees that every name is known
			continue
		}
		k := link{name: "null operation", why: n.why, accuracyM: n.accuracyM, costM: cost(n.accuracyM) + 1e-6*float64(i)}
		if n.why == aligned {
			k.helmert = &helmert{}
		}
		l.add(a, b, k)
	}
	for _, r := range table("helmert") {
		h, source, target, err := parseHelmert(r)
		if err != nil {
			panic(err) // a build with broken tables
		}
		l.add(c.datums[source], c.datums[target], link{name: h.title(), accuracyM: h.accuracyM, costM: cost(h.accuracyM), helmert: h})
	}
	return l
})

func (h *helmert) title() string {
	kind := "7-parameter transformation"
	if h.timeDependent() {
		kind = "14-parameter transformation"
	}
	if h.code == 0 {
		return h.name
	}
	return fmt.Sprintf("%s EPSG:%d", kind, h.code)
}

// frame is the datum of a geographic system's EPSG name.
func (c *catalogue) frame(name string) *datum {
	r, ok := c.geographic[c.geoByName[plain(name)]]
	if !ok {
		return nil
	}
	return c.datums[integer(r[2])]
}

// maxSteps is the longest chain of transformations that is looked for.
const maxSteps = 4

// findWay is the chain of links of least cost between two datums.
func findWay(from, to *datum, o Options) ([]link, error) {
	extra := links{}
	for _, g := range o.Grids {
		extra.add(g.from, g.to, link{name: "grid " + g.name, accuracyM: g.AccuracyM, costM: 0.001, grid: g})
	}
	wgs := epsg().datums[6326]
	out := func(d *datum) []link {
		if d.toWGS84 != nil { // the definition's own transformation is the only way
			return []link{{to: wgs, name: d.toWGS84.title(), accuracyM: d.toWGS84.accuracyM, costM: 0.001, helmert: d.toWGS84}}
		}
		ls := append(slices.Clone(extra[d.code]), known()[d.code]...)
		if d == wgs && to.toWGS84 != nil {
			ls = append(ls, link{to: to, name: to.toWGS84.title(), accuracyM: to.toWGS84.accuracyM, costM: 0.001, helmert: to.toWGS84, backwards: true})
		}
		return ls
	}
	type state struct {
		cost float64
		way  []link
	}
	best := map[*datum]state{from: {}}
	// Bellman and Ford, a step a round: chains are short and the graph small.
	for range maxSteps {
		next := map[*datum]state{}
		for d, s := range best {
			next[d] = s
		}
		for _, d := range ordered(best) {
			s := best[d]
			for _, l := range out(d) {
				if l.to != to && to.toWGS84 != nil && l.to.code == to.code && l.to.code != 0 {
					continue // the bound twin of the same datum is meant
				}
				c := s.cost + l.costM
				if old, seen := next[l.to]; !seen || c < old.cost-1e-12 {
					next[l.to] = state{c, append(slices.Clone(s.way), l)}
				}
			}
		}
		best = next
	}
	if s, found := best[to]; found {
		return s.way, nil
	}
	return nil, fmt.Errorf("no transformation from %s (%s) to %s (%s) is known: give a grid (.gsb) between them, or bring the data to a system on %s first",
		from.short, from.name, to.short, to.name, to.short)
}

// ordered are the datums reached so far, always in the same order.
func ordered[V any](m map[*datum]V) []*datum {
	out := make([]*datum, 0, len(m))
	for d := range m {
		out = append(out, d)
	}
	slices.SortFunc(out, func(a, b *datum) int {
		if a.code != b.code {
			return a.code - b.code
		}
		return strings.Compare(a.name, b.name)
	})
	return out
}
