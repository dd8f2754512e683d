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
	if s.ring > 0 {
		d = min(d, s.ring-d)
	}
	return d
}

// maxHops bounds the records that a route between two readings passes through.
const maxHops = 4

// route is the shortest distance along the network from a place on one record
// to a place on another, if there is one within the limit and the hops, and
// whether it leaves the first record at its end.
func (n *network) route(from int32, at float64, to int32, there, limit float64) (d float64, atEnd, ok bool) {
	d, atEnd = n.hop(from, at, to, there, limit, maxHops)
	return d, atEnd, d <= limit
}

func (n *network) hop(from int32, at float64, to int32, there, limit float64, hops int) (best float64, atEnd bool) {
	r := &n.records[from]
	js := n.joints[r.joints[0]:r.joints[1]]
	best = math.Inf(1)
	first := sort.Search(len(js), func(i int) bool { return js[i].here >= at-limit })
	for _, j := range js[first:] {
		if j.here > at+limit {
			break
		}
		d := math.Abs(j.here - at)
		switch {
		case j.other == to:
			d += math.Abs(there - j.there)
		case hops > 1 && d < limit:
			rest, _ := n.hop(j.other, j.there, to, there, limit-d, hops-1)
			d += rest
		default:
			continue
		}
		if d < best || (d == best && j.atEnd) {
			best, atEnd = d, j.atEnd
		}
	}
	return best, atEnd
}
