package read

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// Well-known binary, as OGC 06-103r4 (Simple Feature Access, part 1) clause 8
// has it: a byte for the order of bytes, a type, and what the type says. Z, M
// and ZM types are 1000, 2000 and 3000 higher. (The reader of orb leaves Z out.)
const (
	wkbPoint = iota + 1
	wkbLine
	wkbPolygon
	wkbMultiPoint
	wkbMultiLine
	wkbMultiPolygon
)

var errShortGeometry = errors.New("its geometry is cut short")

// wkbReader reads one geometry into a feature's parts.
type wkbReader struct {
	data []byte
	f    *survey.Feature
}

// parseWKB reads a geometry; kind is "" for an empty one.
func parseWKB(data []byte, f *survey.Feature) (kind shape, err error) {
	r := &wkbReader{data: data, f: f}
	code, err := r.geometry(0)
	switch {
	case err != nil:
		return "", err
	case len(f.Parts) == 0:
		return "", nil
	}
	switch code {
	case wkbPoint, wkbMultiPoint:
		if code == wkbMultiPoint { // as one part of several points
			r.join()
		}
		return shapePoints, nil
	case wkbLine, wkbMultiLine:
		return shapeLines, nil
	}
	return shapePolygons, nil
}

func (r *wkbReader) uint32(order binary.ByteOrder) (uint32, error) {
	if len(r.data) < 4 {
		return 0, errShortGeometry
	}
	v := order.Uint32(r.data)
	r.data = r.data[4:]
	return v, nil
}

// geometry reads a geometry that may be of a kind that holds others.
func (r *wkbReader) geometry(depth int) (code uint32, err error) {
	if len(r.data) == 0 {
		return 0, errShortGeometry
	}
	var order binary.ByteOrder = binary.LittleEndian
	if r.data[0] == 0 {
		order = binary.BigEndian
	}
	r.data = r.data[1:]
	typed, err := r.uint32(order)
	if err != nil {
		return 0, err
	}
	code, dims := typed%1000, typed/1000
	if dims > 3 || code < wkbPoint || code > wkbMultiPolygon || depth > 1 {
		return 0, fmt.Errorf("its geometry is of type %d, which is none of point, line and polygon", typed)
	}
	width := []int{2, 3, 3, 4}[dims]
	hasZ := dims == 1 || dims == 3
	switch code {
	case wkbPoint:
		return code, r.sequence(order, 1, width, hasZ)
	case wkbLine:
		n, err := r.uint32(order)
		if err != nil {
			return code, err
		}
		return code, r.sequence(order, n, width, hasZ)
	}
	n, err := r.uint32(order)
	for ; n > 0 && err == nil; n-- {
		if code == wkbPolygon {
			var points uint32
			if points, err = r.uint32(order); err == nil {
				err = r.sequence(order, points, width, hasZ)
			}
			continue
		}
		_, err = r.geometry(depth + 1)
	}
	return code, err
}

// sequence reads positions as a part. An empty point has coordinates that are
// no numbers, and an empty line has no positions: neither is a part.
func (r *wkbReader) sequence(order binary.ByteOrder, n uint32, width int, hasZ bool) error {
	if uint64(len(r.data)) < uint64(n)*uint64(8*width) {
		return errShortGeometry
	}
	positions := make([][]float64, n)
	numbers := make([]float64, int(n)*width)
	for i := range numbers {
		numbers[i] = math.Float64frombits(order.Uint64(r.data[8*i:]))
	}
	r.data = r.data[8*len(numbers):]
	use := 2
	if hasZ {
		use = 3
	}
	for i := range positions {
		positions[i] = numbers[i*width : i*width+use]
	}
	if n == 0 || n == 1 && math.IsNaN(positions[0][0]) && math.IsNaN(positions[0][1]) {
		return nil
	}
	if why := addPart(r.f, positions); why != "" {
		return errors.New(why)
	}
	return nil
}

// join puts all parts into one.
func (r *wkbReader) join() {
	var points orb.LineString
	var z []float64
	for i, part := range r.f.Parts {
		points = append(points, part...)
		if r.f.Z != nil {
			z = append(z, r.f.Z[i]...)
		}
	}
	r.f.Parts = []orb.LineString{points}
	if r.f.Z != nil {
		r.f.Z = [][]float64{z}
	}
}
