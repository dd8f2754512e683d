package read

import (
	"fmt"
	"io"
	"iter"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"github.com/paulmach/orb"
)

// table is a file of rows at the reading edge.
type table struct {
	columns   []string
	located   bool   // its rows have a position of their own
	crs       string // definition, where the file says it
	delimiter rune   // 0 where values are not delimited text
	siblings  []string
	notes     []string

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

// tableFormats opens a table, by extension in lower case.
var tableFormats = map[string]func(path string) (*table, error){}

func openTable(path string) (*table, error) {
	ext := strings.ToLower(filepath.Ext(path))
	open, known := tableFormats[ext]
	if !known {
		return nil, fmt.Errorf("%q is no format for rows of readings; it can be %s", ext, extensions(tableFormats))
	}
	return open(path)
}

// extensions lists the formats of a register for a message.
func extensions[V any](formats map[string]V) string {
	return strings.Join(slices.Sorted(maps.Keys(formats)), ", ")
}
