package read

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"github.com/paulmach/orb"
)

// sampleSize is how many positions of a file are looked at as a whole: the share
// of them that lies somewhere is good to 0.05.
const sampleSize = 400

// sample keeps some of a file's positions as they stand in it: those with the
// smallest hashes, so that the choice does not hang on the order of rows.
type sample struct {
	kept  []hashed
	limit uint64 // hashes from here on are not kept; 0 keeps all
}

type hashed struct {
	hash  uint64
	point orb.Point
}

func (s *sample) add(p orb.Point) {
	if !finite(p) {
		return
	}
	h := hash(p)
	if s.limit != 0 && h >= s.limit {
		return
	}
	if s.kept = append(s.kept, hashed{h, p}); len(s.kept) == 2*sampleSize {
		s.trim()
	}
}

// trim keeps the sampleSize smallest, each position once.
func (s *sample) trim() {
	slices.SortFunc(s.kept, func(a, b hashed) int {
		return cmp.Or(cmp.Compare(a.hash, b.hash), comparePoints(a.point, b.point))
	})
	s.kept = slices.Compact(s.kept)
	if len(s.kept) >= sampleSize {
		s.kept = s.kept[:sampleSize]
		s.limit = s.kept[sampleSize-1].hash
	}
}

// points are the positions kept.
func (s *sample) points() []orb.Point {
	s.trim()
	ps := make([]orb.Point, len(s.kept))
	for i := range s.kept {
		ps[i] = s.kept[i].point
	}
	return ps
}

// hash mixes the bits of a position, by two rounds of multiplication.
func hash(p orb.Point) uint64 {
	const odd = 0x9e3779b97f4a7c15
	h := math.Float64bits(p[0]) * odd
	h = (bits.RotateLeft64(h, 32) ^ math.Float64bits(p[1])) * odd
	return bits.RotateLeft64(h, 32) * odd
}
