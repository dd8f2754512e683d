package synth

import (
	"math"

	"github.com/paulmach/orb"
)

// vector is a displacement in true east and north, ground metres.
type vector [2]float64

func (v vector) plus(w vector) vector       { return vector{v[0] + w[0], v[1] + w[1]} }
func (v vector) times(f float64) vector     { return vector{v[0] * f, v[1] * f} }
func (v vector) dot(w vector) float64       { return v[0]*w[0] + v[1]*w[1] }
func (v vector) length() float64            { return math.Hypot(v[0], v[1]) }
func (v vector) right() vector              { return vector{v[1], -v[0]} } // turned to the right
func minus(a, b orb.Point) vector           { return vector{a[0] - b[0], a[1] - b[1]} }
func moved(p orb.Point, v vector) orb.Point { return orb.Point{p[0] + v[0], p[1] + v[1]} }
func distance(a, b orb.Point) float64       { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
func mix(a, b orb.Point, t float64) orb.Point {
	return orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
}

func unit(v vector) vector {
	if l := v.length(); l > 0 {
		return v.times(1 / l)
	}
	return vector{1, 0}
}

// stations are the distances of a line's vertices from its first.
func stations(ls orb.LineString) []float64 {
	s := make([]float64, len(ls))
	for i := 1; i < len(ls); i++ {
		s[i] = s[i-1] + distance(ls[i-1], ls[i])
	}
	return s
}

func length(ls orb.LineString) float64 {
	sum := 0.0
	for i := 1; i < len(ls); i++ {
		sum += distance(ls[i-1], ls[i])
	}
	return sum
}

// locate finds the segment of a station and how far along it lies.
func locate(s []float64, at float64) (segment int, t float64) {
	lo, hi := 0, len(s)-2
	for lo < hi {
		if m := (lo + hi + 1) / 2; s[m] <= at {
			lo = m
		} else {
			hi = m - 1
		}
	}
	if d := s[lo+1] - s[lo]; d > 0 {
		t = min(max((at-s[lo])/d, 0), 1)
	}
	return lo, t
}

// pointAt is the point of a station, and the direction of the line there.
func pointAt(ls orb.LineString, s []float64, at float64) (orb.Point, vector) {
	i, t := locate(s, at)
	return mix(ls[i], ls[i+1], t), unit(minus(ls[i+1], ls[i]))
}

// valueAt interpolates values given at the vertices.
func valueAt(values, s []float64, at float64) float64 {
	i, t := locate(s, at)
	return values[i] + t*(values[i+1]-values[i])
}

// cut is the part of a line between two stations, and the values there.
func cut(ls orb.LineString, s, values []float64, from, to float64) (orb.LineString, []float64) {
	p, _ := pointAt(ls, s, from)
	q, _ := pointAt(ls, s, to)
	out, cover := orb.LineString{p}, []float64{valueAt(values, s, from)}
	for i := range ls {
		if s[i] > from+1e-6 && s[i] < to-1e-6 {
			out, cover = append(out, ls[i]), append(cover, values[i])
		}
	}
	return append(out, q), append(cover, valueAt(values, s, to))
}

// beside is a line at an offset from another one (+ right), with the corners
// mitred. offsets has one value per vertex.
func beside(ls orb.LineString, offsets []float64) orb.LineString {
	out := make(orb.LineString, len(ls))
	for i := range ls {
		before, after := minus(ls[i], ls[max(i-1, 0)]), minus(ls[min(i+1, len(ls)-1)], ls[i])
		if i == 0 {
			before = after
		}
		if i == len(ls)-1 {
			after = before
		}
		n, m := unit(before).right(), unit(after).right()
		half := unit(n.plus(m))
		out[i] = moved(ls[i], half.times(offsets[i]/max(half.dot(n), 0.4)))
	}
	return out
}

// foot is the nearest point of a line: its station, how far it is, and the
// signed offset (+ right) of p from it.
func foot(ls orb.LineString, s []float64, p orb.Point) (station, offset float64) {
	best := math.Inf(1)
	for i := 0; i+1 < len(ls); i++ {
		d, w := minus(ls[i+1], ls[i]), minus(p, ls[i])
		l2 := d.dot(d)
		if l2 == 0 {
			continue
		}
		t := min(max(w.dot(d)/l2, 0), 1)
		q := mix(ls[i], ls[i+1], t)
		if r := distance(p, q); r < best {
			best, station = r, s[i]+t*(s[i+1]-s[i])
			offset = math.Copysign(r, w.dot(d.right()))
		}
	}
	return station, offset
}

// crossing is where two segments meet.
func crossing(a, b, c, d orb.Point) (orb.Point, bool) {
	r, s, w := minus(b, a), minus(d, c), minus(c, a)
	den := r[0]*s[1] - r[1]*s[0]
	if den == 0 {
		return orb.Point{}, false
	}
	t, u := (w[0]*s[1]-w[1]*s[0])/den, (w[0]*r[1]-w[1]*r[0])/den
	return mix(a, b, t), t >= 0 && t <= 1 && u >= 0 && u <= 1
}

func reversed(ls orb.LineString) orb.LineString {
	out := make(orb.LineString, len(ls))
	for i, p := range ls {
		out[len(ls)-1-i] = p
	}
	return out
}
