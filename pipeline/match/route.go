package match

import (
	"math"
	"sort"
)

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

// joinedWithin says whether any joint of a candidate's record is within a
// distance along it.
func (n *network) joinedWithin(a *candidate, limit float64) bool {
	r := &n.records[a.rec]
	js := n.joints[r.joints[0]:r.joints[1]]
	first := sort.Search(len(js), func(i int) bool { return js[i].here >= a.station-limit })
	return first < len(js) && js[first].here <= a.station+limit
}

// teeBetween says whether lines meet on the way between two places of a record,
// give or take what a place is uncertain by.
func (n *network) teeBetween(a, z *candidate) bool {
	const about = 1
	r := &n.records[a.rec]
	js := n.joints[r.joints[0]:r.joints[1]]
	from, to := min(a.station, z.station)-about, max(a.station, z.station)+about
	first := sort.Search(len(js), func(i int) bool { return js[i].here >= from })
	return first < len(js) && js[first].here <= to
}

// route is the best way from one candidate to another on another record, if
// there is one within the limit and the hops: the likeliest, then the shortest.
// A candidate beyond an end has passed the joint there, or has not yet come to
// it, by as much as it is beyond.
func (n *network) route(a, z *candidate, limit float64) (way, bool) {
	if n.records[a.rec].network != n.records[z.rec].network {
		return way{}, false
	}
	hops := maxHops
	if limit < n.shortest {
		hops = 1 // no record lies between two places so near
	}
	w := n.hop(a.rec, a.station, z.rec, z.station, limit, hops)
	w.length = math.Abs(w.length - a.beyond - z.beyond)
	return w, w.weight > 0 && w.length <= limit
}

func (n *network) hop(from int32, at float64, to int32, there, limit float64, hops int) (best way) {
	r := &n.records[from]
	js := n.joints[r.joints[0]:r.joints[1]]
	first := sort.Search(len(js), func(i int) bool { return js[i].here >= at-limit })
	for _, j := range js[first:] {
		if j.here > at+limit {
			break
		}
		w := way{length: math.Abs(j.here - at), gaps: j.gap, weight: j.weight, atEnd: j.atEnd, out: j.here, enter: j.there}
		switch {
		case j.other == to:
			w.length += math.Abs(there - j.there)
		case hops > 1 && j.gap == 0 && (hops == maxHops || w.length > samePlaceM):
			// A record between must be walked along: those that meet in one place
			// are joined to each other.
			rest := n.hop(j.other, j.there, to, there, limit-w.length, hops-1)
			w.length, w.gaps, w.weight, w.enter = w.length+rest.length, w.gaps+rest.gaps, w.weight*rest.weight, rest.enter
		default:
			continue
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
