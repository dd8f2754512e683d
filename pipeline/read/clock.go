package read

import (
	"fmt"
	"math"
	"strings"
	"time"
	_ "time/tzdata" // zones on machines that have none of their own
)

// stamp is a time as written.
type stamp struct {
	wall   time.Time // what the clock showed, as if in UTC
	zoned  bool      // an offset is written with it
	offset int       // seconds east of UTC
}

// Layouts of Column.Format that are no reference time of Go's.
const (
	formatExcel     = "excel"      // days since 1899-12-30, a spreadsheet's serial date
	formatExcel1904 = "excel1904"  // the same in a spreadsheet that begins with 1904
	formatUnix      = "unix"       // seconds since 1970-01-01, UTC
	formatUnixMilli = "unix_milli" // milliseconds since then
)

// Serial dates that can be told from other numbers without a format: 1954 to 2119.
const firstSerial, lastSerial = 20000, 80000

// parseStamp reads a time in a layout; "" is ISO 8601 or a serial date.
func parseStamp(s, layout string) (stamp, bool) {
	switch layout {
	case "":
		if st, ok := parseISO(s); ok {
			return st, true
		}
		if v, why := parseNumber(s, ';'); why == "" && v >= firstSerial && v < lastSerial {
			return stamp{wall: serial(1899, 12, 30, v)}, true
		}
		return stamp{}, false
	case formatExcel, formatExcel1904, formatUnix, formatUnixMilli:
		v, why := parseNumber(s, ';')
		if why != "" || math.Abs(v) > 1e14 {
			return stamp{}, false
		}
		switch layout {
		case formatExcel:
			return stamp{wall: serial(1899, 12, 30, v)}, math.Abs(v) < 1e6
		case formatExcel1904:
			return stamp{wall: serial(1904, 1, 1, v)}, math.Abs(v) < 1e6
		case formatUnix:
			v *= 1000
		}
		return stamp{wall: time.UnixMilli(int64(math.Round(v))).UTC(), zoned: true}, true
	}
	t, err := time.Parse(layout, s)
	if err != nil {
		return stamp{}, false
	}
	if strings.Contains(layout, "Z07") || strings.Contains(layout, "-07") {
		_, offset := t.Zone()
		return stamp{wall: t.UTC().Add(time.Duration(offset) * time.Second), zoned: true, offset: offset}, true
	}
	// A zone's abbreviation names no zone: only the clock's face counts.
	return stamp{wall: wall(t)}, true
}

// wall is what a clock shows, as if in UTC.
func wall(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
}

// serial counts days, to the millisecond that a double of a day still holds.
func serial(year int, month time.Month, day int, days float64) time.Time {
	ms := int64(math.Round(days * 86_400_000))
	return time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Add(time.Duration(ms) * time.Millisecond)
}

// clock turns stamps into moments. It remembers the stretch between two
// changes of its zone's offset, in which most of a file's times lie.
type clock struct {
	zone          *time.Location // nil: none is known
	utc           bool           // the zone is no place's
	from, to      time.Time      // wall times between which offset holds without question
	offset        time.Duration
	offsetSeconds int
}

// moment is the time of a stamp in UTC and the offset of its local time; local
// says whether that offset is known to be the place's.
func (c *clock) moment(s stamp) (t time.Time, offset int, local bool, why string) {
	if s.zoned {
		t = s.wall.Add(-time.Duration(s.offset) * time.Second)
		if c.zone != nil {
			_, offset = t.In(c.zone).Zone()
			return t, offset, !c.utc, ""
		}
		return t, s.offset, s.offset != 0, ""
	}
	if c.zone == nil {
		return time.Time{}, 0, false, "is a local time without a zone: give the column a zone"
	}
	if s.wall.Before(c.from) || !s.wall.Before(c.to) {
		if why := c.look(s.wall); why != "" {
			return time.Time{}, 0, false, why
		}
	}
	return s.wall.Add(-c.offset), c.offsetSeconds, !c.utc, ""
}

// look finds the offset of a wall time. On the day the clocks change a wall
// time may name two moments, or none.
func (c *clock) look(at time.Time) (why string) {
	const day = 24 * time.Hour
	_, before := at.Add(-day).In(c.zone).Zone()
	_, after := at.Add(day).In(c.zone).Zone()
	found := 0
	var moment time.Time
	for i, offset := range []int{before, after} {
		if i == 1 && before == after {
			break
		}
		t := at.Add(-time.Duration(offset) * time.Second)
		if wall(t.In(c.zone)).Equal(at) {
			moment, c.offsetSeconds = t, offset
			found++
		}
	}
	switch {
	case found == 2:
		c.from, c.to = time.Time{}, time.Time{}
		return fmt.Sprintf("came twice in %s, the clocks going back: write the offset with it", c.zone)
	case found == 0:
		c.from, c.to = time.Time{}, time.Time{}
		return fmt.Sprintf("did not come in %s, the clocks going forward", c.zone)
	}
	c.offset = time.Duration(c.offsetSeconds) * time.Second
	start, end := moment.In(c.zone).ZoneBounds()
	c.from, c.to = start.Add(c.offset+day), end.Add(c.offset-day)
	if start.IsZero() {
		c.from = time.Time{}
	}
	if end.IsZero() {
		c.to = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	return ""
}
