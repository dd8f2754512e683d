package config

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"os"
	"strings"
	"unicode/utf8"
)

// headerBytes is how much of a table is looked at for its header.
const headerBytes = 64 << 10

// header names the columns of a file whose format has a header, and nil where
// the format has none or the header cannot be told cheaply: reading the file
// says it then.
func header(path string) ([]string, error) {
	if extension(path) != ".csv" {
		return nil, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	head, _ := bufio.NewReaderSize(f, headerBytes).Peek(headerBytes)
	return csvHeader(head), nil
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
