package read

import (
	"fmt"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// layerFile is a layer of a map as it stands in a file, whole and in its own
// coordinate system.
type layerFile struct {
	name     string // file name without extension, or the table
	crs      string // definition, where the file says it
	shape    shape
	fields   []survey.Field
	features []survey.Feature // Parts are lines, polygon rings, or points as lines of one vertex
	damage   map[int]string   // why a feature has no geometry of the layer's shape, by index
	shapes   map[shape][]int  // features by shape, until settle
	siblings []string         // every file read, the first one too
	written  []written        // where asfound wrote the file: what its features were in before
	// timeColumn is the field that holds the time by the format's own rule.
	timeColumn string
	optional   []string // fields that the format knows, and that count as empty where no feature has them
	notes      []string
}

const noGeometry = "the row has no geometry"

// shape is the kind of geometry of a layer.
type shape string

const (
	shapeLines    shape = "lines"
	shapePolygons shape = "polygons"
	shapePoints   shape = "points"
)

// layerFormats reads a layer (by name; "" the only one) by extension in lower
// case. Where only so many features are wanted, the first ones, it need not read
// on; whole wants them all.
var layerFormats = map[string]func(path, layer string, most int) (*layerFile, error){}

const whole = math.MaxInt

// readLayer reads a layer that must have the given shape. If it has another, it
// comes with the error.
func readLayer(file File, want shape) (*layerFile, error) {
	if _, known := layerFormats[extension(file.Path)]; !known {
		return nil, fmt.Errorf("%q is no format for %s; it can be %s", extension(file.Path), want, extensions(layerFormats))
	}
	l, err := readAnyLayer(file, whole)
	if err != nil {
		return nil, err
	}
	if l.shape != want && len(l.features) > 0 {
		return l, fmt.Errorf("it holds %s where %s are wanted", l.shape, want)
	}
	return l, nil
}

// readAnyLayer reads the first features of a layer, whatever its shape.
func readAnyLayer(file File, most int) (*layerFile, error) {
	read, known := layerFormats[extension(file.Path)]
	if !known {
		return nil, fmt.Errorf("%q is no format that can be read; it can be %s, %s", extension(file.Path), extensions(tableFormats), extensions(layerFormats))
	}
	return read(file.Path, file.Layer, most)
}

// openLayer reads the layer of a source that has a shape, and the digests of its
// files. Like readLayer it gives a layer of another shape with the error.
func (a *account) openLayer(file File, want shape) (*layerFile, error) {
	if err := a.identify(file); err != nil {
		return nil, err
	}
	l, unfit := readLayer(file, want)
	if l == nil {
		return nil, unfit
	}
	if err := a.addSiblings(file, l.siblings); err != nil {
		return nil, err
	}
	return l, unfit
}

// source is the name of a records or fittings source: the file's and, where that has
// several layers, the layer's.
func (f File) source() string {
	return (&survey.Source{Name: f.Name, Layer: f.Layer}).Label()
}

// columns are the names of the layer's fields, for binding.
func (l *layerFile) columns() []string {
	names := make([]string, len(l.fields))
	for i, f := range l.fields {
		names[i] = f.Name
	}
	return names
}

// add adds a feature of some shape, "" for none.
func (l *layerFile) add(f survey.Feature, kind shape, why string) {
	if kind != "" {
		if l.shapes == nil {
			l.shapes = map[shape][]int{}
		}
		l.shapes[kind] = append(l.shapes[kind], len(l.features))
	}
	if why != "" {
		l.fail(len(l.features), why)
	}
	l.features = append(l.features, f)
}

func (l *layerFile) fail(feature int, why string) {
	if l.damage == nil {
		l.damage = map[int]string{}
	}
	l.damage[feature] = why
}

// settle gives the layer the shape that most of its features have. Those of
// another stay without geometry.
func (l *layerFile) settle() {
	for _, kind := range []shape{shapeLines, shapePolygons, shapePoints} {
		if l.shape == "" || len(l.shapes[kind]) > len(l.shapes[l.shape]) {
			l.shape = kind
		}
	}
	for kind, features := range l.shapes {
		if kind == l.shape {
			continue
		}
		for _, i := range features {
			l.features[i].Parts, l.features[i].Z, l.features[i].Deleted = nil, nil, true
			l.fail(i, fmt.Sprintf("its geometry is of the kind %s in a layer of %s", kind, l.shape))
		}
	}
	l.shapes = nil
}

// rowOf is a feature as a row of values. into is reused.
func (l *layerFile) rowOf(i int, into *row) *row {
	f := &l.features[i]
	into.number = f.Row
	into.values = into.values[:0]
	for j, v := range f.Values {
		text := v.Text
		if l.fields[j].Kind == survey.FieldJSON && !v.Null {
			text = jsonText([]byte(text))
		}
		into.values = append(into.values, text)
	}
	return into
}

// parts takes a feature's parts to the plane; why says that one has no place
// there.
func (p projection) parts(parts []orb.LineString) (to []orb.LineString, why string) {
	to = make([]orb.LineString, len(parts))
	for i, part := range parts {
		to[i] = make(orb.LineString, len(part))
		for j, at := range part {
			if !finite(at) {
				return nil, fmt.Sprintf("vertex %d of part %d has no coordinates", j+1, i+1)
			}
			if to[i][j], why = p.apply(at); why != "" {
				return nil, fmt.Sprintf("vertex %d of part %d (%v, %v) %s", j+1, i+1, at[0], at[1], why)
			}
		}
	}
	return to, ""
}

// distinct counts the distinct points of a line, up to the most that matter.
func distinct(line orb.LineString, most int) int {
	var seen []orb.Point
	for _, p := range line {
		isNew := true
		for _, q := range seen {
			if p == q {
				isNew = false
				break
			}
		}
		if isNew {
			if seen = append(seen, p); len(seen) == most {
				break
			}
		}
	}
	return len(seen)
}

// middle is the centre of the box around lines.
func middle(parts []orb.LineString) orb.Point {
	return box(parts).Center()
}

func box(parts []orb.LineString) orb.Bound {
	b := orb.Bound{Min: orb.Point{math.Inf(1), math.Inf(1)}, Max: orb.Point{math.Inf(-1), math.Inf(-1)}}
	for _, part := range parts {
		for _, p := range part {
			if finite(p) {
				b = b.Extend(p)
			}
		}
	}
	return b
}
