package shapefile

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"github.com/jonas-p/go-shp"
	"github.com/paulmach/orb"
)

// check refuses a layer that the files cannot hold as it is.
func check(name string, l *Layer) error {
	fail := func(record int, field, remedy, format string, a ...any) error {
		return &Error{File: name, Record: record, Field: field, Problem: fmt.Sprintf(format, a...), Remedy: remedy}
	}
	if !l.Type.known() {
		return fail(0, "", "use points, lines or polygons", "shapes of %v cannot be written", l.Type)
	}
	for _, f := range l.Fields {
		switch {
		case f.Name == "" || len(f.Name) > maxNameBytes || strings.ContainsRune(f.Name, 0) || !utf8.ValidString(f.Name):
			return fail(0, f.Name, "rename the field", "a name has 1 to %d bytes of UTF-8, this one %d", maxNameBytes, len(f.Name))
		case !strings.ContainsRune("CNFDL", rune(f.Type)):
			return fail(0, f.Name, "use C, N, F, D or L", "%q is no type of field", f.Type)
		case f.Length < 1 || f.Length > math.MaxUint8:
			return fail(0, f.Name, "shorten the field", "a length is 1 to %d, this one %d", math.MaxUint8, f.Length)
		case f.Decimals < 0 || f.Decimals > math.MaxUint8:
			return fail(0, f.Name, "change its decimals", "%d decimals cannot be written", f.Decimals)
		}
	}
	if _, row := tableBytes(l.Fields); row > maxTableRowBytes || len(l.Fields) > maxFields {
		return fail(0, "", "leave out or shorten fields", "%d fields of %d bytes together are too much; %d and %d can be written", len(l.Fields), row, maxFields, maxTableRowBytes)
	}
	size := int64(headerBytes)
	for i := range l.Rows {
		row := &l.Rows[i]
		if problem := checkShape(row, l.Type); problem != "" {
			return fail(i+1, "", "correct the shape", "%s", problem)
		}
		if len(row.Values) != len(l.Fields) {
			return fail(i+1, "", "give each field a value", "has %d values for %d fields", len(row.Values), len(l.Fields))
		}
		for k, f := range l.Fields {
			v := trim(row.Values[k])
			switch {
			case len(v) > f.Length:
				return fail(i+1, f.Name, "lengthen the field or shorten the value", "%q has %d bytes, the field %d", v, len(v), f.Length)
			case strings.ContainsRune(v, 0) || !utf8.ValidString(v):
				return fail(i+1, f.Name, "correct the value", "%q is not text in UTF-8", v)
			}
		}
		size += recordHeaderBytes + writtenBytes(row, l.Type)
	}
	if size > 2*math.MaxInt32 {
		return fail(0, "", "write several layers", "%d bytes of shapes are more than the %d that such a file can hold", size, 2*math.MaxInt32)
	}
	return nil
}

// checkShape says what is wrong with a shape; "" nothing.
func checkShape(row *Row, kind Type) string {
	if row.Null {
		return ""
	}
	parts := partsOf(row, kind)
	switch kind.Flat() {
	case Null:
		return "a layer of null shapes can have no other"
	case Point:
		if len(row.Points) != 1 || row.Parts != nil {
			return fmt.Sprintf("has %d points and %d parts; a point has one and none", len(row.Points), len(row.Parts))
		}
	case MultiPoint:
		if row.Parts != nil {
			return fmt.Sprintf("has %d parts; a multipoint has points", len(row.Parts))
		}
	default:
		if row.Points != nil {
			return fmt.Sprintf("has %d points; a %v has parts", len(row.Points), kind)
		}
	}
	for i, part := range parts {
		if len(part) == 0 && kind.Flat() != MultiPoint {
			return fmt.Sprintf("part %d has no points", i+1)
		}
		for k, p := range part {
			if isNoData(p[0]) || isNoData(p[1]) {
				return fmt.Sprintf("point %d of part %d is at %v, %v", k+1, i+1, p[0], p[1])
			}
		}
		if kind.HasZ() && (len(row.Z) != len(parts) || len(row.Z[i]) != len(part)) {
			return fmt.Sprintf("part %d has %d points and not as many Z", i+1, len(part))
		}
		if row.M != nil && (len(row.M) != len(parts) || len(row.M[i]) != len(part)) {
			return fmt.Sprintf("part %d has %d points and not as many M", i+1, len(part))
		}
	}
	if (row.Z != nil && !kind.HasZ()) || (row.M != nil && !kind.HasM()) {
		return fmt.Sprintf("has Z or M that a %v cannot hold", kind)
	}
	return ""
}

// partsOf are the parts of a shape; those of points are one.
func partsOf(row *Row, kind Type) []orb.LineString {
	if flat := kind.Flat(); flat == Point || flat == MultiPoint {
		return []orb.LineString{row.Points}
	}
	return row.Parts
}

// writtenBytes is how long the content of a row's record is.
func writtenBytes(row *Row, kind Type) int64 {
	if row.Null {
		return contentBytes(Null, count{}, false)
	}
	c := count{parts: len(row.Parts), points: len(row.Points)}
	for _, part := range row.Parts {
		c.points += len(part)
	}
	return contentBytes(kind, c, kind.HasM())
}

// shapeOf makes go-shp's shape of a row.
func shapeOf(row *Row, kind Type) shp.Shape {
	if row.Null {
		return &shp.Null{}
	}
	var (
		starts []int32
		points []shp.Point
		z, m   []float64
	)
	for i, part := range partsOf(row, kind) {
		starts = append(starts, int32(len(points)))
		for k, p := range part {
			points = append(points, shp.Point{X: p[0], Y: p[1]})
			if kind.HasZ() {
				z = append(z, orNoData(row.Z[i][k]))
			}
			if kind.HasM() && row.M != nil {
				m = append(m, orNoData(row.M[i][k]))
			} else if kind.HasM() {
				m = append(m, noData)
			}
		}
	}
	box, n := shp.BBoxFromPoints(points), int32(len(points))
	zs, ms := newSpan(), newSpan()
	zs.add(z...)
	ms.add(m...)
	line := shp.PolyLineZ{
		Box: box, NumParts: int32(len(starts)), NumPoints: n, Parts: starts, Points: points,
		ZRange: zs.or(noData), ZArray: z, MRange: ms.or(noData), MArray: m,
	}
	flat := shp.PolyLine{Box: box, NumParts: line.NumParts, NumPoints: n, Parts: starts, Points: points}
	switch kind {
	case Point:
		return &points[0]
	case PointZ:
		return &shp.PointZ{X: points[0].X, Y: points[0].Y, Z: z[0], M: m[0]}
	case PointM:
		return &shp.PointM{X: points[0].X, Y: points[0].Y, M: m[0]}
	case MultiPoint:
		return &shp.MultiPoint{Box: box, NumPoints: n, Points: points}
	case MultiPointZ:
		return &shp.MultiPointZ{Box: box, NumPoints: n, Points: points, ZRange: line.ZRange, ZArray: z, MRange: line.MRange, MArray: m}
	case MultiPointM:
		return &shp.MultiPointM{Box: box, NumPoints: n, Points: points, MRange: line.MRange, MArray: m}
	case PolyLine:
		return &flat
	case PolyLineZ:
		return &line
	case PolyLineM:
		return &shp.PolyLineM{Box: box, NumParts: line.NumParts, NumPoints: n, Parts: starts, Points: points, MRange: line.MRange, MArray: m}
	case Polygon:
		polygon := shp.Polygon(flat)
		return &polygon
	case PolygonZ:
		polygon := shp.PolygonZ(line)
		return &polygon
	default:
		polygon := shp.PolygonM(line)
		return &polygon
	}
}

func orNoData(v float64) float64 {
	if isNoData(v) {
		return noData
	}
	return v
}
