package read

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func sentence(body string) string {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

func TestNMEAAgainstPublishedSentences(t *testing.T) {
	var p struct {
		Source string
		GGA    struct {
			Text, Time                      string
			Latitude, Longitude, Altitude_m float64
		}
		GST struct {
			Text                        string
			Sigma_north_m, Sigma_east_m float64
		}
		RMC struct{ Text, Date string }
	}
	published(t, "nmea0183-sentences.json", &p)
	log, err := parseNMEA(strings.NewReader(p.GGA.Text + "\r\n" + p.RMC.Text + "\r\n" + p.GST.Text + "\r\n" +
		sentence("GNGGA,172814.00,4807.038,N,01131.000,E,4,08,0.9,545.4,M,46.9,M,,")))
	if err != nil || log.damaged != 0 || len(log.positions) != 2 {
		t.Fatalf("%s: %v %+v", p.Source, err, log)
	}
	at := log.positions[0]
	if want := p.RMC.Date + "T" + p.GGA.Time + "Z"; at.time.Format(time.RFC3339) != want {
		t.Errorf("%s: time %v, want %s", p.Source, at.time, want)
	}
	if math.Abs(at.at[0]-p.GGA.Longitude) > 1e-9 || math.Abs(at.at[1]-p.GGA.Latitude) > 1e-9 || at.elevationM != p.GGA.Altitude_m || at.fix != fixWords["1"] {
		t.Errorf("%s: %+v", p.Source, at)
	}
	n, e := p.GST.Sigma_north_m, p.GST.Sigma_east_m
	if got := log.positions[1].sigmaM; math.Abs(got-math.Hypot(n, e)/math.Sqrt2) > 1e-12 {
		t.Errorf("%s: sigma %v of %v and %v", p.Source, got, n, e)
	}
}

// TestReadingsFromALog gives readings without positions those of a log that
// passes midnight.
func TestReadingsFromALog(t *testing.T) {
	gga := func(clock, minutes string, quality int) string {
		return sentence(fmt.Sprintf("GNGGA,%s,4000.%s,N,08100.0000,W,%d,12,0.7,250.0,M,-33.0,M,1.0,0000", clock, minutes, quality))
	}
	text := gga("235959.00", "0000", 4) + sentence("GNGST,235959.00,0.01,,,,0.03,0.04,0.05") + sentence("GNRMC,235959.00,A,,,,,,,120626,,,A") +
		gga("000000.00", "0010", 4) + gga("000001.00", "0020", 5) + "noise $GNGGA,000001.50,4100.0,N,08100.0,W,4,,,,,,,,*00\n" +
		gga("000005.00", "0060", 4) + gga("000006.00", "0070", 0)
	in := input{field: map[string]string{
		"field/r.csv": "TIME,DEPTH_IN\n" +
			"2026-06-12T23:59:59Z,36\n2026-06-13T00:00:00.5Z,36\n2026-06-13T00:00:01.9Z,36\n2026-06-13T00:00:03Z,36\n2026-06-14T00:00:00Z,36\n,36\n",
	}}
	o := in.options(t)
	log := filepath.Join(filepath.Dir(o.Field[0].Path), "base.nmea")
	writeText(t, log, text)
	o.Field[0].Log = PositionLog{Path: log, Name: "field/base.nmea"}
	o.MaxRejectShare = 1
	s, err := Files(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "positions-from-a-log", dump(s, true))
	if sib := s.Sources[1].Siblings; len(sib) != 1 || sib[0].Name != "field/base.nmea" {
		t.Errorf("siblings %+v", sib)
	}
	for name, c := range map[string]struct{ text, want string }{
		"no sentence": {"hello\n", "no GGA sentence"}, "binary": {strings.Repeat("x", 100_000), "too long for NMEA"},
	} {
		writeText(t, log, c.text)
		s, err := Files(t.Context(), o)
		if err != nil || !strings.Contains(s.Sources[1].SetAside, c.want) {
			t.Errorf("%s: %v %q", name, err, s.Sources[1].SetAside)
		}
	}
}

func FuzzNMEA(f *testing.F) {
	f.Add("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\n$GPRMC,123519,A,,,,,,,230394,,*00\n")
	f.Add(sentence("GPZDA,235959.99,31,12,2026,00,00") + sentence("GPGST,235959.99,,,,,1,1,1"))
	f.Fuzz(func(t *testing.T, text string) {
		log, err := parseNMEA(strings.NewReader(text))
		if err != nil {
			return
		}
		log.maxGap = time.Second
		for i := range log.positions {
			if i > 0 && log.positions[i].time.Before(log.positions[i-1].time) {
				t.Fatal("positions out of order")
			}
			if _, why := log.position(log.positions[i].time); why != "" && log.dated {
				t.Fatal("a position is not found at its own time: ", why)
			}
		}
	})
}
