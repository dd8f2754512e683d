package life

import (
	"math"

	"github.com/paulmach/orb"
)

// pieceM is how finely lines are cut to see how much of one lies along another,
// and alongCos the cosine of the angle beyond which a line crosses another rather
// than lie along it; practice.
const (
	pieceM   = 0.5
	alongCos = 0.7
)

// course is a line made ready to be compared with others.
type course struct {
	segments [][2]orb.Point
	bound    orb.Bound
	length   float64
}

func newCourse(l orb.MultiLineString) course {
	c := course{bound: l.Bound()}
	for _, part := range l {
		for i := 1; i < len(part); i++ {
			c.segments = append(c.segments, [2]orb.Point{part[i-1], part[i]})
			c.length += math.Hypot(part[i][0]-part[i-1][0], part[i][1]-part[i-1][1])
		}
	}
	return c
}

func lengthOf(l orb.MultiLineString) float64 {
	c := newCourse(l)
	return c.length
}

// along is how much of a lies along b: the length of its pieces whose middle is
// within reachM of b where b runs their way, whichever direction either is drawn
// in. Near counts a piece by how near it is, one on b in full.
func along(a, b *course, reachM float64) (length, near float64) {
	if !a.bound.Pad(reachM).Intersects(b.bound) {
		return 0, 0
	}
	for _, s := range a.segments {
		l := math.Hypot(s[1][0]-s[0][0], s[1][1]-s[0][1])
		n := math.Ceil(l / pieceM)
		for k := 0.0; k < n; k++ {
			t := (k + 0.5) / n
			at := orb.Point{s[0][0] + t*(s[1][0]-s[0][0]), s[0][1] + t*(s[1][1]-s[0][1])}
			if d := b.distance(at, s); d <= reachM {
				length += l / n
				near += l / n * (1 - d/reachM)
			}
		}
	}
	return length, near
}

// distance is from a point to the nearest segment that runs the way of another.
func (c *course) distance(at orb.Point, way [2]orb.Point) float64 {
	nearest := math.Inf(1)
	ax, ay := way[1][0]-way[0][0], way[1][1]-way[0][1]
	for _, s := range c.segments {
		bx, by := s[1][0]-s[0][0], s[1][1]-s[0][1]
		length2 := bx*bx + by*by
		if length2 == 0 || math.Abs(ax*bx+ay*by) < alongCos*math.Hypot(ax, ay)*math.Sqrt(length2) {
			continue
		}
		t := min(max(((at[0]-s[0][0])*bx+(at[1]-s[0][1])*by)/length2, 0), 1)
		nearest = min(nearest, math.Hypot(at[0]-s[0][0]-t*bx, at[1]-s[0][1]-t*by))
	}
	return nearest
}

// samePlace says whether over half the length of either line lies along the
// other, within reachM; of places without a length, whether they are so near. The
// greater the score, the more they do.
func samePlace(a, b *course, reachM float64) (score float64, same bool) {
	if a.length == 0 || b.length == 0 {
		if a.length != b.length || a.bound.IsEmpty() || b.bound.IsEmpty() {
			return 0, false
		}
		p, q := a.bound.Center(), b.bound.Center()
		d := math.Hypot(p[0]-q[0], p[1]-q[1])
		return 1 - d/reachM, d <= reachM
	}
	ab, score := along(a, b, reachM)
	ba, _ := along(b, a, reachM)
	return score, ab > a.length/2 || ba > b.length/2
}
