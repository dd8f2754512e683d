package read

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"io"
	"strings"

	"golang.org/x/text/encoding/unicode"
)

// delimiters that a text may have, the likelier first.
var delimiters = []rune{',', ';', '\t', '|'}

// sampleRows is how many rows vote for a delimiter.
const sampleRows = 20

// decodeText gives text as UTF-8, without a byte order mark. UTF-16 is told by
// its mark or by the zero byte beside its first character.
func decodeText(in io.Reader) io.Reader {
	text := bufio.NewReaderSize(in, bufferBytes)
	head, _ := text.Peek(4)
	switch order, marked := utf16Order(head); {
	case order != nil:
		return newlines(unicode.UTF16(*order, unicode.UseBOM).NewDecoder().Reader(text))
	case marked:
		text.Discard(3)
	}
	return newlines(text)
}

// utf16Order tells how a text begins: the order of bytes of UTF-16, nil for
// another encoding, and whether there is a byte order mark.
func utf16Order(head []byte) (order *unicode.Endianness, marked bool) {
	little, big := unicode.LittleEndian, unicode.BigEndian
	switch {
	case bytes.HasPrefix(head, []byte("\xef\xbb\xbf")):
		return nil, true
	case bytes.HasPrefix(head, []byte("\xff\xfe")):
		return &little, true
	case bytes.HasPrefix(head, []byte("\xfe\xff")):
		return &big, true
	case len(head) > 1 && head[0] != 0 && head[1] == 0:
		return &little, false
	case len(head) > 1 && head[0] == 0 && head[1] != 0:
		return &big, false
	}
	return nil, false
}

// newlines turns lone carriage returns into newlines in a text that has no
// newline at all where it begins.
func newlines(in io.Reader) io.Reader {
	text := bufio.NewReaderSize(in, bufferBytes)
	head, _ := text.Peek(64 << 10)
	if bytes.IndexByte(head, '\r') < 0 || bytes.IndexByte(head, '\n') >= 0 {
		return text
	}
	return carriageReturns{text}
}

type carriageReturns struct{ in io.Reader }

func (c carriageReturns) Read(p []byte) (int, error) {
	n, err := c.in.Read(p)
	for i, b := range p[:n] {
		if b == '\r' {
			p[i] = '\n'
		}
	}
	return n, err
}

// sniff tells the delimiter from the first rows: the one under which most of
// them have as many values as the header, then the one with most values. Some
// spreadsheets name it in a line of its own, "sep=;", before the header:
// preamble counts that line.
func sniff(sample []byte) (delimiter rune, preamble int) {
	if line, _, _ := bytes.Cut(sample, []byte{'\n'}); len(line) > 4 && strings.EqualFold(string(line[:4]), "sep=") {
		for _, d := range delimiters {
			if rune(line[4]) == d {
				return d, 1
			}
		}
	}
	delimiter = delimiters[0]
	bestRows, bestColumns := 0, 1
	for _, d := range delimiters {
		rows, columns := agreeing(sample, d)
		if columns > 1 && (rows > bestRows || rows == bestRows && columns > bestColumns) {
			delimiter, bestRows, bestColumns = d, rows, columns
		}
	}
	return delimiter, 0
}

// agreeing counts the header's columns under a delimiter, and the first rows
// that have as many.
func agreeing(sample []byte, delimiter rune) (rows, columns int) {
	r := csv.NewReader(bytes.NewReader(sample))
	r.Comma = delimiter
	r.FieldsPerRecord = -1
	r.LazyQuotes = true
	r.ReuseRecord = true
	for i := range sampleRows + 1 {
		values, err := r.Read()
		if err != nil {
			break
		}
		if i == 0 {
			columns = len(values)
		}
		if len(values) == columns {
			rows++
		}
	}
	return rows, columns
}
