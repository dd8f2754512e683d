package starter

import (
	"slices"
	"strings"

	"github.com/asfound/asfound/pipeline/read"
)

// layout is how a column writes times.
type layout struct {
	found     bool
	format    string // for the config; "" for ISO 8601 and serial dates
	zoned     bool   // the values say their offset from UTC
	ambiguous string // the other layout that reads all values as well: day or month first
}

// layouts are the ways of writing a date and time beside ISO 8601. Go's parser
// takes 1 and 2 as one digit or two, and a fraction behind the seconds.
var layouts = func() (all []string) {
	for _, date := range []string{"1/2/2006", "2/1/2006", "2006/1/2", "2.1.2006", "2-1-2006", "1-2-2006", "2-Jan-2006", "2 Jan 2006", "Jan 2, 2006", "1/2/06", "2/1/06"} {
		for _, clock := range []string{"", " 15:04:05", " 15:04", " 3:04:05 PM", " 3:04 PM"} {
			for _, zone := range []string{"", " -07:00", "-07:00", " -0700", "-0700", " MST"} {
				if clock != "" || zone == "" {
					all = append(all, date+clock+zone)
				}
			}
		}
	}
	return append(all, "unix_milli", "unix")
}()

// layoutOf finds the layout that reads nearly all values.
func layoutOf(distinct []string) layout {
	const most = 500 // more would say the same
	values := distinct[:min(len(distinct), most)]
	if len(values) == 0 {
		return layout{}
	}
	if zoned, ok := allTimes(values, ""); ok {
		return layout{found: true, zoned: zoned}
	}
	var found layout
	for _, format := range layouts {
		if strings.HasPrefix(format, "unix") && !slices.ContainsFunc(values, func(v string) bool { return len(v) >= 10 && v >= "1" }) {
			continue
		}
		zoned, ok := allTimes(values, format)
		switch {
		case !ok:
		case !found.found:
			found = layout{found: true, format: format, zoned: zoned}
		case sameButOrder(found.format, format):
			found.ambiguous = format
		}
	}
	return found
}

// allTimes says whether 19 of 20 values are times of a layout, and say their
// offset. A number is a time only where it is one of this century's seconds,
// milliseconds or serial dates.
func allTimes(values []string, format string) (zoned, ok bool) {
	times, offsets := 0, 0
	for _, v := range values {
		if !plausible(v, format) {
			continue
		}
		if z, ok := read.Time(v, format); ok {
			times++
			if z {
				offsets++
			}
		}
	}
	return offsets == times, 20*times >= 19*len(values)
}

// plausible says whether a number may be a time of a layout at all.
func plausible(v, format string) bool {
	n, number := read.Number(v, ';')
	switch {
	case !number:
		return !strings.HasPrefix(format, "unix")
	case format == "unix":
		return n > 9e8 && n < 4e9
	case format == "unix_milli":
		return n > 9e11 && n < 4e12
	}
	// 20260612 is a date of ISO 8601, and 46185.5 a serial date of our days.
	return len(v) == 8 && n > 19500000 && n < 21000000 || n > 30000 && n < 65000 && strings.ContainsAny(v, ".,")
}

// sameButOrder says whether two layouts differ in the order of day and month
// only.
func sameButOrder(a, b string) bool {
	swapped := strings.NewReplacer("2006", "2006", "15:04", "15:04", "3:04", "3:04", "1", "2", "2", "1").Replace(a)
	return a != b && swapped == b
}
