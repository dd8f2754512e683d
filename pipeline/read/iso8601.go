package read

import (
	"strings"
	"time"
)

// parseISO reads a date and time of ISO 8601, extended or basic, with a blank
// for the T and with or without an offset. It stands beside time.Parse because
// that needs one layout a spelling and files mix them.
func parseISO(s string) (stamp, bool) {
	p := isoParser{rest: s}
	year := p.digits(4)
	extended := p.skip('-')
	month := p.digits(2)
	if p.skip('-') != extended {
		return stamp{}, false
	}
	day := p.digits(2)
	if p.failed || year < 1900 || month < 1 || month > 12 || day < 1 || day > daysIn(year, month) {
		return stamp{}, false
	}
	var hour, minute, second, nanos int
	if p.skip('T') || p.skip('t') || p.skip(' ') {
		hour, minute, second, nanos = p.timeOfDay()
	}
	st := stamp{wall: time.Date(year, time.Month(month), day, hour, minute, second, nanos, time.UTC)}
	st.offset, st.zoned = p.zone()
	return st, !p.failed && p.rest == ""
}

func daysIn(year, month int) int {
	return time.Date(year, time.Month(month)+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

type isoParser struct {
	rest   string
	failed bool
}

func (p *isoParser) skip(c byte) bool {
	if p.rest != "" && p.rest[0] == c {
		p.rest = p.rest[1:]
		return true
	}
	return false
}

func (p *isoParser) digits(n int) (v int) {
	if len(p.rest) < n {
		p.failed = true
		return 0
	}
	for _, c := range []byte(p.rest[:n]) {
		if c < '0' || c > '9' {
			p.failed = true
			return 0
		}
		v = 10*v + int(c-'0')
	}
	p.rest = p.rest[n:]
	return v
}

func (p *isoParser) timeOfDay() (hour, minute, second, nanos int) {
	hour = p.digits(2)
	extended := p.skip(':')
	minute = p.digits(2)
	if extended && p.skip(':') || !extended && p.rest != "" && p.rest[0] >= '0' && p.rest[0] <= '9' {
		second = p.digits(2)
		if p.skip('.') || p.skip(',') {
			nanos = p.fraction()
		}
	}
	if hour > 23 || minute > 59 || second > 60 { // a leap second becomes the next minute
		p.failed = true
	}
	return hour, minute, second, nanos
}

// fraction reads the digits of a second's fraction as nanoseconds.
func (p *isoParser) fraction() (nanos int) {
	unit, n := 100_000_000, 0
	for n < len(p.rest) && p.rest[n] >= '0' && p.rest[n] <= '9' {
		nanos += unit * int(p.rest[n]-'0')
		unit /= 10
		n++
	}
	p.failed = p.failed || n == 0
	p.rest = p.rest[n:]
	return nanos
}

// zone reads Z, UTC or an offset, seconds east.
func (p *isoParser) zone() (offset int, zoned bool) {
	p.skip(' ')
	switch {
	case p.rest == "":
		return 0, false
	case p.rest == "Z", p.rest == "z", strings.EqualFold(p.rest, "UTC"), strings.EqualFold(p.rest, "GMT"):
		p.rest = ""
		return 0, true
	}
	sign := 1
	switch {
	case p.skip('-'):
		sign = -1
	case !p.skip('+'):
		p.failed = true
		return 0, false
	}
	hours, minutes := p.digits(2), 0
	if p.skip(':') || p.rest != "" {
		minutes = p.digits(2)
	}
	if hours > 15 || minutes > 59 {
		p.failed = true
	}
	return sign * (hours*3600 + minutes*60), true
}
