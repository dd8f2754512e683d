package read

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// areasFile is one file of swept areas.
type areasFile struct {
	account
	areas []survey.Area
}

type areaReader struct {
	*cells
	to                                       projection
	utilities                                []string // of every row
	utility, ticket, method, swept, district cell
	name                                     string
	role                                     survey.Role
}

// readAreas reads one file of swept areas. Like a field file it is set aside
// when it is broken or too bad.
func readAreas(ctx context.Context, src AreasSource, pl *plane, maxRejectShare float64) (*areasFile, error) {
	return readPolygons(ctx, src, Column{}, survey.RoleAreas, pl, maxRejectShare)
}

// readDistricts reads one file of districts, whole: a row that cannot be used is
// an error.
func readDistricts(ctx context.Context, src DistrictsSource, pl *plane) (*areasFile, error) {
	a, err := readPolygons(ctx, AreasSource{File: src.File}, src.District, survey.RoleDistricts, pl, 1)
	switch {
	case err != nil:
		return nil, err
	case a.SetAside != "":
		return nil, fmt.Errorf("%s: rules of %s name districts of this file, but %s", src.Name, src.At, a.SetAside)
	case len(a.rejects) > 0:
		r := &a.rejects[0]
		return nil, fmt.Errorf("%s, row %d: rules of %s name districts of this file, but %s; correct the row or remove it", src.Name, r.Row, src.At, r.Reason)
	}
	return a, nil
}

func readPolygons(ctx context.Context, src AreasSource, district Column, role survey.Role, pl *plane, maxRejectShare float64) (*areasFile, error) {
	a := &areasFile{account: account{Source: survey.Source{Name: src.Name, Layer: src.Layer, Role: role}}}
	l, err := a.openLayer(src.File, shapePolygons)
	if l == nil {
		a.setAside("it cannot be read: "+plainError(src.File, err), nil)
		return a, nil
	}
	a.Notes = append(a.Notes, l.notes...)
	r, bindErr := a.reader(src, district, l, pl)
	if missing := epochMissing(src.File, bindErr); missing != nil {
		return nil, missing
	}
	if err = cmp.Or(err, bindErr); err != nil {
		a.SetAside = strings.ReplaceAll(err.Error(), "\n", "; ")
	}
	var values row
	for i := range l.features {
		if a.Rows++; a.Rows%rowsPerLook == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if a.SetAside != "" {
			a.reject(l.rowOf(i, &values), fault{reason: "its file is set aside: " + a.SetAside})
			continue
		}
		a.take(r, l, i, &values)
	}
	if a.SetAside == "" {
		a.SetAside = a.tooBad(maxRejectShare)
	}
	if a.SetAside != "" {
		a.setAside(a.SetAside, a.places())
		a.areas = nil
		return a, nil
	}
	a.Notes = append(a.Notes, a.odd.lines()...)
	return a, nil
}

func (a *areasFile) places() []survey.Place {
	places := make([]survey.Place, len(a.areas))
	for i := range a.areas {
		places[i] = a.areas[i].Place
	}
	return places
}

func (a *areasFile) reader(src AreasSource, district Column, l *layerFile, pl *plane) (*areaReader, error) {
	b := &binder{table: &table{columns: l.columns(), crs: l.crs}}
	r := &areaReader{
		cells:   newCells(b.table),
		utility: b.cell(src.Utility), ticket: b.cell(src.Ticket), method: b.cell(src.Method), swept: b.cell(src.Swept),
		district: b.cell(district), name: src.source(), role: a.Role,
	}
	for _, u := range src.Utilities {
		r.utilities = append(r.utilities, strings.ToLower(strings.TrimSpace(u)))
	}
	if system := b.system(src.File); system != nil {
		to, err := pl.projection(system, src.Epoch)
		if err != nil {
			b.problems = append(b.problems, err)
		}
		r.to = to
		a.reached(src.File, to)
	}
	a.odd = r.odd
	return r, b.err()
}

// take takes one feature to an area, or rejects it.
func (a *areasFile) take(r *areaReader, l *layerFile, i int, values *row) {
	r.take(l.rowOf(i, values))
	area, why := survey.Area{}, l.damage[i]
	if why == "" {
		area, why = r.read(&l.features[i])
	}
	switch {
	case why != "":
		a.reject(values, fault{reason: why})
		return
	case !r.ok():
		a.reject(values, r.fault)
		return
	}
	b := area.Polygon.Bound()
	a.extend(b.Min)
	a.extend(b.Max)
	a.Used++
	a.areas = append(a.areas, area)
}

func (r *areaReader) read(f *survey.Feature) (area survey.Area, why string) {
	switch {
	case len(f.Parts) == 0:
		return area, noGeometry
	case f.Deleted:
		return area, "the row is deleted"
	}
	parts, why := r.to.parts(f.Parts)
	if why != "" {
		return area, why
	}
	area = survey.Area{Place: survey.Place{File: r.name, Row: f.Row}, Polygon: polygons(parts)}
	if len(area.Polygon) == 0 {
		return area, "the polygon encloses no area"
	}
	if r.role == survey.RoleDistricts {
		if area.Name = r.text(&r.district); area.Name == "" {
			r.fail(&r.district, "", "names no district")
		}
		return area, ""
	}
	area.Utilities = r.utilities
	if r.utility.Given() {
		area.Utilities = r.utilityList()
	}
	if len(area.Utilities) == 0 {
		r.fail(&r.utility, r.raw(&r.utility), "does not say for which utilities the area was swept")
	}
	area.Method = r.text(&r.method)
	area.Date = r.text(&r.swept)
	area.Ticket = r.text(&r.ticket)
	if area.Date == "" {
		r.odd.note("a swept area without a date", "")
	}
	return area, ""
}

// utilityList splits "water; gas" into its words.
func (r *areaReader) utilityList() []string {
	var list []string
	for _, s := range strings.FieldsFunc(r.text(&r.utility), func(c rune) bool { return strings.ContainsRune(",;|/+&", c) }) {
		s = strings.ToLower(strings.TrimSpace(s))
		if to, mapped := r.utility.folded[s]; mapped {
			s = strings.ToLower(to)
		}
		if s != "" && !slices.Contains(list, s) {
			list = append(list, s)
		}
	}
	slices.Sort(list)
	return list
}

// polygons makes polygons of rings. A ring inside an odd number of others is a
// hole of the smallest of them, whatever its direction: writers differ in it.
// Rings without area are left out.
func polygons(rings []orb.LineString) orb.MultiPolygon {
	type ring struct {
		orb.Ring
		area  float64
		depth int
	}
	var list []ring
	for _, part := range rings {
		closed := orb.Ring(part)
		if len(closed) > 0 && closed[0] != closed[len(closed)-1] {
			closed = append(slices.Clone(closed), closed[0])
		}
		if area := planar.Area(orb.Polygon{closed}); len(closed) >= 4 && area > 0 {
			list = append(list, ring{Ring: closed, area: area})
		}
	}
	// From the largest, so that a ring's surroundings come before it.
	slices.SortStableFunc(list, func(a, b ring) int { return cmp.Compare(b.area, a.area) })
	var out orb.MultiPolygon
	polygonOf := make([]int, len(list))
	for i := range list {
		parent := -1
		for j := i - 1; j >= 0; j-- {
			if inside(list[i].Ring, list[j].Ring) {
				list[i].depth = list[j].depth + 1
				parent = j
				break
			}
		}
		if list[i].depth%2 == 1 {
			p := polygonOf[parent]
			out[p] = append(out[p], list[i].Ring)
			continue
		}
		polygonOf[i] = len(out)
		out = append(out, orb.Polygon{list[i].Ring})
	}
	return out
}

// inside says whether ring a lies in ring b, by the first vertex of a that is
// not on b's own vertices.
func inside(a, b orb.Ring) bool {
	for _, p := range a {
		if !slices.Contains(b, p) {
			return planar.RingContains(b, p)
		}
	}
	return false
}

// areaKey is what makes two rows the same area.
func areaKey(a *survey.Area) string {
	var key []byte
	for _, p := range a.Polygon {
		for _, ring := range p {
			key = geometryBytes(key, []orb.LineString{orb.LineString(ring)})
		}
		key = append(key, '#')
	}
	return fmt.Sprintf("%s\x00%s\x00%q\x00%s\x00%s\x00%s", key, a.Name, a.Utilities, a.Method, a.Date, a.Ticket)
}

// markAreaDuplicates keeps the first of areas that say the same.
func markAreaDuplicates(files []*areasFile) {
	first := map[string]survey.Place{}
	for _, f := range files {
		kept, again := f.areas[:0], oddities{}
		for i := range f.areas {
			k := areaKey(&f.areas[i])
			if before, met := first[k]; met {
				f.Used--
				f.Duplicates++
				again.note(saysTheSame, sameRow(f.areas[i].Place, before))
				continue
			}
			first[k] = f.areas[i].Place
			kept = append(kept, f.areas[i])
		}
		f.areas = kept
		f.Notes = append(f.Notes, again.lines()...)
	}
}
