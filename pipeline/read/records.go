package read

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// recordsLayer is one file of the utility's map on its way to records.
type recordsLayer struct {
	account
	src     RecordsSource
	file    *layerFile
	layer   survey.Layer
	system  *crs.System
	records []survey.Record
}

// openRecords reads a records file whole, in its own coordinate system. A
// broken one is an error: a map with a hole in it would be judged as if
// nothing lay there.
func openRecords(src RecordsSource, grids []*crs.Grid) (*recordsLayer, error) {
	l := &recordsLayer{src: src, account: account{Source: survey.Source{Name: src.Name, Layer: src.Layer, Role: survey.RoleRecords}, odd: oddities{}}}
	if err := l.open(grids); err != nil {
		return nil, fmt.Errorf("records %s%s: %s", src.Name, src.named(), plainError(src.File, err))
	}
	return l, nil
}

func (l *recordsLayer) open(grids []*crs.Grid) (err error) {
	if err = l.identify(l.src.File); err != nil {
		return err
	}
	if l.file, err = readLayer(l.src.File, shapeLines); err != nil {
		return err
	}
	if err = l.addSiblings(l.src.File, l.file.siblings); err != nil {
		return err
	}
	if l.src.CRS == "" {
		if err = l.file.undo(grids); err != nil {
			return err
		}
	}
	if l.system, err = parseSystem(l.src.File, l.file.crs); err != nil {
		return err
	}
	l.Notes = append(l.Notes, l.file.notes...)
	l.layer = survey.Layer{
		Source: l.src.File.source(), Name: l.file.name, CRS: l.system.Definition(),
		Fields: l.file.fields, Features: l.file.features,
	}
	return nil
}

// middle is the centre of the box around the layer's lines.
func (l *recordsLayer) middle() (orb.Point, bool) {
	var b *orb.Bound
	for i := range l.file.features {
		if f := &l.file.features[i]; !f.Deleted {
			for _, part := range f.Parts {
				for _, p := range part {
					if !finite(p) {
						continue
					}
					if b == nil {
						b = &orb.Bound{Min: p, Max: p}
					}
					*b = b.Extend(p)
				}
			}
		}
	}
	if b == nil {
		return orb.Point{}, false
	}
	return b.Center(), true
}

// middleDegrees is that centre as longitude and latitude.
func (l *recordsLayer) middleDegrees() (orb.Point, bool, error) {
	at, ok := l.middle()
	if !ok || !l.system.Projected() {
		return at, ok, nil
	}
	op, err := crs.NewOperation(l.system, l.system.Geographic())
	if err == nil {
		at, err = op.Apply(at)
	}
	if err != nil {
		return at, false, fmt.Errorf("records %s: its middle: %w", l.Name, err)
	}
	return at, true, nil
}

// mapCells reads the attributes of a map's features, lines or points.
type mapCells struct {
	*cells
	sheet        cell
	placeholders map[string]bool
}

func (b *binder) mapCells(sheet Column, placeholderSheets []string) mapCells {
	m := mapCells{cells: newCells(b.table), sheet: b.cell(sheet), placeholders: map[string]bool{}}
	for _, s := range placeholderSheets {
		m.placeholders[strings.ToLower(strings.TrimSpace(s))] = true
	}
	return m
}

// recordReader reads the attributes of a layer of lines.
type recordReader struct {
	mapCells
	utility, conductor, id, installed, material, quality, diameter cell
	depth                                                          depthColumns
	conductors                                                     vocabulary[survey.Conductor]
}

func (l *recordsLayer) reader(placeholderSheets []string) (*recordReader, error) {
	b := &binder{table: &table{columns: l.file.columns()}}
	r := &recordReader{
		mapCells: b.mapCells(l.src.Sheet, placeholderSheets),
		utility:  b.cell(l.src.Utility), conductor: b.cell(l.src.Conductor),
		id: b.cell(l.src.ID), installed: b.cell(l.src.Installed),
		material: b.cell(l.src.Material), quality: b.cell(l.src.Quality), diameter: b.cell(l.src.Diameter),
		depth:      b.depth(&l.src),
		conductors: newVocabulary(conductorWords, "what carries a signal", ""),
	}
	r.odd = l.odd
	return r, b.err()
}

// read takes the layer's features to records in the plane.
func (l *recordsLayer) read(ctx context.Context, pl *plane, placeholderSheets []string) error {
	fail := func(err error) error { return fmt.Errorf("records %s: %w", l.Name, err) }
	r, err := l.reader(placeholderSheets)
	if err != nil {
		return fail(err)
	}
	to, err := pl.projection(l.system, l.src.Epoch)
	if err != nil {
		return cmp.Or(epochMissing(l.src.File, err), fail(err))
	}
	l.reached(l.src.File, to)
	var values row
	for i := range l.layer.Features {
		f := &l.layer.Features[i]
		if l.Rows++; l.Rows%rowsPerLook == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		r.take(l.file.rowOf(i, &values))
		record, why := survey.Record{}, l.file.damage[i]
		if why == "" {
			record, why = l.record(r, f, to, pl)
		}
		if why != "" {
			l.reject(&values, fault{reason: why})
			continue
		}
		record.Feature = i
		for _, part := range record.Parts {
			for _, p := range part {
				l.extend(p)
			}
		}
		l.Used++
		l.records = append(l.records, record)
	}
	if l.Rows > 0 && l.Used == 0 {
		return fail(errors.New("none of its rows holds a line that can be used: " + l.rejects[0].Reason))
	}
	l.leaveOutRepeated()
	l.key()
	l.Notes = append(l.Notes, l.odd.lines()...)
	return nil
}

// record is one feature as a record. why is the reason that it is none.
func (l *recordsLayer) record(r *recordReader, f *survey.Feature, to projection, pl *plane) (rec survey.Record, why string) {
	switch {
	case len(f.Parts) == 0:
		return rec, noGeometry
	case f.Deleted:
		return rec, "the row is deleted"
	}
	l.dropDegenerate(f)
	if len(f.Parts) == 0 {
		return rec, "the line has fewer than two distinct points"
	}
	parts, why := to.parts(f.Parts)
	if why != "" {
		return rec, why
	}
	scale, convergence, err := pl.factors(middle(parts))
	if err != nil {
		return rec, "the working plane has no scale there: " + err.Error()
	}
	rec = survey.Record{
		Source: l.layer.Source, Parts: parts, Scale: scale, Convergence: convergence,
		ID:      r.text(&r.id),
		Utility: r.cells.utility(&r.utility), Sheet: r.sheetOf(),
		Material: r.text(&r.material), Quality: r.text(&r.quality),
		Installed: r.year(), Conductor: r.conductors.read(r.cells, &r.conductor),
		DiameterM: r.diameterM(),
	}
	rec.CoverM, rec.CoverU = r.cover(rec.DiameterM)
	return rec, ""
}

// dropDegenerate leaves out the parts of a feature that have no length. They
// go from the layer too, so that parts have the same number in both.
func (l *recordsLayer) dropDegenerate(f *survey.Feature) {
	kept := 0
	for i, part := range f.Parts {
		if distinct(part, 2) < 2 {
			continue
		}
		f.Parts[kept] = part
		if f.Z != nil {
			f.Z[kept] = f.Z[i]
		}
		kept++
	}
	if kept > 0 && kept < len(f.Parts) {
		l.odd.note("a part without length was left out of its line", "row "+strconv.Itoa(f.Row))
	}
	f.Parts = f.Parts[:kept]
	if f.Z != nil {
		f.Z = f.Z[:kept]
	}
}

// sheetOf is the drawing, unless it only fills a mandatory field.
func (r *mapCells) sheetOf() string {
	s := r.text(&r.sheet)
	if s != "" && r.placeholders[strings.ToLower(s)] {
		r.odd.note(r.sheet.Name+": a placeholder, taken as no sheet", s)
		return ""
	}
	return s
}

// year finds the year in a number or a date; 0 where there is none.
func (r *recordReader) year() int {
	s := r.raw(&r.installed)
	if s == "" {
		return 0
	}
	year := yearIn(s)
	if year == 0 {
		r.odd.note(r.installed.Name+": names no year", s)
	}
	return year
}

// yearIn finds the year in "1972", "1972.0", "12/3/1972", "1972-03-12" or
// "19720312": the only group of four digits, or the first four of eight, that
// can be a year.
func yearIn(s string) int {
	if whole, fraction, ok := strings.Cut(s, "."); ok && strings.Trim(fraction, "0") == "" {
		s = whole
	}
	found := 0
	for _, digits := range strings.FieldsFunc(s, func(c rune) bool { return c < '0' || c > '9' }) {
		if len(digits) == 14 || len(digits) == 8 {
			digits = digits[:4]
		}
		if year, err := strconv.Atoi(digits); err == nil && len(digits) == 4 && year >= 1700 && year <= 2200 {
			if found != 0 && found != year {
				return 0
			}
			found = year
		}
	}
	return found
}

// quantity is a number that a record can do without: one that cannot be read
// is noted.
func (r *recordReader) quantity(b *cell) float64 {
	v := r.number(b)
	if !r.ok() {
		r.odd.note(b.Name+": "+r.fault.reason+", taken as not stated", r.fault.value)
		r.fault = fault{}
		return math.NaN()
	}
	return v
}

// diameterM is the recorded diameter. No pipe has none: 0 stands for unknown.
func (r *recordReader) diameterM() float64 {
	d := r.quantity(&r.diameter)
	if d <= 0 {
		r.odd.note(r.diameter.Name+": not above 0, taken as not stated", r.raw(&r.diameter))
		return math.NaN()
	}
	return d
}
