package crs

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"sync"
)

// link is a way between two datums; its shift is nil for a null operation.
type link struct {
	to        *datum
	name      string // "null operation", "EPSG:8970 at epoch 2026.5"
	why       string
	accuracyM float64 // NaN not stated
	costM     float64 // what the search weighs
	helmert   *helmert
	grid      *Grid
	backwards bool
	plate     bool // takes WGS 84 for a frame that moves with its plate
}

// describe says in words what a link does.
func (l link) describe(at *datum, epoch float64) string {
	text := at.short + " to " + l.to.short + ": " + l.name
	if l.backwards && (l.grid != nil || l.helmert != nil && !l.helmert.isNull()) {
		text += " in reverse"
	}
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

// links are the ways out of every datum that the tables know, by EPSG code of
// the datum.
type links map[int][]link

func (l links) add(a, b *datum, forth link) {
	forth.to = b
	forth.plate = onPlate(a, b) || onPlate(b, a)
	back := forth
	back.to, back.backwards = a, true
	l[a.code] = append(l[a.code], forth)
	l[b.code] = append(l[b.code], back)
}

// onPlate says whether a link from a to b takes WGS 84, which moves with no
// plate, for a frame that does: all links do, but those to its realisations.
func onPlate(a, b *datum) bool {
	return b.code == 6326 && !strings.HasPrefix(a.short, "WGS 84 (")
}

// cost is an accuracy as the search for a way counts it: not stated is worse
// than any stated, and every step costs a little.
func cost(accuracyM float64) float64 {
	if math.IsNaN(accuracyM) {
		return 100
	}
	return accuracyM + 0.002
}

// known are the links of the embedded tables, read once.
var known = sync.OnceValue(func() links {
	c, l := epsg(), links{}
	for i, n := range nullOperations {
		a, b := c.frame(n.from), c.frame(n.to)
		if a == nil || b == nil { // a test sees that every name is known
			continue
		}
		k := link{name: "null operation", why: n.why + " (" + n.source + ")", accuracyM: n.accuracyM, costM: cost(n.accuracyM) + 1e-6*float64(i)}
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
	switch {
	case h.timeDependent():
		kind = "14-parameter transformation"
	case h.r == [3]float64{} && h.s == 0:
		kind = "3-parameter transformation"
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

// findWay is the chain of links of least cost between two datums. It either
// goes by frames in motion, at an epoch, or takes WGS 84 for a frame that moves
// with its plate, but not both: the second would throw away what the first won.
func findWay(from, to *datum, o Options) ([]link, error) {
	still := search(from, to, o.Grids, func(l link) bool { return l.helmert == nil || !l.helmert.timeDependent() })
	moving := search(from, to, o.Grids, func(l link) bool { return !l.plate })
	switch {
	case still == nil && moving == nil:
		return nil, fmt.Errorf("no transformation from %s (%s) to %s (%s) is known: give a grid (.gsb) between them, or bring the data to a system on %s first",
			from.short, from.name, to.short, to.name, to.short)
	case still == nil || moving != nil && moving.cost < still.cost:
		return moving.links, nil
	}
	return still.links, nil
}

// way is a chain of links from where a search began.
type way struct {
	cost  float64
	links []link
}

// search is the method of Bellman and Ford, a link a round: chains are short
// and the graph is small.
func search(from, to *datum, grids []*Grid, allowed func(link) bool) *way {
	extra := links{}
	for _, g := range grids {
		extra.add(g.from, g.to, link{name: "grid " + g.name, accuracyM: g.AccuracyM, costM: 0.001, grid: g})
	}
	best := map[*datum]way{from: {}}
	for range maxSteps {
		next := maps.Clone(best)
		for _, d := range ordered(best) {
			for _, l := range waysOut(d, to, extra) {
				if !allowed(l) {
					continue
				}
				c := best[d].cost + l.costM
				if old, seen := next[l.to]; !seen || c < old.cost-1e-12 {
					next[l.to] = way{c, append(slices.Clone(best[d].links), l)}
				}
			}
		}
		best = next
	}
	if w, found := best[to]; found {
		return &w
	}
	return nil
}

// waysOut are the links from a datum: the tables' and the given grids', but for
// a datum whose definition brings its own transformation only that.
func waysOut(d, to *datum, extra links) []link {
	own := func(h *helmert, to *datum, backwards bool) link {
		return link{to: to, name: h.title(), accuracyM: h.accuracyM, costM: 0.001, helmert: h, backwards: backwards}
	}
	wgs84 := epsg().datums[6326]
	if d.toWGS84 != nil {
		return []link{own(d.toWGS84, wgs84, false)}
	}
	out := append(slices.Clone(extra[d.code]), known()[d.code]...)
	if d == wgs84 && to.toWGS84 != nil {
		out = append(out, own(to.toWGS84, to, true))
	}
	return out
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
