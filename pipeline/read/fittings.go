package read

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// fittingsLayer is one file of the map's point assets on its way to fittings.
type fittingsLayer struct {
	account
	src      FittingsSource
	file     *layerFile
	layer    survey.Layer
	fittings []survey.Fitting
	ids      map[string]int // how many fittings have an id, as the file says it
}

// fittingReader reads the attributes of a layer's features.
type fittingReader struct {
	mapCells
	utility, id cell
	to          projection
	plane       *plane
}

// readFittings reads one file of fittings. No verdict rests on a fitting that is
// not there, as verdicts rest on records: a file that cannot be read, or of
// which no row can be used, is set aside, and the rest goes on. Single bad rows
// are rejected whatever their share, as those of records are: many utilities
// have fittings that nobody ever gave a position.
func readFittings(ctx context.Context, src FittingsSource, pl *plane, placeholderSheets []string) (*fittingsLayer, error) {
	l := &fittingsLayer{src: src, ids: map[string]int{}, account: account{Source: survey.Source{Name: src.Name, Layer: src.Layer, Role: survey.RoleFittings}, odd: oddities{}}}
	system, err := l.open(pl.grids)
	if l.file == nil {
		l.setAside("it cannot be read: "+plainError(src.File, err), nil)
		return l, nil
	}
	r, bindErr := l.reader(system, pl, placeholderSheets)
	if missing := epochMissing(src.File, bindErr); missing != nil {
		return nil, missing
	}
	aside := ""
	if err = cmp.Or(err, bindErr); err != nil {
		aside = strings.ReplaceAll(plainError(src.File, err), "\n", "; ")
	}
	var values row
	for i := range l.layer.Features {
		if l.Rows++; l.Rows%rowsPerLook == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		l.file.rowOf(i, &values)
		if aside != "" {
			l.reject(&values, fault{reason: "its file is set aside: " + aside})
			continue
		}
		l.take(r, i, &values)
	}
	if aside == "" && l.Rows > 0 && l.Used == 0 {
		aside = "none of its rows holds a fitting that can be used: " + l.rejects[0].Reason
	}
	if aside != "" {
		l.setAside(aside, nil)
		return l, nil
	}
	l.leaveOutRepeated()
	l.key()
	l.Notes = append(l.Notes, l.odd.lines()...)
	return l, nil
}

// open reads the layer, in its own coordinate system. Where that cannot be told
// the layer comes with the error.
func (l *fittingsLayer) open(grids []*crs.Grid) (system *crs.System, err error) {
	l.file, err = l.openLayer(l.src.File, shapePoints)
	if l.file == nil {
		return nil, err
	}
	if err == nil && l.src.CRS == "" {
		err = l.file.undo(grids)
	}
	if err == nil {
		system, err = parseSystem(l.src.File, l.file.crs)
	}
	l.Notes = append(l.Notes, l.file.notes...)
	l.layer = survey.Layer{Source: l.src.File.source(), Name: l.file.name, Fields: l.file.fields, Features: l.file.features}
	if system != nil {
		l.layer.CRS = system.Definition()
	}
	return system, err
}

// reader binds the layer's columns. A system that is not known is told already.
func (l *fittingsLayer) reader(system *crs.System, pl *plane, placeholderSheets []string) (*fittingReader, error) {
	b := &binder{table: &table{columns: l.file.columns()}}
	r := &fittingReader{
		mapCells: b.mapCells(l.src.Sheet, placeholderSheets),
		utility:  b.cell(l.src.Utility), id: b.cell(l.src.ID),
		plane: pl,
	}
	r.odd = l.odd
	if system != nil {
		to, err := pl.projection(system, l.src.Epoch)
		if err != nil {
			b.problems = append(b.problems, err)
		}
		r.to = to
		l.reached(l.src.File, to)
	}
	return r, b.err()
}

// take takes one feature to a fitting, or rejects it.
func (l *fittingsLayer) take(r *fittingReader, i int, values *row) {
	r.take(values)
	f := &l.layer.Features[i]
	fitting, why := survey.Fitting{}, fault{reason: l.file.damage[i]}
	if why.reason == "" {
		fitting, why = l.fitting(r, f)
	}
	if why.reason != "" {
		l.reject(values, why)
		return
	}
	fitting.Feature = i
	l.extend(fitting.Point)
	l.Used++
	l.ids[fitting.ID]++
	l.fittings = append(l.fittings, fitting)
}

// fitting is one feature as a fitting, or why it is none.
func (l *fittingsLayer) fitting(r *fittingReader, f *survey.Feature) (p survey.Fitting, why fault) {
	switch {
	case len(f.Parts) == 0:
		return p, fault{reason: noGeometry}
	case f.Deleted:
		return p, fault{reason: "the row is deleted"}
	case len(f.Parts) > 1 || len(f.Parts[0]) != 1:
		return p, fault{reason: "the row has several points: one is a fitting"}
	}
	stated := f.Parts[0][0]
	bad := func(reason string) fault {
		return fault{value: fmt.Sprintf("%v, %v", stated[0], stated[1]), reason: reason}
	}
	if !finite(stated) {
		return p, bad("has no position")
	}
	l.sample.add(stated)
	at, outside := r.to.apply(stated)
	if outside != "" {
		return p, bad(outside)
	}
	scale, convergence, err := r.plane.factors(at)
	if err != nil {
		return p, bad("lies where the working plane has no scale: " + err.Error())
	}
	return survey.Fitting{
		Source: l.layer.Source, ID: r.text(&r.id), Utility: r.cells.utility(&r.utility), Sheet: r.sheetOf(),
		Point: at, Scale: scale, Convergence: convergence,
	}, fault{}
}

// leaveOutRepeated counts fittings that repeat another one as duplicates, and
// notes those that lie on another.
func (l *fittingsLayer) leaveOutRepeated() {
	of := make([]int, len(l.fittings))
	for i := range l.fittings {
		of[i] = l.fittings[i].Feature
	}
	again, onOther := l.repeats(&l.layer, of, l.src.ID.Name)
	for i := range l.fittings {
		if again[i] {
			l.ids[l.fittings[i].ID]--
		}
	}
	l.fittings = without(l.fittings, again)
	if onOther > 0 {
		l.Notes = append(l.Notes, words.Count(onOther, "fitting lies", "fittings lie")+" wholly on another fitting of this file")
	}
}

// key makes the ids of the fittings unique, and sorts them by id.
func (l *fittingsLayer) key() {
	slices.SortFunc(l.fittings, func(a, b survey.Fitting) int {
		return cmp.Or(strings.Compare(a.ID, b.ID), comparePoints(a.Point, b.Point), cmp.Compare(a.Feature, b.Feature))
	})
	ids, rows := make([]*string, len(l.fittings)), make([]int, len(l.fittings))
	for i := range l.fittings {
		ids[i], rows[i] = &l.fittings[i].ID, l.layer.Features[l.fittings[i].Feature].Row
	}
	l.uniqueIDs(ids, rows, [2]string{"fitting", "fittings"}, l.src.ID.Given())
	slices.SortFunc(l.fittings, func(a, b survey.Fitting) int { return strings.Compare(a.ID, b.ID) })
}

// noteUnknownFittings tells of exposures that name a fitting which no file of
// fittings has, or more than one.
func (in *inputs) noteUnknownFittings() {
	of := map[string]int{}
	for _, l := range in.fittings {
		for id, n := range l.ids {
			of[id] += n
		}
	}
	of[""] = 1 // which names none
	for _, f := range in.exposures {
		odd := oddities{}
		for i := range f.items {
			switch id := f.items[i].Fitting; of[id] {
			case 0:
				odd.note("names a fitting that no file of fittings has", id)
			case 1:
			default:
				odd.note("names a fitting whose id stands on several", id)
			}
		}
		f.Notes = append(f.Notes, odd.lines()...)
	}
}
