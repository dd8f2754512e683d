package read

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"os"
	"strings"
)

func init() {
	for _, ext := range []string{".csv", ".tsv", ".txt"} {
		tableFormats[ext] = openCSV
	}
}

// bufferBytes is large enough that a long row still has its end in the sample
// from which the delimiter is told.
const bufferBytes = 256 << 10

func openCSV(path string) (*table, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	t, err := csvTable(f)
	if err != nil {
		f.Close()
		return nil, err
	}
	t.closer = f
	return t, nil
}

// csvTable reads delimited text (RFC 4180, and with semicolon, tab or pipe) in
// UTF-8 or UTF-16, its first row the header.
func csvTable(in io.Reader) (*table, error) {
	text := bufio.NewReaderSize(decodeText(in), bufferBytes)
	sample, err := text.Peek(bufferBytes)
	if err != nil && err != io.EOF {
		return nil, err
	}
	delimiter, preamble := sniff(sample)
	c := &csvRows{end: preamble, offset: preamble}
	for range preamble {
		if _, err := text.ReadBytes('\n'); err != nil && err != io.EOF {
			return nil, err
		}
	}
	c.text = lineCounter{in: text}
	c.csv = csv.NewReader(&c.text)
	c.csv.Comma = delimiter
	c.csv.ReuseRecord = true
	c.csv.FieldsPerRecord = -1 // counted here, so that one short row does not end the file

	header, err := c.csv.Read()
	if err == io.EOF {
		return nil, errors.New("the file is empty: its first line must name the columns")
	}
	if err != nil {
		return nil, fmt.Errorf("the header cannot be read: %w", err)
	}
	columns := make([]string, len(header))
	for i, name := range header {
		columns[i] = validText(strings.Clone(strings.TrimSpace(name)))
	}
	c.columns = len(columns)
	c.end = c.lastLine(header)
	t := &table{columns: columns, delimiter: delimiter}
	t.rows = c.all(func(note string) { t.notes = append(t.notes, note) })
	return t, nil
}

// noLastNewline is all that tells a text cut within its last value from a whole
// one. One that was cut at the end of a line tells nothing.
const noLastNewline = "its last line has no line end: see that the file is whole"

// csvRows streams the rows under a header. encoding/csv passes over empty
// lines in silence; they are told here from the line numbers, since every row
// counts.
type csvRows struct {
	csv     *csv.Reader
	text    lineCounter
	offset  int // lines before the header
	columns int
	end     int // the physical line on which the last record ended
}

// lastLine is the physical line on which the record just read ends.
func (c *csvRows) lastLine(values []string) int {
	last := len(values) - 1
	line, _ := c.csv.FieldPos(last)
	return c.offset + line + strings.Count(values[last], "\n")
}

// all are the rows. What a person should know of the text is told at its end.
func (c *csvRows) all(tell func(note string)) iter.Seq2[*row, error] {
	return func(yield func(*row, error) bool) {
		r := row{elevation: math.NaN()}
		next := func(line int, values []string, damage string) bool {
			r.number++
			r.line, r.values, r.damage, r.offset = line, values, damage, c.csv.InputOffset()
			r.blank = damage == "" && blank(values)
			return yield(&r, nil)
		}
		// lines gives each physical line from c.end+1 to the given one as a row.
		lines := func(to int, damage string) bool {
			for c.end < to {
				c.end++
				if !next(c.end, nil, damage) {
					return false
				}
			}
			return true
		}
		for {
			values, err := c.csv.Read()
			var broken *csv.ParseError
			switch {
			case err == io.EOF:
				if lines(c.offset+c.text.lines(), "") && c.text.open && c.text.newlines > 0 {
					tell(noLastNewline)
				}
				return
			case errors.As(err, &broken):
				if !lines(c.offset+broken.StartLine-1, "") || !lines(c.offset+broken.Line, c.damage(broken)) {
					return
				}
				continue
			case err != nil:
				yield(nil, err)
				return
			}
			start, _ := c.csv.FieldPos(0)
			if !lines(c.offset+start-1, "") {
				return
			}
			end := c.lastLine(values)
			values, damage := c.fit(values)
			if damage != "" && end > c.end+1 {
				// A stray quote has swallowed the lines up to the next one.
				damage += "; a quoted value runs over these lines, is a quote missing?"
				if !lines(end, damage) {
					return
				}
				continue
			}
			if !next(c.end+1, values, damage) {
				return
			}
			c.end = end
		}
	}
}

// fit checks a row against the header. Empty values beyond it say nothing.
func (c *csvRows) fit(values []string) (fitted []string, damage string) {
	n := len(values)
	switch {
	case n > c.columns && blank(values[c.columns:]):
		return values[:c.columns], ""
	case n != c.columns && !blank(values):
		return nil, fmt.Sprintf("the row has %d values where the header has %d", n, c.columns)
	}
	return values, ""
}

func (c *csvRows) damage(broken *csv.ParseError) string {
	switch {
	case !errors.Is(broken.Err, csv.ErrQuote):
		return fmt.Sprintf("a quote stands inside a value that is not quoted (character %d): double it and quote the value", broken.Column)
	case broken.Line > broken.StartLine:
		return fmt.Sprintf("a quote opened in the row of line %d is closed wrongly or never", c.offset+broken.StartLine)
	}
	return fmt.Sprintf("a quoted value is closed wrongly or never (character %d)", broken.Column)
}

func blank(values []string) bool {
	for _, v := range values {
		if v != "" && strings.TrimSpace(v) != "" {
			return false
		}
	}
	return true
}

// lineCounter counts the physical lines that pass through it.
type lineCounter struct {
	in       io.Reader
	newlines int
	open     bool // text stands after the last newline
}

func (l *lineCounter) Read(p []byte) (int, error) {
	n, err := l.in.Read(p)
	if n > 0 {
		l.newlines += bytes.Count(p[:n], []byte{'\n'})
		l.open = p[n-1] != '\n'
	}
	return n, err
}

func (l *lineCounter) lines() int {
	if l.open {
		return l.newlines + 1
	}
	return l.newlines
}
