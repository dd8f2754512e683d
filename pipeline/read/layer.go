package read

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"

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
	features []survey.Feature // Parts are lines, or polygon rings
	siblings []string         // every file read, the first one too
	notes    []string
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
// case.
var layerFormats = map[string]func(path, layer string) (*layerFile, error){}

// readLayer reads a layer that must have the given shape. If it has another, it
// comes with the error.
func readLayer(file File, want shape) (*layerFile, error) {
	ext := strings.ToLower(filepath.Ext(file.Path))
	read, known := layerFormats[ext]
	if !known {
		return nil, fmt.Errorf("%q is no format for %s; it can be %s", ext, want, extensions(layerFormats))
	}
	l, err := read(file.Path, file.Layer)
	if err != nil {
		return nil, err
	}
	if l.shape != want && len(l.features) > 0 {
		return l, fmt.Errorf("it holds %s where %s are wanted", l.shape, want)
	}
	return l, nil
}

// source is the name of a records source: the file's and, where that has
// several layers, the layer's.
func (f File) source() string {
	if f.Layer == "" {
		return f.Name
	}
	return f.Name + ":" + f.Layer
}

// columns are the names of the layer's fields, for binding.
func (l *layerFile) columns() []string {
	names := make([]string, len(l.fields))
	for i, f := range l.fields {
		names[i] = f.Name
	}
	return names
}

// rowOf is a feature as a row of values. into is reused.
func rowOf(f *survey.Feature, into *row) *row {
	into.number = f.Row
	into.values = into.values[:0]
	for _, v := range f.Values {
		into.values = append(into.values, v.Text)
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
