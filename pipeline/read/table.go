package read

import (
	"fmt"
	"io"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"
)

// table is a file of rows at the reading edge.
type table struct {
	columns []string
	located bool   // its rows have a position of their own
	unfit   error  // why it cannot be used at all; its rows are only counted
	crs     string // definition, where the file says it
	// timeColumn is the column that holds the time by the format's own rule.
	timeColumn string
	optional   []string // columns that the format knows, and that count as empty where they are not there
	delimiter  rune     // 0 where values are not delimited text
	siblings   []string
	notes      []string

	// rows streams the table once. An error ends it: the file is broken there.
	rows   iter.Seq2[*row, error]
	closer io.Closer
}

// row is one row of a table, good until the next one is asked for.
type row struct {
	number    int       // 1 is the first data row
	line      int       // physical line, 1 is the first; 0 where there are none
	values    []string  // one a column
	point     orb.Point // in the table's own system, where the table is located
	elevation float64   // of the point; NaN unknown
	blank     bool      // nothing is in it
	damage    string    // why it cannot be read; "" if it can
	offset    int64     // bytes of the file up to its end; 0 unknown
}

func (t *table) close() {
	if t.closer != nil {
		t.closer.Close()
	}
}

// tableFormats opens a table, by extension in lower case. A layer of points is
// a table too.
var tableFormats = map[string]func(path string) (*table, error){}

func openTable(file File) (*table, error) {
	ext := extension(file.Path)
	if open, known := tableFormats[ext]; known {
		return open(file.Path)
	}
	if _, known := layerFormats[ext]; !known {
		return nil, fmt.Errorf("%q is no format for rows of readings; it can be %s, %s", ext, extensions(tableFormats), extensions(layerFormats))
	}
	l, err := readLayer(file, shapePoints)
	if l == nil {
		return nil, err
	}
	t := l.table()
	t.unfit = err
	return t, nil
}

// table is a layer of points as a table, its rows located.
func (l *layerFile) table() *table {
	t := &table{columns: l.columns(), located: true, crs: l.crs, timeColumn: l.timeColumn, optional: l.optional, siblings: l.siblings, notes: l.notes}
	t.rows = func(yield func(*row, error) bool) {
		var r row
		for i := range l.features {
			l.pointRow(i, &r)
			if !yield(&r, nil) {
				return
			}
		}
	}
	return t
}

func (l *layerFile) pointRow(i int, r *row) {
	f := &l.features[i]
	l.rowOf(i, r)
	r.damage, r.elevation = l.damage[i], math.NaN()
	if r.damage != "" {
		return
	}
	switch {
	case f.Deleted && len(f.Parts) > 0:
		r.damage = "the row is deleted"
	case len(f.Parts) == 0:
		r.damage = noGeometry
	case len(f.Parts) > 1 || len(f.Parts[0]) != 1:
		r.damage = "the row has several points: one is a reading"
	default:
		r.point = f.Parts[0][0]
		if f.Z != nil {
			r.elevation = f.Z[0][0]
		}
	}
}

// extensions lists the formats of a register for a message.
func extensions[V any](formats map[string]V) string {
	return strings.Join(slices.Sorted(maps.Keys(formats)), ", ")
}
