package read

import (
	"bytes"
	"context"
	"errors"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/asfound/asfound/internal/shapefile"
)

// Glimpse is what a file shows of itself before anybody says what it means.
type Glimpse struct {
	Layer      string   // "" where a file has no more than one
	Shape      string   // "lines", "polygons" or "points"; "" where rows have no position of their own
	CRS        string   // definition, where the file says it
	Columns    []string // in the file's order
	TimeColumn string   // that holds the time by the format's own rule; "" none
	Delimiter  rune     // 0 where the file is not delimited text
	Encoding   string   // of delimited text; "" for UTF-8 without a mark
	Rows       int      // in the file
	Sample     [][]string
	Notes      []string
}

// SampleRows is how many rows a Glimpse keeps at most, evenly from the whole file.
const SampleRows = 10_000

// Look reads a file, or one layer of it, as a run would, and keeps what its rows
// are like. The error is that of a file which no run could read.
func Look(path, layer string) (*Glimpse, error) {
	file := File{Path: path, Name: path, Layer: layer}
	if open, delimited := tableFormats[extension(path)]; delimited {
		if layer != "" {
			return nil, errors.New("delimited text has no layers")
		}
		t, err := open(path)
		if err != nil {
			return nil, errors.New(plainError(file, err))
		}
		defer t.close()
		g := &Glimpse{Columns: t.columns, Delimiter: t.delimiter}
		g.Encoding, err = textEncoding(path)
		if err == nil {
			err = g.take(t.rows)
		}
		return g, err
	}
	l, err := readAnyLayer(file, whole)
	if err != nil {
		return nil, errors.New(plainError(file, err))
	}
	g := &Glimpse{Layer: layer, Shape: string(l.shape), CRS: l.crs, Columns: l.columns(), TimeColumn: l.timeColumn, Notes: l.notes}
	return g, g.take(l.table().rows)
}

// take keeps a sample of the rows: every row, and each time that they become too
// many every second one of those.
func (g *Glimpse) take(rows iter.Seq2[*row, error]) error {
	every := 1
	for r, err := range rows {
		if err != nil {
			return err
		}
		g.Rows++
		if len(r.values) != len(g.Columns) || (g.Rows-1)%every != 0 {
			continue
		}
		if len(g.Sample) == SampleRows {
			every *= 2
			for i := range SampleRows / 2 {
				g.Sample[i] = g.Sample[2*i]
			}
			g.Sample = g.Sample[:SampleRows/2]
		}
		values := make([]string, len(r.values))
		for i, v := range r.values {
			values[i] = validText(strings.TrimSpace(strings.Clone(v)))
		}
		g.Sample = append(g.Sample, values)
	}
	return nil
}

// textEncoding is the encoding that a text is read in.
func textEncoding(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	head := make([]byte, bufferBytes)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return "", err
	}
	head = head[:n]
	switch order, marked := utf16Order(head); {
	case order != nil:
		return "UTF-16", nil
	case marked:
		return "UTF-8 with a byte order mark", nil
	case !utf8.Valid(head[:bytes.LastIndexByte(head, '\n')+1]):
		return "Windows-1252, since it is no UTF-8", nil
	}
	return "", nil
}

// headRows is how many features of a layer are looked at for its columns.
const headRows = 200

// Columns are the names under which a file's columns can be mapped. Of a format
// whose rows name their own values it reads no further than it has to, to have
// met all those wanted.
func Columns(file File, wanted []string) ([]string, error) {
	if open, delimited := tableFormats[extension(file.Path)]; delimited {
		t, err := open(file.Path)
		if err != nil {
			return nil, err
		}
		defer t.close()
		return t.columns, nil
	}
	for _, most := range []int{headRows, whole} {
		l, err := readAnyLayer(file, most)
		if err != nil {
			return nil, err
		}
		names := append(l.columns(), l.optional...)
		if len(l.features) < most || !slices.ContainsFunc(wanted, func(name string) bool {
			_, n := findColumn(names, name)
			return n == 0
		}) {
			return names, nil
		}
	}
	panic("a whole layer has fewer features than there can be")
}

// Layers are the names of the layers of a file of several, in its order; nil for
// a format that has one only.
func Layers(path string) (names []string, err error) {
	switch extension(path) {
	case ".zip":
		layers, err := shapefile.Layers(path)
		for _, l := range layers {
			names = append(names, l.Name)
		}
		return names, err
	case ".gpkg":
		g, closeAll, err := openGeoPackage(context.Background(), path)
		if err != nil {
			return nil, err
		}
		defer closeAll()
		tables, _, err := g.tables(context.Background())
		return tables, err
	}
	return nil, nil
}

// Number reads a value of delimited text as a run would; ok is false where it is
// no number. The delimiter is 0 in other files.
func Number(s string, delimiter rune) (v float64, ok bool) {
	v, why := parseNumber(s, delimiter)
	return v, why == ""
}

// Time says whether a value reads as a time of a layout (as in Column.Format),
// and whether the value says its offset from UTC itself.
func Time(s, layout string) (zoned, ok bool) {
	st, ok := parseStamp(s, layout)
	return st.zoned, ok
}

// Known says whether a value is a word with a meaning: of "mode", "hookup",
// "fix", "conductor" or "doubt".
func Known(quantity, s string) bool {
	w := plainWord(s)
	known := false
	switch quantity {
	case "mode":
		_, known = modeWords[w]
	case "hookup":
		_, known = hookupWords[w]
	case "fix":
		_, known = fixWords[w]
	case "conductor":
		_, known = conductorWords[w]
	case "doubt":
		_, known = doubtWords[w]
	}
	return known
}

func extension(path string) string { return strings.ToLower(filepath.Ext(path)) }
