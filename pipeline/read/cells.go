package read

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// cell is a column of the config bound to a table.
type cell struct {
	Column
	index  int // of the table's column; -1 where only a fixed value feeds it
	factor float64
	folded map[string]string // Values by their key in lower case

	last string // the last text kept: neighbouring rows mostly say the same
}

// binder finds the config's columns in a table, and keeps what it did not find.
type binder struct {
	table    *table
	log      *positionLog // of positions, where the table has none
	missing  []string     // columns that are not there
	problems []error
}

func (b *binder) cell(c Column) cell {
	out := cell{Column: c, index: -1, factor: c.Factor}
	if out.factor == 0 {
		out.factor = 1
	}
	if len(c.Values) > 0 {
		out.folded = make(map[string]string, len(c.Values))
		for from, to := range c.Values {
			out.folded[strings.ToLower(from)] = to
		}
	}
	if c.Mapped() {
		index, count := findColumn(b.table.columns, c.Name)
		switch {
		case count == 0 && slices.Contains(b.table.optional, c.Name):
			index = -1
		case count == 0:
			b.missing = append(b.missing, fmt.Sprintf("%q", c.Name)+at(c))
		case count > 1:
			b.problem("%d columns are called %q%s", count, c.Name, at(c))
		}
		out.index = index
	}
	return out
}

// at says where the config names a column.
func at(c Column) string {
	if c.At == "" {
		return ""
	}
	return " (" + c.At + ")"
}

func (b *binder) problem(format string, args ...any) {
	b.problems = append(b.problems, fmt.Errorf(format, args...))
}

// err is everything that binding found wrong.
func (b *binder) err() error {
	if len(b.missing) > 0 {
		const most = 40
		there := b.table.columns
		if len(there) > most {
			there = append(slices.Clone(there[:most]), "...")
		}
		missing := b.missing
		if n := len(missing) - mostNamed; n > 1 {
			missing = append(slices.Clone(missing[:mostNamed]), fmt.Sprintf("and %d more names", n))
		}
		b.problem("no column is called %s: there are %s", strings.Join(missing, ", "), excerpt(strings.Join(there, ", ")))
		b.missing = nil
	}
	return errors.Join(b.problems...)
}

// mostNamed bounds how many missing columns a message names: a file with none of
// them is another file altogether.
const mostNamed = 4

// findColumn looks for a name as it is written, then without regard to case.
func findColumn(columns []string, name string) (index, count int) {
	for _, same := range []func(a, b string) bool{
		func(a, b string) bool { return a == b },
		strings.EqualFold,
	} {
		for i, column := range columns {
			if same(column, name) {
				if count++; count == 1 {
					index = i
				}
			}
		}
		if count > 0 {
			break
		}
	}
	return index, count
}

// fault is what is wrong with a row.
type fault struct{ field, value, reason string }

// cells reads the mapped values of the row in hand. The first value that
// cannot be read is kept as the row's fault, and reading goes on, so that only
// the end of a row need ask for it.
type cells struct {
	table    *table
	row      *row
	fault    fault
	interned map[string]string
	odd      oddities
}

func newCells(t *table) *cells {
	return &cells{table: t, interned: map[string]string{}, odd: oddities{}}
}

// take makes r the row in hand.
func (c *cells) take(r *row) {
	c.row, c.fault = r, fault{}
	switch {
	case r.damage != "":
		c.fault.reason = r.damage
	case r.blank:
		c.fault.reason = blankRow
	}
}

// ok says whether nothing is wrong with the row so far.
func (c *cells) ok() bool { return c.fault.reason == "" }

func (c *cells) fail(b *cell, value, reason string) {
	if c.ok() {
		c.fault = fault{field: b.Name, value: value, reason: reason}
	}
}

// raw is a value as the file has it, without blanks around it, after the
// column's table of values.
func (c *cells) raw(b *cell) string {
	if b.index < 0 {
		return b.Fixed
	}
	s := strings.TrimSpace(c.row.values[b.index])
	if b.folded != nil {
		if to, mapped := b.Values[s]; mapped {
			return to
		}
		if to, mapped := b.folded[strings.ToLower(s)]; mapped {
			return to
		}
	}
	return s
}

// text is a value to keep: one copy for all rows that have it.
func (c *cells) text(b *cell) string {
	s := c.raw(b)
	if b.index < 0 {
		return s
	}
	if s == b.last {
		return b.last
	}
	kept, known := c.interned[s]
	if !known {
		s = strings.Clone(s)
		kept = validText(s)
		c.interned[s] = kept
	}
	b.last = kept
	return kept
}

// remark is a value to keep that rarely comes twice.
func (c *cells) remark(b *cell) string {
	return validText(strings.Clone(c.raw(b)))
}

// utility is the name of a utility, in lower case as all of asfound has it.
func (c *cells) utility(b *cell) string {
	s := strings.ToLower(c.text(b))
	if s != "" && b.folded != nil && b.index >= 0 {
		if _, listed := b.folded[strings.ToLower(strings.TrimSpace(c.row.values[b.index]))]; !listed {
			c.odd.note(fmt.Sprintf("%s: not among the column's values, kept as it is", b.Name), s)
		}
	}
	return s
}

// number is a value in metres, amperes, hertz or degrees; NaN where there is none.
func (c *cells) number(b *cell) float64 {
	s := c.raw(b)
	if s == "" {
		return math.NaN()
	}
	v, why := parseNumber(s, c.table.delimiter)
	if why != "" {
		c.fail(b, s, why)
		return math.NaN()
	}
	for _, missing := range b.Missing {
		if v == missing {
			return math.NaN()
		}
	}
	if v *= b.factor; math.IsInf(v, 0) {
		c.fail(b, s, "is too large for a number")
		return math.NaN()
	}
	return v
}

// size is a number that cannot be negative.
func (c *cells) size(b *cell) float64 {
	v := c.number(b)
	if v < 0 {
		c.fail(b, c.raw(b), "is negative")
	}
	return v
}

// moment is a time; the zero time where there is none.
func (c *cells) moment(b *cell, k *clock) (t time.Time, offset int, local bool) {
	s := c.raw(b)
	if s == "" {
		return time.Time{}, 0, false
	}
	st, ok := parseStamp(s, b.Format)
	if !ok {
		layout := b.Format
		if layout == "" {
			layout = "2006-01-02T15:04:05Z, a serial date"
		}
		c.fail(b, s, "is not a time as "+layout)
		return time.Time{}, 0, false
	}
	t, offset, local, why := k.moment(st)
	if why != "" {
		c.fail(b, s, why)
	}
	return t, offset, local
}

// clock of a column of times.
func (b *binder) clock(c Column) clock {
	if c.Zone == "" {
		return clock{}
	}
	zone, err := time.LoadLocation(c.Zone)
	if err != nil {
		b.problems = append(b.problems, fmt.Errorf("time zone %q is not known: use a name such as America/Regina", c.Zone))
	}
	return clock{zone: zone, utc: zone == time.UTC || strings.HasPrefix(c.Zone, "Etc/") || c.Zone == "GMT"}
}

// vocabulary reads the words of one column, and remembers those it has met.
type vocabulary[T any] struct {
	words       map[string]T
	what        string // what a word should say, for the note on one that is not known
	other       T      // what an unknown word is taken for
	met         map[string]T
	last        string
	lastMeaning T
}

func newVocabulary[T any](words map[string]T, what string, other T) vocabulary[T] {
	return vocabulary[T]{words: words, what: what, other: other, met: map[string]T{}}
}

func (v *vocabulary[T]) read(c *cells, b *cell) T {
	s := c.raw(b)
	if s == v.last { // also "", which means nothing
		return v.lastMeaning
	}
	meaning, known := v.met[s]
	if !known {
		if meaning, known = v.words[plainWord(s)]; !known && s != "" {
			c.odd.note(fmt.Sprintf("%s: says nothing known of %s", b.Name, v.what), s)
			return v.other
		}
		s = strings.Clone(s)
		v.met[s] = meaning
		v.last, v.lastMeaning = s, meaning
	}
	return meaning
}

// validText takes text that is no UTF-8 for Windows-1252, the commonest other
// encoding of tables.
func validText(s string) string {
	if utf8.ValidString(s) {
		return s
	}
	decoded, err := charmap.Windows1252.NewDecoder().String(s)
	if err != nil {
		return strings.ToValidUTF8(s, "\uFFFD")
	}
	return decoded
}
