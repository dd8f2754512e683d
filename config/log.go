package config

import (
	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// log reads which receiver's log readings without positions take theirs from:
// its path, or {path: ..., max_gap: 2 s}. c are the source's columns.
func (d *decoder) log(s, c *columns) (l read.PositionLog) {
	n := s.take("log")
	if n == nil {
		return l
	}
	path := n
	if follow(n).Kind == yaml.MappingNode {
		m := d.section(n, s.full("log"))
		defer m.done()
		if gap := m.take("max_gap"); gap != nil {
			text, _ := d.text(gap, m.full("max_gap"))
			seconds, err := duration.parse(text)
			if err == nil {
				err = positive.check(duration, text, seconds)
			}
			if err != nil {
				d.wrong(gap, m.full("max_gap"), err)
			}
			l.MaxGapSeconds = seconds
		}
		if path = m.take("path"); path == nil {
			d.problem(n, m.name+" has no path", "name the file, as in path: field/receiver.nmea")
			return l
		}
	}
	name, ok := d.nonEmpty(path, s.full("log"))
	if !ok {
		return l
	}
	for _, key := range []string{"latitude", "longitude", "easting", "northing"} {
		if e := c.entry(key); e != nil {
			d.problem(e.key, s.full("log")+" gives positions, and so does "+c.full(key), "keep one")
			break
		}
	}
	if c.entry("time") == nil {
		d.problem(n, s.full("log")+" gives positions by time, and "+c.name+" maps no time", "add time: to the columns")
	}
	l.Path, l.Name = d.resolve(name), d.display(d.resolve(name))
	d.inputs = append(d.inputs, input{role: survey.RoleField, file: read.File{Path: l.Path, Name: l.Name}, at: d.at(path)})
	return l
}
