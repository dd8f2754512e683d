package scorer

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
)

// after is a record's line on the updated map, and whether it is there; one that
// is not there counts as it was.
func (x *scoring) after(r int) (lineref.Line, bool) {
	rec := &x.records[r]
	parts, ok := x.o.Lines[rec.name]
	if !ok || len(parts) == 0 {
		return rec.before, false
	}
	return lineref.New(parts, rec.Scale), true
}

// geometry scores how far the map lies from the truth, before and after.
func (x *scoring) geometry() {
	for r := range x.records {
		rec := &x.records[r]
		now, there := x.after(r)
		x.count(LinesMissing, !there)
		if len(rec.surveyed) == 0 || x.spared[r] {
			continue
		}
		rec.places(rec.surveyed, func(m float64) {
			p := rec.line.At(m)
			was, is := across(&rec.before, p), across(&now, p)
			switch {
			case rec.frame:
				x.value(OtherFrameBefore, was)
				x.value(OtherFrameAfter, is)
				return
			case x.common != nil:
				x.value(CommonFrameBefore, was)
				x.value(CommonFrameAfter, is)
				return
			}
			x.value(Before, was)
			x.value(After, is)
			if x.truly[r] == trulyOutside {
				x.value(OutsideBefore, was)
				x.value(OutsideAfter, is)
			}
		})
		if !rec.frame && x.common == nil {
			x.back(rec, &now)
		}
	}
}

// vertices scores what is promised of the vertices that moved: beside the surveyed
// parts what readings moved, everywhere what fades out or follows.
func (x *scoring) vertices() {
	for _, c := range x.o.Changes {
		r, ok := x.index[c.Record]
		if !ok || x.records[r].line == nil || x.records[r].frame || x.common != nil || x.spared[r] {
			continue
		}
		now, rec := x.o.Lines[c.Record], &x.records[r]
		if c.Part >= len(now) || c.Vertex >= len(now[c.Part]) {
			x.count(VerticesInside, false)
			continue
		}
		p := now[c.Part][c.Vertex]
		f, ok := rec.line.Nearest(p)
		switch inside := across(rec.line, p) <= 1.96*c.U; {
		case !ok:
		case c.Evidence != "evidence":
			x.count(FollowersInside, inside)
		case holds(rec.surveyed, f.StationM, 0):
			x.count(VerticesInside, inside)
		}
	}
}

// back measures from the new line to the truth, beside the surveyed parts: a
// spike in the new line is near no less of the true one.
func (x *scoring) back(rec *record, now *lineref.Line) {
	for m := 0.0; m <= now.LengthM(); m += stepM {
		p := now.At(m)
		if f, ok := rec.line.Nearest(p); ok && holds(rec.surveyed, f.StationM, 0) {
			x.value(BackToTruth, across(rec.line, p))
		}
	}
}

// profiles scores the adjusted profiles: at every metre of a record beside its
// line's surveyed part, and at the places of used readings there.
func (x *scoring) profiles() {
	for r := range x.records {
		rec := &x.records[r]
		if len(rec.surveyed) == 0 || rec.frame || x.spared[r] {
			continue
		}
		nodes := x.o.Profiles[rec.name]
		for m := 0.5; m < rec.before.LengthM(); m++ {
			truth, ok := rec.offset(m)
			if !ok {
				continue
			}
			offset, u, there := interpolate(nodes, m)
			x.count(ProfileThere, there)
			if there {
				x.count(ProfileInside, math.Abs(offset-truth) <= 1.96*u)
				if x.common == nil {
					x.value(ProfileError, math.Abs(offset-truth))
				}
			}
		}
		for _, n := range nodes {
			if truth, ok := rec.offset(n.StationM); ok && n.Readings > 0 {
				x.count(ProfileAtReadings, math.Abs(n.OffsetM-truth) <= 1.96*n.OffsetU)
			}
		}
	}
}

// offset is how far to the right of a station of the record its line really lies;
// false where that is not beside the surveyed part, or not square to it.
func (r *record) offset(stationM float64) (float64, bool) {
	p := r.before.At(stationM)
	f, ok := r.line.Nearest(p)
	if !ok || !f.Square || !holds(r.surveyed, f.StationM, 0) {
		return 0, false
	}
	part, seg := r.before.Locate(stationM)
	d := r.before.Direction(part, seg)
	side := (f.Point[0]-p[0])*d[1] - (f.Point[1]-p[1])*d[0]
	return math.Copysign(f.OffsetM, side), true
}

// interpolate is a profile's offset and uncertainty at a station, straight
// between its nodes, as a reader of the file would have it.
func interpolate(nodes []Node, m float64) (offset, u float64, ok bool) {
	for i := range nodes {
		n := &nodes[i]
		switch {
		case n.StationM < m && i+1 < len(nodes):
			continue
		case n.StationM <= m || i == 0:
			return n.OffsetM, n.OffsetU, true
		}
		a := &nodes[i-1]
		t := (m - a.StationM) / (n.StationM - a.StationM)
		return a.OffsetM + t*(n.OffsetM-a.OffsetM), a.OffsetU + t*(n.OffsetU-a.OffsetU), true
	}
	return 0, 0, false
}

func apart(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
