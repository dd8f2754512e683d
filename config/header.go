package config

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"os"
	"strings"
	"unicode/utf8"

	"github.com/asfound/asfound/internal/shapefile"
)

// headerBytes is how much of a table is looked at for its header.
const headerBytes = 64 << 10

// header names the columns of a file whose format has a header. It is nil where
// the format has none, or where the header cannot be told cheaply: reading the
// file says then what is wrong with it.
func header(path string) []string {
	switch {
	case delimited(path):
		f, err := os.Open(path)
		if err != nil {
			return nil
		}
		defer f.Close()
		head, _ := bufio.NewReaderSize(f, headerBytes).Peek(headerBytes)
		return csvHeader(head)
	case extension(path) == ".shp":
		r, err := shapefile.Open(path)
		if err != nil {
			return nil
		}
		defer r.Close()
		var names []string
		for _, f := range r.Layer().Fields {
			names = append(names, f.Name)
		}
		return names
	}
	return nil
}

// csvHeader reads the header of delimited text, with the delimiter that splits
// it into most columns.
func csvHeader(text []byte) []string {
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if bytes.IndexByte(text, 0) >= 0 || len(text) >= 4 && strings.EqualFold(string(text[:4]), "sep=") {
		return nil // UTF-16, or a line before the header
	}
	var best []string
	for _, delimiter := range ",;\t|" {
		r := csv.NewReader(bytes.NewReader(text))
		r.Comma = delimiter
		r.LazyQuotes = true
		if columns, err := r.Read(); err == nil && len(columns) > len(best) {
			best = columns
		}
	}
	for i, c := range best {
		if !utf8.ValidString(c) {
			return nil // an encoding that the reader knows better
		}
		best[i] = strings.TrimSpace(c)
	}
	return best
}
