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
func (e *edition) sources() []sourced { return append(e.sourcedRecords(), e.sourcedFittings()...) }

// sourcedRecords are the layers of records.
func (e *edition) sourcedRecords() (out []sourced) {
	for l := range e.layers {
		s := sourced{
			Layer: &e.Survey.Layers[l], frame: &e.layers[l], what: "Records", shape: "LINESTRING", added: updatedColumns,
			cells:    func(i int) []cell { return e.updatedCells(l, i) },
			geometry: func(i int) (geometry, error) { return e.updatedGeometry(l, i) },
		}
		s.look("MULTILINESTRING", func(f *survey.Feature) bool { return len(f.Parts) > 1 })
		out = append(out, s)
	}
	return out
}

// sourcedFittings are the layers of fittings.
func (e *edition) sourcedFittings() (out []sourced) {
	for l := range e.points {
		s := sourced{
			Layer: &e.Survey.PointLayers[l], frame: &e.points[l], what: "Fittings", shape: "POINT", added: fittingColumns,
			cells:    func(i int) []cell { return e.fittingCells(l, i) },
			geometry: func(i int) (geometry, error) { return e.fittingGeometry(l, i) },
		}
		s.look("GEOMETRY", func(f *survey.Feature) bool { return len(f.Parts) != 1 || len(f.Parts[0]) != 1 })
		out = append(out, s)
	}
	return out
}

// look sees whether the features have heights, and the shape that holds them all:
// a wider one where some need it.
func (s *sourced) look(wider string, needed func(*survey.Feature) bool) {
	with, without := false, false
	for i := range s.Features {
		f := &s.Features[i]
		if f.Deleted {
			continue
		}
		with, without = with || f.Z != nil, without || f.Z == nil
		if needed(f) {
			s.shape = wider
		}
	}
	switch {
	case with && without:
		s.z = 2
	case with:
		s.z = 1
	}
}

// each hands over the features that are written, with the geometry that they get.
func (s *sourced) each(do func(feature int, g geometry) error) error {
	for i := range s.Features {
		if s.Features[i].Deleted {
			continue
		}
		g, err := s.geometry(i)
		if err != nil {
			return err
		}
		if err := do(i, g); err != nil {
			return err
		}
	}
	return nil
}

// writeUpdatedGeoJSON writes records-updated.geojson: every record with its own
// attributes as they stand in the source.
func (e *edition) writeUpdatedGeoJSON(w *bufio.Writer) error {
	return e.writeSourced(w, "records-updated", e.sourcedRecords())
}

// writeFittingsGeoJSON writes fittings-updated.geojson: every fitting where its
// line takes it.
func (e *edition) writeFittingsGeoJSON(w *bufio.Writer) error {
	return e.writeSourced(w, "fittings-updated", e.sourcedFittings())
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
		err := l.each(func(i int, geom geometry) error {
			f, b := &l.Features[i], g.open()
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
			return nil
		})
		if err != nil {
			return err
		}
	}
	return g.end()
}
