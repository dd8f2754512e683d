package shapefile

import (
	"fmt"
	"math"
)

// count is how many parts and points a record says it has.
type count struct{ parts, points int }

// counts reads the counts of a record of several points. The content is long
// enough for them.
func counts(content []byte, kind Type) count {
	if kind.Flat() == MultiPoint {
		return count{points: int(int32(little.Uint32(content[36:])))}
	}
	return count{parts: int(int32(little.Uint32(content[36:]))), points: int(int32(little.Uint32(content[40:])))}
}

// fixedBytes is the length of a record's content before its part starts: type,
// box and counts, or a point's type alone.
func fixedBytes(kind Type) int64 {
	switch kind.Flat() {
	case Null, Point:
		return 4
	case MultiPoint:
		return 40
	default:
		return 44
	}
}

// contentBytes is how long the content of a record of such counts is.
func contentBytes(kind Type, c count, hasM bool) int64 {
	n := fixedBytes(kind)
	points, span := int64(c.points), int64(16)
	switch kind.Flat() {
	case Null:
		return n
	case Point:
		points, span = 1, 0
	}
	n += 4*int64(c.parts) + 16*points
	if kind.HasZ() {
		n += span + 8*points
	}
	if hasM {
		n += span + 8*points
	}
	return n
}

// checkContent checks a record's content against its own length and says
// whether it has a block of measures.
func (f *shpFile) checkContent(content []byte) (hasM bool, err error) {
	start, length := f.offset+recordHeaderBytes, int64(len(content))
	kind := Type(little.Uint32(content))
	if kind != f.kind && kind != Null {
		return false, f.fail(start, remedyCopy, "is a shape of %v in a file of %v", kind, f.kind)
	}
	if length < fixedBytes(kind) {
		return false, f.fail(f.offset+4, remedyCopy, "has %d bytes, too few for a shape of %v", length, kind)
	}
	c := count{}
	if flat := kind.Flat(); flat != Null && flat != Point {
		c = counts(content, kind)
	}
	if c.parts < 0 || c.points < 0 {
		return false, f.fail(start+36, remedyCopy, "says it has %d parts and %d points", c.parts, c.points)
	}
	switch length {
	case contentBytes(kind, c, false):
	case contentBytes(kind, c, true):
		hasM = kind.HasM()
	}
	if length != contentBytes(kind, c, hasM) {
		return false, f.fail(start+36, remedyCopy, "has %d bytes, but %s takes %d", length, describe(kind, c), contentBytes(kind, c, false))
	}
	if err := f.checkParts(content, kind, c); err != nil {
		return false, err
	}
	return hasM, f.checkOtherReading(content, kind, c, hasM)
}

func describe(kind Type, c count) string {
	switch kind.Flat() {
	case Null, Point:
		return "a shape of " + kind.String()
	case MultiPoint:
		return fmt.Sprintf("a %v of %d points", kind, c.points)
	default:
		return fmt.Sprintf("a %v of %d parts and %d points", kind, c.parts, c.points)
	}
}

// checkParts checks that the parts share out all points: the first starts at
// point 0, each later one behind the one before it.
func (f *shpFile) checkParts(content []byte, kind Type, c count) error {
	if flat := kind.Flat(); flat != PolyLine && flat != Polygon {
		return nil
	}
	start := f.offset + recordHeaderBytes
	if (c.parts == 0) != (c.points == 0) {
		return f.fail(start+36, remedyCopy, "has %d parts but %d points", c.parts, c.points)
	}
	before := -1
	for i := range c.parts {
		at := int(int32(little.Uint32(content[44+4*i:])))
		if at <= before || at >= c.points || (i == 0 && at != 0) {
			return f.fail(start+44+4*int64(i), remedyCopy, "its part %d starts at point %d of %d (the part before at %d)", i+1, at, c.points, max(before, 0))
		}
		before = at
	}
	return nil
}

// checkOtherReading guards the counts of Z and M types. Because the block of
// measures is optional, a damaged count of points can still fit the length:
// 4 points with measures take as many bytes as 6 without. The box and the range
// of Z were written from the true points, so that they decide between the two.
func (f *shpFile) checkOtherReading(content []byte, kind Type, c count, hasM bool) error {
	if !kind.HasM() || kind.Flat() == Point {
		return nil
	}
	per, length := int64(16), int64(len(content))-contentBytes(kind, count{parts: c.parts}, !hasM)
	if kind.HasZ() {
		per += 8
	}
	if !hasM {
		per += 8
	}
	if length < 0 || length%per != 0 {
		return nil
	}
	other := count{c.parts, int(length / per)}
	least := 2 * c.parts // fewer would be no lines
	if kind.Flat() == MultiPoint {
		least = 1
	}
	if other.points < least || f.checkParts(content, kind, other) != nil {
		return nil
	}
	if evidence(content, kind, other) <= evidence(content, kind, c) {
		return nil
	}
	return f.fail(f.offset+recordHeaderBytes+36, remedyCopy, "says it has %d points, but its length, box and range fit %d", c.points, other.points)
}

// evidence is how well the box (2) and the range of Z (1) of a record agree with
// the points that it has if its count is right.
func evidence(content []byte, kind Type, c count) (score int) {
	at := fixedBytes(kind) + 4*int64(c.parts)
	number := func(at int64) float64 { return math.Float64frombits(little.Uint64(content[at:])) }
	span := func(at, step int64) (lo, hi float64) {
		lo, hi = math.Inf(1), math.Inf(-1)
		for i := range int64(c.points) {
			if v := number(at + i*step); !isNoData(v) {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
		return lo, hi
	}
	xlo, xhi := span(at, 16)
	ylo, yhi := span(at+8, 16)
	if xlo == number(4) && ylo == number(12) && xhi == number(20) && yhi == number(28) {
		score += 2
	}
	if at += 16 * int64(c.points); kind.HasZ() {
		if lo, hi := span(at+16, 8); lo == number(at) && hi == number(at+8) {
			score++
		}
	}
	return score
}
