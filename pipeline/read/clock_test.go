package read

import (
	"strings"
	"testing"
	"time"
)

func moment(t *testing.T, text, layout, zone string) (time.Time, string) {
	t.Helper()
	b := &binder{table: &table{}}
	k := b.clock(Column{Zone: zone})
	if err := b.err(); err != nil {
		t.Fatal(err)
	}
	st, ok := parseStamp(text, layout)
	if !ok {
		return time.Time{}, "no time"
	}
	at, _, _, why := k.moment(st)
	return at, why
}

func TestISO8601AgainstRFC3339(t *testing.T) {
	var p struct {
		Source   string
		Examples []struct {
			Text string
			UTC  time.Time
		}
	}
	published(t, "rfc3339-examples.json", &p)
	for _, e := range p.Examples {
		if got, why := moment(t, e.Text, "", ""); why != "" || !got.Equal(e.UTC) {
			t.Errorf("%s: %s is %v (%s), want %v", p.Source, e.Text, got, why, e.UTC)
		}
	}
}

func TestSerialDates(t *testing.T) {
	var p struct {
		Source   string
		Examples []struct {
			Format, Serial string
			Wall           time.Time
		}
	}
	published(t, "serial-dates.json", &p)
	for _, e := range p.Examples {
		if got, why := moment(t, e.Serial, e.Format, "UTC"); why != "" || !got.Equal(e.Wall) {
			t.Errorf("%s: %s in %s is %v (%s), want %v", p.Source, e.Serial, e.Format, got, why, e.Wall)
		}
	}
	if got, why := moment(t, "46185,5", "", "America/Regina"); why != "" || !got.Equal(time.Date(2026, 6, 12, 18, 0, 0, 0, time.UTC)) {
		t.Errorf("a serial date with a decimal comma, noon in Regina (UTC-6): %v %s", got, why)
	}
}

func TestClocksThatChange(t *testing.T) {
	var p struct {
		Source, Zone string
		Examples     []struct {
			Local        string
			UTC          time.Time
			Never, Twice bool
		}
	}
	published(t, "us-time-2007.json", &p)
	for _, e := range p.Examples {
		got, why := moment(t, e.Local, "", p.Zone)
		switch {
		case e.Never && !strings.Contains(why, "did not come"), e.Twice && !strings.Contains(why, "came twice"):
			t.Errorf("%s: %s gave %v, reason %q", p.Source, e.Local, got, why)
		case !e.Never && !e.Twice && (why != "" || !got.Equal(e.UTC)):
			t.Errorf("%s: %s is %v (%s), want %v", p.Source, e.Local, got, why, e.UTC)
		}
	}
}

func TestTimesAsWritten(t *testing.T) {
	noon := time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		text, layout, zone string
		want               time.Time
		why                string
	}{
		{"2026-06-12T12:00:00Z", "", "", noon, ""},
		{"2026-06-12 12:00Z", "", "", noon, ""},
		{"20260612T120000Z", "", "", noon, ""},
		{"20260612T1200Z", "", "", noon, ""},
		{"2026-06-12 06:00:00.000-0600", "", "", noon, ""},
		{"2026-06-12T06:00:00,000-06", "", "", noon, ""},
		{"2026-06-12 12:00:00 UTC", "", "", noon, ""},
		{"2026-06-12 06:00:00", "", "America/Regina", noon, ""},
		{"2026-06-12", "", "UTC", noon.Add(-12 * time.Hour), ""},
		{"12.06.2026 14:00", "02.01.2006 15:04", "Europe/Berlin", noon, ""},
		{"06/12/2026 06:00:00 AM -0600", "01/02/2006 03:04:05 PM -0700", "", noon, ""},
		{"1781265600", "unix", "", noon, ""},
		{"1781265600000", "unix_milli", "", noon, ""},
		{"2026-06-12 06:00:00", "", "", time.Time{}, "is a local time without a zone: give the column a zone"},
		{"46185.5", "", "", time.Time{}, "is a local time without a zone: give the column a zone"},
		{"2026-02-29T12:00:00Z", "", "", time.Time{}, "no time"},
		{"2026-13-01T12:00:00Z", "", "", time.Time{}, "no time"},
		{"2026-06-12T24:30:00Z", "", "", time.Time{}, "no time"},
		{"2026-06-12T12:00:00Z?", "", "", time.Time{}, "no time"},
		{"2026-0612T12:00:00Z", "", "", time.Time{}, "no time"},
		{"2026-06-12T", "", "UTC", time.Time{}, "no time"},
		{"", "", "", time.Time{}, "no time"},
		{"12", "", "", time.Time{}, "no time"},
		{"1e300", "unix", "", time.Time{}, "no time"},
	} {
		got, why := moment(t, c.text, c.layout, c.zone)
		if !got.Equal(c.want) || why != c.why {
			t.Errorf("%q (%q, %q) is %v %q, want %v %q", c.text, c.layout, c.zone, got, why, c.want, c.why)
		}
	}
}
