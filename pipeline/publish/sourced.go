package publish

import (
	"bufio"
	"fmt"

	"github.com/asfound/asfound/pipeline/survey"
)

// sourced is a layer of the map on its way out: as it came in, with what became
// of each feature.
type sourced struct {
	*survey.Layer
	frame    *layerFrame
	what     string   // it holds
	shape    string   // type name of the standards: LINESTRING, MULTILINESTRING, POINT
	z        int      // 0 no heights, 1 all have, 2 some have
	added    []column // attributes beside its own
	cells    func(feature int) []cell
	geometry func(feature int) (geometry, error)
}

// sources are the layers of the map: records, then fittings.
func (e *edition) sources() (out []sourced) {
	for l := range e.layers {
		out = append(out, e.sourcedRecords(l))
	}
	for l := range e.points {
		out = append(out, e.sourcedFittings(l))
	}
	return out
}

// sourcedRecords is a layer of records.
func (e *edition) sourcedRecords(l int) sourced {
	s := sourced{
		Layer: &e.Survey.Layers[l], frame: &e.layers[l], what: "Records", shape: "LINESTRING", added: updatedColumns,
		cells:    func(i int) []cell { return e.updatedCells(l, i) },
		geometry: func(i int) (geometry, error) { return e.updatedGeometry(l, i) },
	}
	s.look()
	for i := range s.Features {
		if f := &s.Features[i]; !f.Deleted && len(f.Parts) > 1 {
			s.shape = "MULTILINESTRING"
		}
	}
	return s
}

// sourcedFittings is a layer of fittings.
func (e *edition) sourcedFittings(l int) sourced {
	s := sourced{
		Layer: &e.Survey.PointLayers[l], frame: &e.points[l], what: "Fittings", shape: "POINT", added: fittingColumns,
		cells:    func(i int) []cell { return e.fittingCells(l, i) },
		geometry: func(i int) (geometry, error) { return e.fittingGeometry(l, i) },
	}
	s.look()
	for i := range s.Features {
		if f := &s.Features[i]; !f.Deleted && (len(f.Parts) != 1 || len(f.Parts[0]) != 1) {
			s.shape = "GEOMETRY"
		}
	}
	return s
}

// look sees whether the features have heights.
func (s *sourced) look() {
	with, without := false, false
	for i := range s.Features {
		if f := &s.Features[i]; !f.Deleted {
			with, without = with || f.Z != nil, without || f.Z == nil
		}
	}
	switch {
	case with && without:
		s.z = 2
	case with:
		s.z = 1
	}
}

// writeUpdatedGeoJSON writes records-updated.geojson: every record with its own
// attributes as they stand in the source.
func (e *edition) writeUpdatedGeoJSON(w *bufio.Writer) error {
	var layers []sourced
	for l := range e.layers {
		layers = append(layers, e.sourcedRecords(l))
	}
	return e.writeSourced(w, "records-updated", layers)
}

// writeFittingsGeoJSON writes fittings-updated.geojson: every fitting where its
// line takes it.
func (e *edition) writeFittingsGeoJSON(w *bufio.Writer) error {
	var layers []sourced
	for l := range e.points {
		layers = append(layers, e.sourcedFittings(l))
	}
	return e.writeSourced(w, "fittings-updated", layers)
}

// writeSourced writes layers of the map as one feature collection. Heights stay
// out: RFC 7946 wants them above the WGS 84 ellipsoid, and the source does not
// say above what its heights are; records-updated.gpkg has them.
func (e *edition) writeSourced(w *bufio.Writer, name string, layers []sourced) error {
	g := collection{w: w}
	origins := make([]origin, len(layers))
	for i, l := range layers {
		origins[i] = origin{l.Source, l.CRS, l.frame.toWGS84}
	}
	g.begin(e, name, origins...)
	for _, l := range layers {
		names := uniqueNames(l.Fields, l.added, "fid", "geom")
		for i := range l.Features {
			f := &l.Features[i]
			if f.Deleted {
				continue
			}
			geom, err := l.geometry(i)
			if err != nil {
				return err
			}
			b := g.open()
			for a, field := range l.Fields {
				b = append(appendJSONString(b, names[a]), ':')
				b = append(appendAttribute(b, field.Kind, f.Values[a]), ',')
			}
			for k, v := range l.cells(i) {
				b = append(appendJSONString(appendComma(b, k), l.added[k].name), ':')
				b = appendJSON(b, l.added[k], v)
			}
			if err := g.close(b, geom.parts, l.frame.toWGS84.Apply); err != nil {
				return fmt.Errorf("%s row %d: %w", l.Source, f.Row, err)
			}
		}
	}
	return g.end()
}
