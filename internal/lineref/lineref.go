// Package lineref measures along lines: stations, foot points, signed offsets
// and parts of a line between two stations.
//
// A Line may have several parts (a multipart record). Its stations run on from
// part to part without the gap between them, so that a station names one place.
package lineref

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// Line is a line with a station at every vertex.
type Line struct {
	Parts    orb.MultiLineString
	Scale    float64     // grid distance / ground distance
	stations [][]float64 // per part and vertex
}

// New measures a line. Scale is grid over ground distance (0 means 1).
func New(parts orb.MultiLineString, scale float64) Line {
	if scale == 0 {
		scale = 1
	}
	l := Line{Parts: parts, Scale: scale, stations: make([][]float64, len(parts))}
	at := 0.0
	for p, part := range parts {
		s := make([]float64, len(part))
		for i := range part {
			if i > 0 {
				at += math.Hypot(part[i][0]-part[i-1][0], part[i][1]-part[i-1][1]) / scale
			}
			s[i] = at
		}
		l.stations[p] = s
	}
	return l
}

// LengthM is the length of all parts, ground metres.
func (l *Line) LengthM() float64 {
	for p := len(l.stations) - 1; p >= 0; p-- {
		if n := len(l.stations[p]); n > 0 {
			return l.stations[p][n-1]
		}
	}
	return 0
}

// Stations are the stations of a part's vertices. The slice is the line's own.
func (l *Line) Stations(part int) []float64 { return l.stations[part] }

// Foot is the point of a line nearest to some position.
type Foot struct {
	Part, Segment int
	Point         orb.Point // grid
	StationM      float64   // ground
	OffsetM       float64   // ground, from line to position, + to the right of the line's direction
	Square        bool      // the foot lies inside its segment, so that the offset is square to it
}

// OnSegment is the foot point of p on one segment.
//
// Offset = cross(direction, p - start) with the sign turned, so + is right; for
// a foot at an end of the segment it is the distance with that sign.
func (l *Line) OnSegment(part, seg int, p orb.Point) Foot {
	a, b := l.Parts[part][seg], l.Parts[part][seg+1]
	f := Foot{Part: part, Segment: seg}
	var t float64
	f.Point, t = foot(a, b, p)
	f.Square = t >= 0 && t <= 1
	s := l.stations[part]
	f.StationM = s[seg]
	if t > 0 {
		f.StationM += min(t, 1) * (s[seg+1] - s[seg])
	}
	f.OffsetM = math.Hypot(p[0]-f.Point[0], p[1]-f.Point[1]) / l.Scale
	if (b[0]-a[0])*(p[1]-a[1])-(b[1]-a[1])*(p[0]-a[0]) > 0 { // left of the direction
		f.OffsetM = -f.OffsetM
	}
	return f
}

// foot is the point of segment ab nearest to p, and where the foot on the
// infinite line lies: 0 at a, 1 at b. A segment without length has no square
// foot: NaN.
func foot(a, b, p orb.Point) (orb.Point, float64) {
	dx, dy := b[0]-a[0], b[1]-a[1]
	length2 := dx*dx + dy*dy
	if length2 == 0 {
		return a, math.NaN()
	}
	t := ((p[0]-a[0])*dx + (p[1]-a[1])*dy) / length2
	switch {
	case t <= 0:
		return a, t
	case t >= 1:
		return b, t
	}
	return orb.Point{a[0] + t*dx, a[1] + t*dy}, t
}

// Nearest is the foot point of p on the whole line; ties go to the smaller
// station. A line without segments has no foot.
func (l *Line) Nearest(p orb.Point) (Foot, bool) {
	best, found := Foot{}, false
	for part := range l.Parts {
		for seg := 0; seg+1 < len(l.Parts[part]); seg++ {
			f := l.OnSegment(part, seg, p)
			if !found || math.Abs(f.OffsetM) < math.Abs(best.OffsetM) {
				best, found = f, true
			}
		}
	}
	return best, found
}

// Locate finds the part and segment of a station; a station outside the line is
// moved to its nearest end. At the seam of two parts the later one is meant.
func (l *Line) Locate(stationM float64) (part, seg int) {
	for p := len(l.Parts) - 1; p >= 0; p-- {
		s := l.stations[p]
		if len(s) < 2 || (stationM < s[0] && p > 0) {
			continue
		}
		return p, l.Segment(p, stationM)
	}
	return 0, 0
}

// Segment finds the segment of a station on a known part; at a vertex the one
// before it is meant, beyond the part its first or last.
func (l *Line) Segment(part int, stationM float64) int {
	s := l.stations[part]
	i, _ := slices.BinarySearch(s, stationM)
	return min(max(i-1, 0), len(s)-2)
}

// At is the point of a station.
func (l *Line) At(stationM float64) orb.Point {
	p, i := l.Locate(stationM)
	return l.AtPart(p, i, stationM)
}

// AtPart is the point of a station on a known segment.
func (l *Line) AtPart(part, seg int, stationM float64) orb.Point {
	s, pts := l.stations[part], l.Parts[part]
	t := 0.0
	if d := s[seg+1] - s[seg]; d > 0 {
		t = min(max((stationM-s[seg])/d, 0), 1)
	}
	return orb.Point{
		pts[seg][0] + t*(pts[seg+1][0]-pts[seg][0]),
		pts[seg][1] + t*(pts[seg+1][1]-pts[seg][1]),
	}
}

// Direction is the unit vector along a segment, grid axes; {0, 0} where the
// segment has no length.
func (l *Line) Direction(part, seg int) [2]float64 {
	a, b := l.Parts[part][seg], l.Parts[part][seg+1]
	dx, dy := b[0]-a[0], b[1]-a[1]
	d := math.Hypot(dx, dy)
	if d == 0 {
		return [2]float64{}
	}
	return [2]float64{dx / d, dy / d}
}

// Between is the part of the line between two stations, as one line string a
// part touched.
func (l *Line) Between(fromM, toM float64) orb.MultiLineString {
	if toM < fromM {
		fromM, toM = toM, fromM
	}
	var out orb.MultiLineString
	for p, part := range l.Parts {
		s := l.stations[p]
		if len(s) < 2 || s[len(s)-1] < fromM || s[0] > toM {
			continue
		}
		from, to := max(fromM, s[0]), min(toM, s[len(s)-1])
		if to <= from && toM > fromM {
			continue
		}
		var ls orb.LineString
		ls = append(ls, l.AtPart(p, l.Segment(p, from), from))
		for v := range part {
			if s[v] > from && s[v] < to {
				ls = append(ls, part[v])
			}
		}
		ls = append(ls, l.AtPart(p, l.Segment(p, to), to))
		out = append(out, ls)
	}
	return out
}
