package starter

import (
	"cmp"
	"slices"
	"strings"
)

// assigned says which column feeds which quantity.
type assigned map[string]*profile

// has says whether all of some quantities have a column.
func (a assigned) has(keys ...string) bool {
	return !slices.ContainsFunc(keys, func(k string) bool { return a[k] == nil })
}

// hasAny says whether one of them has.
func (a assigned) hasAny(keys ...string) bool {
	return slices.ContainsFunc(keys, func(k string) bool { return a[k] != nil })
}

// uses says whether a column feeds something.
func (a assigned) uses(p *profile) bool {
	for _, q := range a {
		if q == p {
			return true
		}
	}
	return false
}

// fromValues is how much values say that speak for themselves: less than any
// name, more than nothing.
const fromValues = 30

// fromUnit is how much a unit in the name says that nothing else has.
const fromUnit = 40

// score says how well a column goes with a quantity; 0 not at all.
func (q *quantity) score(p *profile) int {
	words := p.words
	if rest, known := isTrue(words); strings.HasPrefix(q.key, "true_") != (known && q.kind >= latitude && q.kind <= easting) {
		return 0
	} else if known && strings.HasPrefix(q.key, "true_") {
		words = rest
	}
	if !q.fits(p) {
		return 0
	}
	best := 0
	for i, name := range q.names {
		if s := alike(words, name); s > 0 { // of two names of a quantity the first says more
			best = max(best, s-min(i, 20)/4)
		}
	}
	if u := unit(p.name, q.measure); u == "mA" || u == "Hz" || u == "kHz" { // nothing else is measured in them here
		best = max(best, fromUnit)
	}
	if best > 0 {
		return best
	}
	if !q.speak(p) {
		return 0
	}
	for _, name := range q.weak {
		best = max(best, alike(words, name))
	}
	return max(best, fromValues)
}

// assign gives each quantity the column that goes with it best. No column feeds
// two.
func assign(quantities []quantity, ps []*profile) assigned {
	type pair struct{ quantity, column, score int }
	var pairs []pair
	for i := range quantities {
		for j, p := range ps {
			if s := quantities[i].score(p); s > 0 {
				pairs = append(pairs, pair{i, j, s})
			}
		}
	}
	slices.SortStableFunc(pairs, func(a, b pair) int { return cmp.Compare(b.score, a.score) })
	out, taken := assigned{}, map[int]bool{}
	for _, m := range pairs {
		if key := quantities[m.quantity].key; out[key] == nil && !taken[m.column] {
			out[key], taken[m.column] = ps[m.column], true
		}
	}
	out.onePosition("")
	out.onePosition("true_")
	out.oneDepth()
	return out
}

// onePosition keeps one whole pair of coordinates: degrees before those of a
// plane, whose system has to be known.
func (a assigned) onePosition(prefix string) {
	degrees, plane := []string{prefix + "latitude", prefix + "longitude"}, []string{prefix + "easting", prefix + "northing"}
	if !a.has(degrees...) {
		a.drop(degrees...)
	}
	if a.has(degrees...) || !a.has(plane...) {
		a.drop(plane...)
	}
}

// oneDepth keeps one way to say how deep a record lies.
func (a assigned) oneDepth() {
	if !a.hasAny("invert_elevation", "crown_elevation") || !a.has("ground_elevation") {
		a.drop("invert_elevation", "crown_elevation", "ground_elevation")
	}
	found := false
	for _, key := range []string{"cover", "depth_to_centre", "depth_to_invert", "invert_elevation", "crown_elevation"} {
		if a[key] == nil {
			continue
		}
		if found {
			a.drop(key)
		}
		found = true
	}
	if !a.hasAny("invert_elevation", "crown_elevation") {
		a.drop("ground_elevation")
	}
}

func (a assigned) drop(keys ...string) {
	for _, k := range keys {
		delete(a, k)
	}
}
