package publish

import (
	"encoding/binary"
	"math"

	"github.com/paulmach/orb"
)

// Geometry codes of well-known binary (OGC 06-103r4, 8.2.3); a geometry with
// heights has 1000 added.
const (
	wkbPoint = 1 + iota
	wkbLineString
	_
	wkbMultiPoint
	wkbMultiLineString
	wkbZ = 1000
)

// appendGPKG writes a geometry as a GeoPackage holds it (OGC 12-128r18, 2.1.3):
// header, envelope, then little-endian well-known binary. multi wraps a single
// line as well, for a layer of multi-lines. No parts write nothing.
func appendGPKG(b []byte, srs int32, g geometry, multi bool) []byte {
	name, parts := simplest(g.parts)
	if name == "" {
		return b
	}
	const envelopeXY, littleEndian = 1 << 1, 1
	b = append(b, 'G', 'P', 0, envelopeXY|littleEndian)
	b = binary.LittleEndian.AppendUint32(b, uint32(srs))
	bound := orb.MultiLineString(parts).Bound()
	for _, v := range []float64{bound.Min[0], bound.Max[0], bound.Min[1], bound.Max[1]} {
		b = appendFloat(b, v)
	}
	z := g.z
	if len(parts) != len(g.parts) { // parts were left out: their heights no longer pair up
		z = nil
	}
	switch name {
	case "Point":
		return appendWKBPoint(b, parts[0][0], heightOf(z, 0))
	case "MultiPoint":
		b = appendWKBHead(b, wkbMultiPoint+dimension(z), len(parts))
		for i, p := range parts {
			b = appendWKBPoint(b, p[0], heightOf(z, i))
		}
		return b
	}
	if multi || len(parts) > 1 {
		b = appendWKBHead(b, wkbMultiLineString+dimension(z), len(parts))
	}
	for i, part := range parts {
		b = appendWKBHead(b, wkbLineString+dimension(z), len(part))
		for j, p := range part {
			b = appendFloat(appendFloat(b, p[0]), p[1])
			if z != nil {
				b = appendFloat(b, z[i][j])
			}
		}
	}
	return b
}

func dimension(z [][]float64) uint32 {
	if z == nil {
		return 0
	}
	return wkbZ
}

func appendWKBHead(b []byte, code uint32, count int) []byte {
	b = append(b, 1) // little-endian
	b = binary.LittleEndian.AppendUint32(b, code)
	return binary.LittleEndian.AppendUint32(b, uint32(count))
}

// appendWKBPoint writes a point, with its height where it has one.
func appendWKBPoint(b []byte, p orb.Point, z []float64) []byte {
	b = append(b, 1)
	b = binary.LittleEndian.AppendUint32(b, wkbPoint+uint32(len(z))*wkbZ)
	b = appendFloat(appendFloat(b, p[0]), p[1])
	for _, v := range z {
		b = appendFloat(b, v)
	}
	return b
}

// heightOf are the heights of one part; nil without heights.
func heightOf(z [][]float64, part int) []float64 {
	if z == nil {
		return nil
	}
	return z[part][:1]
}

func appendFloat(b []byte, v float64) []byte {
	return binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
}
