package lineref

import (
	"math"

	"github.com/paulmach/orb"
)

// Hausdorff is the discrete Hausdorff distance of two lines, in the unit of
// their coordinates: the largest distance from a vertex of either to the nearest
// point of the other. Every segment is first divided into pieces of the fraction
// densify of its length (0 or 1: not divided), since the farthest point of a
// line need not be a vertex. A line without points has no distance: NaN.
func Hausdorff(a, b orb.MultiLineString, densify float64) float64 {
	if points(a) == 0 || points(b) == 0 {
		return math.NaN()
	}
	return max(directed(a, b, densify), directed(b, a, densify))
}

// directed is the largest distance from a point of a to b.
func directed(a, b orb.MultiLineString, densify float64) float64 {
	pieces := 1
	if densify > 0 && densify < 1 {
		pieces = int(math.Round(1 / densify))
	}
	far := 0.0
	for _, part := range a {
		for i, p := range part {
			far = max(far, toLine(p, b))
			for k := 1; k < pieces && i+1 < len(part); k++ {
				t, q := float64(k)/float64(pieces), part[i+1]
				far = max(far, toLine(orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}, b))
			}
		}
	}
	return far
}

// toLine is the distance from p to the nearest point of a line.
func toLine(p orb.Point, l orb.MultiLineString) float64 {
	near := math.Inf(1)
	for _, part := range l {
		if len(part) == 1 {
			near = min(near, math.Hypot(p[0]-part[0][0], p[1]-part[0][1]))
		}
		for i := 0; i+1 < len(part); i++ {
			f, _ := foot(part[i], part[i+1], p)
			near = min(near, math.Hypot(p[0]-f[0], p[1]-f[1]))
		}
	}
	return near
}

func points(l orb.MultiLineString) int {
	n := 0
	for _, part := range l {
		n += len(part)
	}
	return n
}

// Frechet is the discrete Frechet distance of two lines over their vertices, in
// the unit of their coordinates (Eiter and Mannila, "Computing Discrete Frechet
// Distance", 1994): the shortest leash with which two walkers go along them,
// vertex by vertex, neither ever back. A line without points: NaN.
func Frechet(a, b orb.LineString) float64 {
	if len(a) == 0 || len(b) == 0 {
		return math.NaN()
	}
	row := make([]float64, len(b)) // leash needed to bring both to (i-1, j)
	for i, p := range a {
		diagonal := 0.0 // leash to (i-1, j-1)
		for j, q := range b {
			above := row[j]
			need := math.Hypot(p[0]-q[0], p[1]-q[1])
			switch {
			case i == 0 && j == 0:
				row[j] = need
			case i == 0:
				row[j] = max(need, row[j-1])
			case j == 0:
				row[j] = max(need, above)
			default:
				row[j] = max(need, min(above, row[j-1], diagonal))
			}
			diagonal = above
		}
	}
	return row[len(b)-1]
}
