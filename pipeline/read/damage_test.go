package read

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// every is the step between the bytes that a test damages: each one where the
// reader is quick or with ASFOUND_SLOW=1.
func every(otherwise int) int {
	if os.Getenv("ASFOUND_SLOW") == "1" {
		return 1
	}
	return otherwise
}

// masks change a byte: each bit, and all.
var masks = []byte{1, 2, 4, 8, 16, 32, 64, 128, 0xFF}

// told are the rows of a layer as text, and what is wrong with them.
func told(l *layerFile) (rows []string) {
	var r row
	for i := range l.features {
		f := &l.features[i]
		rows = append(rows, fmt.Sprintf("%v %v %q %q", f.Parts, f.Z, l.rowOf(i, &r).values, l.damage[i]))
	}
	return rows
}

// damaged reads every cut of a text and every change of a byte in it. A cut is an
// error, unless only blanks are missing. A change is an error too, or leaves as
// many rows, of which no more than one differs; unless tolerated says that the
// text is another sound one.
func damaged(t *testing.T, text string, read func(string) (*layerFile, error), tolerated func(changed string) bool) {
	t.Helper()
	l, err := read(text)
	if err != nil {
		t.Fatal(err)
	}
	want, columns := told(l), l.columns()
	end := len(strings.TrimRight(text, " \r\n"))
	for n := range len(text) {
		l, err := read(text[:n])
		switch {
		case n < end && err == nil && !tolerated(text[:n]):
			t.Errorf("cut to %d of %d bytes: no error, but %d rows", n, len(text), len(l.features))
		case n >= end && (err != nil || !slices.Equal(told(l), want)):
			t.Errorf("without its last blanks: %v", err)
		}
	}
	silent, failed := 0, 0
	for i := range end {
		for _, mask := range masks {
			b := []byte(text)
			b[i] ^= mask
			l, err := read(string(b))
			if err != nil {
				failed++
				continue
			}
			silent++
			got := told(l)
			differ := 0
			for k := range got {
				if k < len(want) && got[k] != want[k] {
					differ++
				}
			}
			// A column under another name is another column, in all rows.
			if (len(got) != len(want) || differ > 1 && slices.Equal(l.columns(), columns)) && !tolerated(string(b)) {
				t.Errorf("byte %d %q ^ %#x: %d rows for %d, %d of them others", i, text[i], mask, len(got), len(want), differ)
			}
		}
	}
	if silent == 0 || failed == 0 {
		t.Errorf("%d errors and %d layers: the test does not see both outcomes", failed, silent)
	}
}

func TestDamagedGeoJSON(t *testing.T) {
	const text = `{"type":"FeatureCollection","features":[
{"type":"Feature","id":7,"properties":{"LINE":"1","D":36.5},"geometry":{"type":"LineString","coordinates":[[-81,40,1],[-81.5,40]]}},
{"type":"Feature","properties":{"LINE":"2","D":null},"geometry":{"type":"LineString","coordinates":[[-81,41],[-81.5,41]]}},
{"type":"Feature","properties":{"LINE":"3"},"geometry":null}]}
`
	damaged(t, text, func(s string) (*layerFile, error) { return parseGeoJSON(strings.NewReader(s), whole) }, func(s string) bool {
		return false
	})
	// Features one after the other have no end that could be missed: a cut between
	// two is a sound file.
	const feature = `{"type":"Feature","properties":{"LINE":"1"},"geometry":null}`
	l, err := parseGeoJSON(strings.NewReader(feature+"\n"+feature[:len(feature)-1]), whole)
	if err == nil {
		t.Errorf("a cut within the second of two features: %d rows", len(l.features))
	}
}

func TestDamagedGPX(t *testing.T) {
	const text = `<?xml version="1.0"?><gpx version="1.1"><wpt lat="40" lon="-81"><ele>5</ele></wpt><trk><name>w</name><trkseg>
<trkpt lat="40.1" lon="-81.1"><time>2026-06-12T14:00:00Z</time></trkpt><trkpt lat="40.2" lon="-81.2"/></trkseg></trk></gpx>
`
	damaged(t, text, func(s string) (*layerFile, error) { return parseGPX(strings.NewReader(s), whole) }, func(s string) bool {
		return len(s) == len(text) && !strings.Contains(s, "<name>w</name>") // the track's, which all its points have
	})
}

// TestDamagedCSV cuts a text at each byte, and changes each. A cut tells of
// itself by a row that is too short, or by the last line without an end; one at
// the end of a line does not tell, since nothing in such a text says how long it
// is. A changed byte changes its row, or the rows whose ends or quotes it was.
func TestDamagedCSV(t *testing.T) {
	const text = "LINE,TIME,DEPTH\n1,2026-06-12T14:00:00Z,36.5\n2,\"2026-06-12\nT14\",37\n\n3,,38.25\n"
	shows := func(s string) ([]string, []string) {
		tab, err := csvTable(strings.NewReader(s))
		if err != nil {
			return nil, []string{"error: " + err.Error()}
		}
		var rows []string
		for r, err := range tab.rows {
			if err != nil {
				return rows, append(tab.notes, err.Error())
			}
			if r.line < r.number {
				t.Fatalf("row %d in line %d", r.number, r.line)
			}
			rows = append(rows, fmt.Sprint(r.line, r.damage, strings.Join(r.values, "|")))
		}
		return rows, tab.notes
	}
	want, notes := shows(text)
	if len(want) != 4 || notes != nil {
		t.Fatal(want, notes)
	}
	for n := range len(text) {
		got, notes := shows(text[:n])
		atLineEnd := n > 0 && text[n-1] == '\n'
		inHeader := n < strings.IndexByte(text, '\n')
		inRow := len(got) == 0 || strings.Contains(got[len(got)-1], "the header has") || strings.Contains(got[len(got)-1], "closed wrongly or never")
		if !atLineEnd && !inHeader && !inRow && !slices.Contains(notes, noLastNewline) {
			t.Errorf("cut to %q: %q %q", text[:n], got, notes)
		}
		for i, row := range got[:max(0, len(got)-2)] { // a quote that is cut open spoils two lines
			if row != want[i] {
				t.Errorf("cut to %q changed row %d to %q", text[:n], i+1, row)
			}
		}
	}
	for i := strings.IndexByte(text, '\n') + 1; i < len(text); i++ {
		for _, mask := range masks {
			b := []byte(text)
			b[i] ^= mask
			got, _ := shows(string(b))
			beside := text[i-1] == '"' || i+1 < len(text) && text[i+1] == '"'
			lines := beside || text[i] == '\n' || b[i] == '\n' || text[i] == '"' || b[i] == '"' || b[i] == '\r'
			if !lines && len(got) != len(want) {
				t.Errorf("byte %d %q ^ %#x: %q", i, text[i], mask, got)
			}
			if rows := strings.Count(string(b), "\n"); len(got) < len(want)-2 || len(got) > rows {
				t.Errorf("byte %d %q ^ %#x: %d rows of %d lines", i, text[i], mask, len(got), rows)
			}
		}
	}
}

// TestDamagedNMEA cuts a log at each byte, and changes each. The checksum of a
// sentence tells of any one byte in it. What is lost is a moment, and readings of
// that time have no position or, where the log has others near enough, lie
// between them. A log cut at the end of a line is a shorter log.
func TestDamagedNMEA(t *testing.T) {
	var text string
	for i := range 3 {
		text += sentence(fmt.Sprintf("GNGGA,14000%d.00,4000.000%d,N,08100.0000,W,4,12,0.7,250.0,M,-33.0,M,1.0,0000", i, i))
	}
	want, err := parseNMEA(strings.NewReader(text))
	if err != nil || len(want.positions) != 3 {
		t.Fatal(want, err)
	}
	sound := func(what string, log *positionLog, err error) {
		if err != nil {
			return // no position is left
		}
		for _, p := range log.positions {
			if !slices.ContainsFunc(want.positions, func(w logged) bool { return w.time.Equal(p.time) && w.at == p.at && w.elevationM == p.elevationM }) {
				t.Errorf("%s: a position that was not there: %+v", what, p)
			}
		}
	}
	for n := range len(text) {
		log, err := parseNMEA(strings.NewReader(text[:n]))
		if first := strings.IndexByte(text, '*'); n > first+2 { // before, nothing tells that there are checksums
			sound(fmt.Sprintf("cut to %d bytes", n), log, err)
		}
	}
	for i := range text {
		for _, mask := range masks {
			b := []byte(text)
			b[i] ^= mask
			log, err := parseNMEA(bytes.NewReader(b))
			sound(fmt.Sprintf("byte %d %q ^ %#x", i, text[i], mask), log, err)
			if err == nil && len(log.positions) < 2 {
				t.Errorf("byte %d %q ^ %#x: %d positions are left", i, text[i], mask, len(log.positions))
			}
		}
	}
}

// smallGeoPackage is a file of some kilobytes.
func smallGeoPackage(t *testing.T) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "small.gpkg")
	var rows []string
	for i := range 12 {
		rows = append(rows, fmt.Sprintf("(%d, %s, '%s')", i+1, gpkgPoint(t, "-81", "40"), strings.Repeat(string(rune('a'+i)), 40)))
	}
	makeGeoPackage(t, path, "readings", "POINT", "create table readings (fid integer primary key, geom point, a text); insert into readings values "+
		strings.Join(rows, ",")+"; drop table gpkg_contents; create table gpkg_contents (table_name text, data_type text); insert into gpkg_contents values ('readings', 'features'); pragma journal_mode = delete; pragma page_size = 512; vacuum;")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// TestDamagedByteOfGeoPackage cuts a small GeoPackage at each byte and changes
// each (some of them without ASFOUND_SLOW=1). A cut is an error, or misses
// nothing that the layer needs. A change is an error, or leaves as many rows with
// no more than one of them changed; but for the few bytes by which the standard
// tells which table is meant, how its columns are called and where its numbers
// lie.
func TestDamagedByteOfGeoPackage(t *testing.T) {
	data := smallGeoPackage(t)
	path := filepath.Join(t.TempDir(), "r.gpkg")
	read := func(b []byte) (*layerFile, error) {
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		return readGeoPackage(path, "", whole)
	}
	l, err := read(data)
	if err != nil {
		t.Fatal(err)
	}
	want := told(l)
	for n := 0; n < len(data); n += every(61) {
		if l, err := read(data[:n]); err == nil && !slices.Equal(told(l), want) {
			t.Errorf("cut to %d of %d bytes: %d rows for %d", n, len(data), len(l.features), len(want))
		}
	}
	silent, failed := 0, 0
	for i := 0; i < len(data); i += every(61) {
		for _, mask := range []byte{1, 0x20, 0x80, 0xFF} {
			b := bytes.Clone(data)
			b[i] ^= mask
			l, err := read(b)
			if err != nil {
				failed++
				continue
			}
			silent++
			if got := told(l); len(got) != len(want) {
				t.Errorf("byte %d ^ %#x: %d rows for %d", i, mask, len(got), len(want))
			}
		}
	}
	if silent == 0 || failed == 0 {
		t.Errorf("%d errors and %d layers: the test does not see both outcomes", failed, silent)
	}
}

// TestHostileLengthsOfGeometry has well-known binary promise more than there is.
func TestHostileLengthsOfGeometry(t *testing.T) {
	for _, text := range []string{
		"0102000000ffffffff", "0102000000ffffff7f00", "0105000000ffffffff", "0103000000ffffffff", "0103000000ffffff7f01000000",
		"0104000000ffffffff0101000000", "01ea030000ffffffff", "0107000000ffffffff", "010200",
	} {
		data, err := hex.DecodeString(text)
		if err != nil {
			t.Fatal(err)
		}
		f := survey.Feature{Row: 1}
		allocs := testing.AllocsPerRun(1, func() { _, err = parseWKB(data, &f) })
		if err == nil || allocs > 100 {
			t.Errorf("%s: %v after %v allocations, %d parts", text, err, allocs, len(f.Parts))
		}
	}
	f := survey.Feature{Row: 1}
	if _, err := parseWKB(nil, &f); !errors.Is(err, errShortGeometry) || len(f.Parts) > 0 {
		t.Errorf("no bytes: %v %v", err, []orb.LineString(f.Parts))
	}
}
