package match

import "math"

// along is the route distance between two places of one record.
func (n *network) along(a, b *candidate, groundM float64) float64 {
	s, t := &n.segs[a.seg], &n.segs[b.seg]
	if s.part != t.part {
		return groundM // the gap between two parts has no length of its own
	}
	d := math.Abs(b.virtual - a.virtual)
	if p := &n.parts[s.of]; p.closed {
		d = min(d, p.to-p.from-d)
	}
	return d
}

// samePlaceM is what two stations may differ by and still be one place.
const samePlaceM = 1e-6

// maxHops bounds the records that a route between two readings passes through.
const maxHops = 4

// way is a route along the network from one record to another.
type way struct {
	length     float64 // without its gaps
	gaps       float64
	weight     float64
	atEnd      bool    // it leaves the first record at its end
	out, enter float64 // stations of the joints on the first and the last record
}

// betterThan says whether a way from a station is likelier, else shorter, else
// one that leaves the first record sooner. Lengths that differ by rounding only
// are equal, so that the direction of a record does not decide.
func (w *way) betterThan(v *way, from float64) bool {
	switch {
	case w.weight != v.weight:
		return w.weight > v.weight
	case math.Abs(w.length-v.length) > samePlaceM:
		return w.length < v.length
	case w.atEnd != v.atEnd:
		return w.atEnd
	}
	return math.Abs(w.out-from) < math.Abs(v.out-from)-samePlaceM
}

// jointsFrom are the joints of a record from a station on.
func (n *web) jointsFrom(rec int32, station float64) []joint {
	from, to := n.of[rec][0], n.of[rec][1]
	for from < to {
		if mid := (from + to) / 2; n.joints[mid].here >= station {
			to = mid
		} else {
			from = mid + 1
		}
	}
	return n.joints[from:n.of[rec][1]]
}

// jointsWithin are the joints of a candidate's record within a distance along it.
func (n *web) jointsWithin(a *candidate, limit float64) []joint {
	js := n.jointsFrom(a.rec, a.station-limit)
	for i := range js {
		if js[i].here > a.station+limit {
			return js[:i]
		}
	}
	return js
}

// joined says whether a candidate's record has a joint within a distance along it.
func (n *web) joined(a *candidate, limit float64) bool {
	js := n.jointsFrom(a.rec, a.station-limit)
	return len(js) > 0 && js[0].here <= a.station+limit
}

// teeBetween says whether lines meet on the way between two places of a record,
// give or take what a place is uncertain by.
func (n *web) teeBetween(a, z *candidate) bool {
	const about = 1
	js := n.jointsFrom(a.rec, min(a.station, z.station)-about)
	return len(js) > 0 && js[0].here <= max(a.station, z.station)+about
}

// route is the best way from one candidate to another on another record, if
// there is one within the limit and the hops: the likeliest, then the shortest.
// doors are the joints of the other's record as far as a route may come.
// A candidate beyond an end has passed the joint there, or has not yet come to
// it, by as much as it is beyond.
func (n *web) route(a, z *candidate, doors []joint, limit float64) (way, bool) {
	if n.records[a.rec].network != n.records[z.rec].network {
		return way{}, false
	}
	hops := maxHops
	if limit < n.shortest {
		hops = 1 // no record lies between two places so near
	}
	w := n.hop(a.rec, a.station, &goal{z.rec, z.station, doors}, limit, hops)
	w.length = math.Abs(w.length - a.beyond - z.beyond)
	return w, w.weight > 0 && w.length <= limit
}

// goal is where a route is to end, and the joints by which it may come there.
type goal struct {
	rec     int32
	station float64
	doors   []joint
}

// leadsTo says whether a joint leads from the goal's record to another one.
func (g *goal) leadsTo(rec int32) bool {
	for i := range g.doors {
		if g.doors[i].other == rec {
			return true
		}
	}
	return false
}

// hop is the best way from a station of a record to the goal within the limit,
// over so many joints at most.
func (n *web) hop(from int32, at float64, to *goal, limit float64, hops int) (best way) {
	js := n.jointsFrom(from, at-limit)
	for k := range js {
		j := &js[k]
		if j.here > at+limit {
			break
		}
		length := math.Abs(j.here - at)
		// A record between must be walked along: those that meet in one place are
		// joined to each other. One that only leads back is on no way.
		between := hops > 1 && j.gap == 0 && n.only[j.other] != from && (hops == maxHops || length > samePlaceM) && (hops > 2 || to.leadsTo(j.other))
		switch {
		case j.other != to.rec && !between:
			continue
		case best.weight == 1 && length > best.length+2*samePlaceM:
			continue // none is likelier, and it is longer already
		}
		w := way{length: length, gaps: j.gap, weight: j.weight, atEnd: j.atEnd, out: j.here, enter: j.there}
		if j.other == to.rec {
			w.length += math.Abs(to.station - j.there)
		} else {
			rest := n.hop(j.other, j.there, to, limit-length, hops-1)
			w.length, w.gaps, w.weight, w.enter = w.length+rest.length, w.gaps+rest.gaps, w.weight*rest.weight, rest.enter
		}
		if w.length > limit+w.gaps || w.weight == 0 {
			continue
		}
		if w.betterThan(&best, at) {
			best = w
		}
	}
	return best
}
