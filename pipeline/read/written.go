package read

import (
	"encoding/json"
	"fmt"
	"slices"

	"github.com/asfound/asfound/internal/crs"
	"github.com/paulmach/orb"
)

// written is what a GeoJSON file of asfound says of features that went into it:
// their source, the system that they were in, and the operation that took them
// to WGS 84.
type written struct {
	Source    string `json:"source"`
	CRS       string `json:"crs"`
	Operation string `json:"operation"`
}

// writtenMember reads the member "asfound" of a feature collection. A file that
// others have edited may have anything there, or nothing: then it is WGS 84 as
// RFC 7946 says.
func writtenMember(raw []byte) []written {
	var m struct {
		Operations []written `json:"coordinate_operations"`
	}
	if json.Unmarshal(raw, &m) != nil {
		return nil
	}
	for _, w := range m.Operations {
		if w.CRS == "" || w.Operation == "" {
			return nil
		}
	}
	return m.Operations
}

// sourceProperty is the attribute that says from which source a record came.
const sourceProperty = "asfound_source"

// undo takes a layer that asfound wrote back to the system that it came from, by
// the inverse of the very operation that wrote it. Where it came from several,
// all go to that of the first.
func (l *layerFile) undo(grids []*crs.Grid) error {
	if len(l.written) == 0 {
		return nil
	}
	wgs84, err := crs.Parse("EPSG:4326")
	if err != nil {
		return err
	}
	o := crs.Options{Grids: grids}
	var first *crs.System
	var undoing []undoing
	for i, w := range l.written {
		u, err := w.undoing(wgs84, o)
		if err != nil {
			return err
		}
		if i == 0 {
			first = u.system
		}
		if u.onwards, err = crs.NewOperationAt(u.system, first, o); err != nil {
			return fmt.Errorf("it came from %s and %s: %w", first.Name(), u.system.Name(), err)
		}
		undoing = append(undoing, u)
		note := "read back into " + first.Name() + " by undoing what wrote it"
		if w.Source != "" {
			note += " from " + w.Source
		}
		l.notes = append(l.notes, note+": "+w.Operation)
	}
	column := slices.IndexFunc(l.columns(), func(name string) bool { return name == sourceProperty })
	for i := range l.features {
		f := &l.features[i]
		which := 0
		if len(undoing) > 1 && column >= 0 {
			which = slices.IndexFunc(l.written, func(w written) bool { return w.Source == f.Values[column].Text })
		}
		if which < 0 || len(undoing) > 1 && column < 0 {
			return fmt.Errorf("feature %d does not say in %s from which of its %d sources it came: give crs: EPSG:4326 to take it as it stands", i+1, sourceProperty, len(undoing))
		}
		for _, part := range f.Parts {
			for v := range part {
				if part[v], err = undoing[which].apply(part[v]); err != nil {
					return fmt.Errorf("feature %d: %w", i+1, err)
				}
			}
		}
	}
	l.crs = first.Definition()
	return nil
}

// undoing is the way back of features of one source.
type undoing struct {
	system        *crs.System
	back, onwards *crs.Operation
}

func (w written) undoing(wgs84 *crs.System, o crs.Options) (u undoing, err error) {
	if u.system, err = crs.Parse(w.CRS); err != nil {
		return u, fmt.Errorf("it says that it came from a system that is not known: %w", err)
	}
	there, err := crs.NewOperationAt(u.system, wgs84, o)
	if err == nil && there.Name() != w.Operation {
		err = fmt.Errorf("the way from there is now: %s", there.Name())
	}
	if err != nil {
		return u, fmt.Errorf("it was written by %q, which cannot be undone (%w): give the same grids, or crs: EPSG:4326 to take it as it stands", w.Operation, err)
	}
	u.back = there.Inverse()
	return u, nil
}

func (u undoing) apply(p orb.Point) (orb.Point, error) {
	q, err := u.back.Apply(p)
	if err != nil {
		return q, err
	}
	return u.onwards.Apply(q)
}
