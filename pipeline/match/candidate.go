package match

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// maxCandidates bounds the work of one reading; the nearest are kept.
const maxCandidates = 16

// candidate is one place on the map where a reading may belong: a foot point
// that is nearer than its surroundings on the same part.
type candidate struct {
	seg    int32
	rec    int32
	square bool
	kind   kind // of its record, for the walk
	// station is the foot's; virtual runs on beyond an open end, so that route
	// distances stay right where a map's line is too short.
	station, virtual float64
	offset           float64 // distance with side, ground metres, + right
	across           float64 // the same square to the segment, also beyond an open end
	beyond           float64 // how far beyond an open end, ground metres
	ux, uy           float64 // unit vector along, grid axes
	nEast, nNorth    float64 // unit normal, + right, true axes
	// What the map's error leads to expect across here, before any reading:
	// the sheet's known shift and its variance.
	shift, sheetVar float64
	alongShift      float64 // the known shift along the record
	spread          float64 // variance of a first offset, with the reading's noise
	parallel        float64 // weight of the walk's direction against the record's
	covers          float64 // probability that the record reaches to here
	attraction      float64 // relative rate at which a receiver leaps to the record
}

// vicinity is what lies about a place, kept for the next reading, which is
// mostly a step away.
type vicinity struct {
	place orb.Point
	about []int32 // segments within the radius asked for and aheadM of the place; nil at first
	hits  []int32
}

// aheadM is how far a vicinity reaches beyond what was asked for.
const aheadM = 5

// within are the segments within a distance of a point, as the index has them.
func (v *vicinity) within(n *network, p orb.Point, radiusM float64) []int32 {
	const rounding = 0.001
	if v.about == nil || !(dist(v.place, p) <= aheadM) {
		v.place, v.about = p, n.index.Within(p, radiusM+aheadM+rounding, v.about)
	}
	v.hits = n.index.Among(v.about, p, radiusM, v.hits)
	return v.hits
}

// candidates appends those of one reading to dst: the local minima of distance
// along every part within the search radius, in the order of records and
// stations.
func (n *network) candidates(p orb.Point, radiusM float64, v *vicinity, ps *priors, dst []candidate) []candidate {
	from := len(dst)
	// The scale differs from 1 by parts in a thousand: search a little wider
	// and let the ground distance decide.
	for _, id := range v.within(n, p, radiusM*1.01) {
		s := &n.segs[id]
		t := s.along(p)
		switch {
		case t < 0:
			// At the start: only where the segment before does not come nearer.
			if s.prev >= 0 {
				if b := &n.segs[s.prev]; b.along(p) < b.length {
					continue
				}
			}
		case t > s.length:
			if s.next >= 0 {
				continue // a foot on or before the next segment's start
			}
		}
		c := n.foot(id, p, t, ps)
		if math.Abs(c.offset) <= radiusM {
			dst = append(dst, c)
		}
	}
	if own := dst[from:]; len(own) > maxCandidates {
		slices.SortStableFunc(own, func(a, b candidate) int { return cmp.Compare(math.Abs(a.offset), math.Abs(b.offset)) })
		dst = dst[:from+maxCandidates]
		slices.SortFunc(dst[from:], func(a, b candidate) int {
			return cmp.Or(cmp.Compare(a.seg, b.seg), cmp.Compare(a.station, b.station))
		})
	}
	return dst
}

func (n *network) foot(id int32, p orb.Point, t float64, ps *priors) candidate {
	s := &n.segs[id]
	r := &n.records[s.record]
	in := min(max(t, 0), s.length)
	c := candidate{
		seg: id, rec: s.record, square: t == in, ux: s.ux, uy: s.uy,
		station: s.station + in/r.scale,
		across:  s.across(p) / r.scale,
	}
	c.offset, c.virtual = c.across, c.station
	away := (t - in) / r.scale // along the line, signed
	switch {
	case c.square:
	case away < 0 && s.prev >= 0:
		n.outsideBend(&c, &n.segs[s.prev], s, p)
	default:
		c.offset = math.Copysign(math.Hypot(c.across, away), c.across)
		c.virtual += away
		c.beyond = math.Abs(away)
	}

	east, north := r.toTrue(c.ux, c.uy)
	c.nEast, c.nNorth = north, -east
	if ps == nil {
		return c
	}
	k := &ps.sheets[r.sheet+1]
	c.shift = c.nEast*k.east + c.nNorth*k.north
	c.sheetVar = k.variance(c.nEast, c.nNorth)
	c.alongShift = east*k.east + north*k.north
	return c
}

// settle is the foot of p on a segment or, where p has passed its ends, on those
// that follow while they come nearer.
func (n *network) settle(id int32, p orb.Point) candidate {
	for range maxSettle {
		s := &n.segs[id]
		t := s.along(p)
		next := int32(-1)
		switch {
		case t < 0:
			next = s.prev
		case t > s.length:
			next = s.next
		}
		if next < 0 || n.index.Distance(next, p) >= n.index.Distance(id, p) {
			break
		}
		id = next
	}
	return n.foot(id, p, n.segs[id].along(p), nil)
}

// maxSettle bounds how many segments a session's error may carry a foot across.
const maxSettle = 16

// outsideBend is for a point that is nearest to the vertex between two
// segments: the line there is taken to run square to the direction of the
// point, so that neither segment is preferred.
func (n *network) outsideBend(c *candidate, before, after *segment, p orb.Point) {
	dx, dy := p[0]-after.a[0], p[1]-after.a[1]
	d := math.Hypot(dx, dy)
	side := before.ux*after.uy - before.uy*after.ux // a turn to the left has its outside on the right
	if side == 0 {
		side = c.across
	}
	if d > 0 {
		sign := math.Copysign(1, side)
		c.ux, c.uy = -sign*dy/d, sign*dx/d
	}
	c.across = math.Copysign(d/n.records[c.rec].scale, side)
	c.offset = c.across
}
