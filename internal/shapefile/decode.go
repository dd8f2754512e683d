package shapefile

import (
	"bytes"
	"math"

	"github.com/jonas-p/go-shp"
	"github.com/paulmach/orb"
)

// decoder is go-shp's sequential reader over two buffers that hold one checked
// record at a time.
type decoder struct {
	shp, dbf feed
	seq      shp.SequentialReader
}

// feed serves one buffer after the other.
type feed struct{ bytes.Reader }

func (*feed) Close() error { return nil }

func newDecoder(shpHeader, dbfHeader []byte) (*decoder, error) {
	d := &decoder{}
	d.shp.Reset(shpHeader)
	d.dbf.Reset(dbfHeader)
	d.seq = shp.SequentialReaderFromExt(&d.shp, &d.dbf)
	return d, d.seq.Err()
}

// decode decodes one framed record. It says false if go-shp does not make of it
// what the frame says, which would be a fault of the guard.
func (d *decoder) decode(record, row []byte) (shp.Shape, bool) {
	d.shp.Reset(record)
	d.dbf.Reset(row)
	if !d.seq.Next() || d.shp.Len() != 0 || d.dbf.Len() != 0 {
		return nil, false
	}
	_, shape := d.seq.Shape()
	return shape, true
}

// value is the text of a field of the row last decoded, as it stands.
func (d *decoder) value(field int) string { return d.seq.Attribute(field) }

// geometry is what the types of shapes have in common.
type geometry struct {
	box    shp.Box
	parts  []int32
	points []shp.Point
	z, m   []float64
}

func geometryOf(shape shp.Shape) geometry {
	switch s := shape.(type) {
	case *shp.Point:
		return geometry{points: []shp.Point{*s}}
	case *shp.PointZ:
		return geometry{points: []shp.Point{{X: s.X, Y: s.Y}}, z: []float64{s.Z}, m: []float64{s.M}}
	case *shp.PointM:
		return geometry{points: []shp.Point{{X: s.X, Y: s.Y}}, m: []float64{s.M}}
	case *shp.MultiPoint:
		return geometry{s.Box, nil, s.Points, nil, nil}
	case *shp.MultiPointZ:
		return geometry{s.Box, nil, s.Points, s.ZArray, s.MArray}
	case *shp.MultiPointM:
		return geometry{s.Box, nil, s.Points, nil, s.MArray}
	case *shp.PolyLine:
		return geometry{s.Box, s.Parts, s.Points, nil, nil}
	case *shp.PolyLineZ:
		return geometry{s.Box, s.Parts, s.Points, s.ZArray, s.MArray}
	case *shp.PolyLineM:
		return geometry{s.Box, s.Parts, s.Points, nil, s.MArray}
	case *shp.Polygon:
		return geometry{s.Box, s.Parts, s.Points, nil, nil}
	case *shp.PolygonZ:
		return geometry{s.Box, s.Parts, s.Points, s.ZArray, s.MArray}
	case *shp.PolygonM:
		return geometry{s.Box, s.Parts, s.Points, nil, s.MArray}
	default:
		return geometry{}
	}
}

// fill puts a geometry into a row of a layer of a type. It returns how many
// points have an X or Y that is no number.
func (g geometry) fill(row *Row, kind Type) (noNumber int) {
	points := make([]orb.Point, len(g.points))
	for i, p := range g.points {
		points[i] = orb.Point{orNaN(p.X), orNaN(p.Y)}
		if points[i] != points[i] {
			noNumber++
		}
	}
	if kind == Point && noNumber > 0 {
		row.Null = true
		return noNumber
	}
	starts := g.parts
	if kind == Point || kind == MultiPoint {
		row.Points, starts = points, []int32{0}
	} else {
		row.Parts = make([]orb.LineString, len(starts))
	}
	if g.z != nil {
		row.Z = make([][]float64, len(starts))
	}
	if g.m != nil {
		row.M = make([][]float64, len(starts))
	}
	for i, from := range starts {
		to := int32(len(points))
		if i+1 < len(starts) {
			to = starts[i+1]
		}
		if row.Parts != nil {
			row.Parts[i] = points[from:to:to]
		}
		if g.z != nil {
			row.Z[i] = clean(g.z[from:to:to])
		}
		if g.m != nil {
			row.M[i] = clean(g.m[from:to:to])
		}
	}
	return noNumber
}

// outside says whether a point lies outside the box that the file gives the
// shape, by more than rounding.
func (g geometry) outside() bool {
	slack := 1e-9 * (math.Abs(g.box.MinX) + math.Abs(g.box.MaxX) + math.Abs(g.box.MinY) + math.Abs(g.box.MaxY))
	for _, p := range g.points {
		if p.X < g.box.MinX-slack || p.X > g.box.MaxX+slack || p.Y < g.box.MinY-slack || p.Y > g.box.MaxY+slack {
			return true
		}
	}
	return false
}

func orNaN(v float64) float64 {
	if isNoData(v) {
		return math.NaN()
	}
	return v
}

// clean makes NaN of no data, in place: the slice is go-shp's and used once.
func clean(vs []float64) []float64 {
	for i, v := range vs {
		vs[i] = orNaN(v)
	}
	return vs
}
