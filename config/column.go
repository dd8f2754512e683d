package config

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // zones are known on machines that have no database of them

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/pipeline/read"
)

// columns reads the column mappings of one source and remembers them, so that
// the file's header can be checked against them.
type columns struct {
	*section
	all []mapped
}

// mapped is a column that a file has to have, and where the config says so.
type mapped struct {
	name string
	at   place
}

// text maps a column of words. Where words are given, a mapped value has to
// come to one of them.
func (c *columns) text(key string, words ...string) read.Column {
	return c.column(key, "name", func(s *section, col *read.Column) {
		c.d.values(s, col, words)
		if fixed := s.take("fixed"); fixed != nil {
			col.Fixed, _ = c.d.oneOf(fixed, s.full("fixed"), words)
		}
	})
}

// number maps a column of plain numbers: degrees, years, or a projected
// system's own unit.
func (c *columns) number(key string) read.Column {
	return c.column(key, "name", c.d.missing)
}

// quantity maps a column of numbers with a unit. Extra reads what else the
// mapping says; it may be nil.
func (c *columns) quantity(key string, k kind, extra func(*section)) read.Column {
	col := c.column(key, "name", func(s *section, col *read.Column) {
		c.d.missing(s, col)
		c.d.unit(s, col, k)
		if extra != nil {
			extra(s)
		}
	})
	if col.Mapped() && col.Factor == 0 {
		c.d.problem(c.entry(key).key, fmt.Sprintf("%s has no unit", c.full(key)),
			fmt.Sprintf("write it as %s: {name: %s, unit: %s}", key, col.Name, k.units[0].name))
	}
	return col
}

// coordinate maps a column of a projected system's coordinates, which are in the
// system's own unit unless the mapping has one.
func (c *columns) coordinate(key string) read.Column {
	return c.column(key, "name", func(s *section, col *read.Column) {
		c.d.missing(s, col)
		c.d.unit(s, col, length)
	})
}

// unit reads the unit of a column's numbers.
func (d *decoder) unit(s *section, col *read.Column, k kind) {
	n := s.take("unit")
	if n == nil {
		return
	}
	col.Factor = 1 // so that a unit that is wrong is not called missing as well
	name, ok := d.text(n, s.full("unit"))
	if !ok {
		return
	}
	factor, err := k.factor(name)
	if err != nil {
		d.wrong(n, s.full("unit"), err)
		return
	}
	col.Factor = factor
}

// timeFormats are the layouts of a time that have a name.
var timeFormats = []string{"excel", "excel1904", "unix", "unix_milli"}

// time maps a column of times.
func (c *columns) time(key string) read.Column {
	return c.column(key, "name", func(s *section, col *read.Column) {
		if zone := s.take("zone"); zone != nil {
			col.Zone, _ = c.d.text(zone, s.full("zone"))
			if _, err := time.LoadLocation(col.Zone); err != nil || col.Zone == "Local" {
				c.d.problem(zone, fmt.Sprintf("%q is no known time zone", col.Zone), `write a name such as "America/Regina" or "UTC"`)
			}
		}
		if format := s.take("format"); format != nil {
			text, ok := c.d.text(format, s.full("format"))
			if col.Format = text; ok && !strings.Contains(col.Format, "06") && !slices.Contains(timeFormats, col.Format) {
				c.d.problem(format, fmt.Sprintf("%q is no layout of a time", col.Format),
					`write 2 January 2006, 15:04:05 the way the file would, as in "02.01.2006 15:04:05", or one of `+strings.Join(timeFormats, ", "))
			}
		}
	})
}

// column reads a mapping: the name alone, or keys of which rest reads those
// besides the name.
func (c *columns) column(key, nameKey string, rest func(*section, *read.Column)) read.Column {
	n := c.take(key)
	if n == nil {
		return read.Column{}
	}
	col, at := read.Column{At: c.d.ref(n)}, c.d.at(n)
	if follow(n).Kind != yaml.MappingNode {
		col.Name, _ = c.d.nonEmpty(n, c.full(key))
	} else {
		s := c.d.section(n, c.full(key))
		if name := s.take(nameKey); name != nil {
			col.Name, _ = c.d.nonEmpty(name, s.full(nameKey))
			col.At, at = c.d.ref(name), c.d.at(name)
		}
		rest(s, &col)
		if s.entry(nameKey) == nil && col.Fixed == "" {
			c.d.problem(n, c.full(key)+" names no column", "give its "+nameKey)
		}
		s.done()
	}
	if col.Mapped() {
		c.all = append(c.all, mapped{col.Name, at})
	}
	return col
}

// fixedOrColumn reads what a source says for all its rows, as a word, or row by
// row, as {column: NAME, values: [...]}.
func (c *columns) fixedOrColumn(key string, words ...string) read.Column {
	n := c.take(key)
	if n == nil {
		return read.Column{}
	}
	if follow(n).Kind != yaml.MappingNode {
		fixed, _ := c.d.oneOf(n, c.full(key), words)
		return read.Column{Fixed: fixed, At: c.d.ref(n)}
	}
	return c.column(key, "column", func(s *section, col *read.Column) { c.d.values(s, col, words) })
}

// oneOf reads a text that is not empty and, where there are words, one of them.
func (d *decoder) oneOf(n *yaml.Node, name string, words []string) (string, bool) {
	if len(words) > 0 {
		return d.word(n, name, words)
	}
	return d.nonEmpty(n, name)
}

func (d *decoder) nonEmpty(n *yaml.Node, name string) (string, bool) {
	s, ok := d.text(n, name)
	if ok && strings.TrimSpace(s) == "" {
		d.problem(n, name+" is empty", "write a value, or remove the key")
		return "", false
	}
	return s, ok
}

// values reads the list of {from, to} that turns a file's words into ours.
func (d *decoder) values(s *section, col *read.Column, words []string) {
	list := s.take("values")
	if list == nil {
		return
	}
	col.Values = map[string]string{}
	for _, item := range d.list(list, s.full("values")) {
		pair := d.section(item, s.full("values"))
		from, okFrom := d.text(pair.take("from"), pair.full("from"))
		to, okTo := "", false
		if n := pair.take("to"); n != nil {
			to, okTo = d.oneOf(n, pair.full("to"), words)
		}
		pair.done()
		if pair.entry("from") == nil || pair.entry("to") == nil {
			d.problem(item, s.full("values")+" lacks from or to", "write {from: the file's word, to: what it means}")
			continue
		}
		if !okFrom || !okTo {
			continue
		}
		if old, twice := col.Values[from]; twice && old != to {
			d.problem(item, fmt.Sprintf("%q stands for both %s and %s", from, old, to), "keep one")
			continue
		}
		col.Values[from] = to
	}
}

// missing reads the list of numbers that mean "no data" in the file.
func (d *decoder) missing(s *section, col *read.Column) {
	n := s.take("missing")
	if n == nil {
		return
	}
	items := []*yaml.Node{n}
	if follow(n).Kind != yaml.ScalarNode {
		items = d.list(n, s.full("missing"))
	}
	for _, item := range items {
		t, ok := d.text(item, s.full("missing"))
		if !ok {
			continue
		}
		v, err := strconv.ParseFloat(t, 64)
		if err != nil {
			d.problem(item, fmt.Sprintf("%s is %q", s.full("missing"), t), "give the numbers that mean no data, as the file has them")
			continue
		}
		col.Missing = append(col.Missing, v)
	}
}
