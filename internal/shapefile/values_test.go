package shapefile

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/paulmach/orb"
)

// table is a layer of points with one column, of bytes as they stand.
func table(kind byte, length int, cpg string, driver byte, values ...string) fileSet {
	l := &Layer{Type: Point, Encoding: cpg, Fields: []Field{{"A", kind, length, 0}}}
	for _, v := range values {
		l.Rows = append(l.Rows, Row{Points: []orb.Point{{1, 2}}, Values: []string{v}})
	}
	set := buildSet(l, false)
	set.dbf[29] = driver
	if cpg == "" {
		set.cpg = nil
	}
	return set
}

func column(l *Layer) (values []string) {
	for _, r := range l.Rows {
		values = append(values, r.Values[0])
	}
	return values
}

func TestNullsAndPadding(t *testing.T) {
	tests := []struct {
		kind   byte
		length int
		raw    []string
		want   []string
	}{
		{'C', 6, []string{"", "\x00\x00\x00\x00\x00\x00", "ab", "  ab  ", "ab\x00xyz", "a b", "***", "0"}, []string{"", "", "ab", "ab", "ab", "a b", "***", "0"}},
		{'N', 6, []string{"", "******", "*", "  12", "-0.50", "1e3", "\x00\x00\x00\x00\x00\x00", "0"}, []string{"", "", "", "12", "-0.50", "1e3", "", "0"}},
		{'F', 8, []string{"********", "1.50000", "nan"}, []string{"", "1.50000", "nan"}},
		{'D', 8, []string{"20240229", "00000000", "", "0"}, []string{"20240229", "", "", ""}},
		{'L', 1, []string{"T", "f", "?", "", "Y"}, []string{"T", "f", "", "", "Y"}},
	}
	for _, tt := range tests {
		l, err := table(tt.kind, tt.length, "UTF-8", 0, tt.raw...).read()
		if err != nil {
			t.Fatal(err)
		}
		if got := column(l); !slices.Equal(got, tt.want) || l.Notes != nil {
			t.Errorf("%c: %q became %q, want %q (notes %q)", tt.kind, tt.raw, got, tt.want, l.Notes)
		}
	}
}

// TestEncodings has bytes from the mapping tables that Unicode publishes for
// each encoding (unicode.org/Public/MAPPINGS; these rows from memory), and the
// ways in which programs name them.
func TestEncodings(t *testing.T) {
	tests := []struct {
		cpg       string
		driver    byte
		raw, want string
		note      string
	}{
		{"UTF-8", 0, "größe 日本", "größe 日本", ""},
		{"utf8", 0x57, "größe", "größe", ""},
		{"65001", 0, "größe", "größe", ""},
		{"1252", 0, "\x80 \xfc", "€ ü", ""},
		{"CP1252", 0, "\x80", "€", ""},
		{"ANSI 1252", 0, "\x80", "€", ""},
		{"windows-1251", 0, "\xc0\xff", "Ая", ""},
		{"ISO-8859-1", 0, "gr\xf6\xdfe", "größe", ""},
		{"ISO 88591", 0, "gr\xf6\xdfe", "größe", ""},
		{"88592", 0, "\xb3\xf3d\xbc", "łódź", ""},
		{"ISO-8859-15", 0, "\xa4", "€", ""},
		{"LDID/87", 0, "\xfc", "ü", ""},
		{"LDID/38", 0, "\x80", "А", ""},
		{"OEM 850", 0, "\x9b", "ø", ""},
		{"IBM437", 0, "\x81", "ü", ""},
		{"SJIS", 0, "\x93\xfa\x96\x7b", "日本", ""},
		{"Shift_JIS", 0, "\x93\xfa", "日", ""},
		{"Big5", 0, "\xa4\xa4", "中", ""},
		{"950", 0, "\xa4\xa4", "中", ""},
		{"EUC-KR", 0, "\xb0\xa1", "가", ""},
		{"GBK", 0, "\xc4\xe3", "你", ""},
		{"GB18030", 0, "\xc4\xe3", "你", ""},
		{"KOI8-R", 0, "\xc1", "а", ""},
		{"", 0x01, "\x81", "ü", ""},
		{"", 0x03, "\x80", "€", ""},
		{"", 0x13, "\x93\xfa", "日", ""},
		{"", 0x26, "\x80", "А", ""},
		{"", 0x4D, "\xc4\xe3", "你", ""},
		{"", 0x4F, "\xa4\xa4", "中", ""},
		{"", 0x65, "\x80", "А", ""},
		{"", 0x7B, "\x93\xfa", "日", ""},
		{"", 0xC8, "\xb3", "ł", ""},
		{"", 0xC9, "\xc0", "А", ""},
		{"", 0x57, "gr\xf6\xdfe", "größe", "neither a .cpg nor the .dbf says"},
		{"", 0, "größe", "größe", "neither a .cpg nor the .dbf says"},
		{"UTF-8", 0, "a\xffb", "a\uFFFDb", "not valid in the encoding"},
		{"UTF-8", 0, "123456789012345678\xc3", "123456789012345678\uFFFD", "not valid in the encoding"},
		{"UTF-8", 0, "1234567890123456789\xc3", "1234567890123456789", "ends inside a character"},
		{"932", 0, "\x93\xff", "\uFFFD", "not valid in the encoding"},
	}
	for _, tt := range tests {
		l, err := table('C', 20, tt.cpg, tt.driver, tt.raw, "plain").read()
		if err != nil {
			t.Errorf("%q, driver %#x: %v", tt.cpg, tt.driver, err)
			continue
		}
		if got := column(l); got[1] != "plain" || strings.TrimRight(got[0], "\uFFFD") != strings.TrimRight(tt.want, "\uFFFD") || !utf8.ValidString(got[0]) {
			t.Errorf("%q, driver %#x: %q became %q, want %q", tt.cpg, tt.driver, tt.raw, got[0], tt.want)
		}
		if notes := strings.Join(l.Notes, "\n"); (tt.note == "") != (notes == "") || !strings.Contains(notes, tt.note) {
			t.Errorf("%q, driver %#x: notes %q, want %q", tt.cpg, tt.driver, notes, tt.note)
		}
		if l.Encoding == "" {
			t.Errorf("%q, driver %#x: no encoding", tt.cpg, tt.driver)
		}
	}
}

// TestUnknownEncodings are an error only where they matter.
func TestUnknownEncodings(t *testing.T) {
	for _, tt := range []struct {
		cpg    string
		driver byte
	}{{"EBCDIC-7", 0}, {"UTF-16", 0}, {"ISO-2022-JP", 0}, {"LDID/300", 0}, {"LDID/104", 0}, {"", 0x68}, {"", 0xEE}} {
		if l, err := table('C', 9, tt.cpg, tt.driver, "plain").read(); err != nil || l.Rows[0].Values[0] != "plain" {
			t.Errorf("%q, driver %#x: ASCII is not read: %v", tt.cpg, tt.driver, err)
		}
		_, err := table('C', 9, tt.cpg, tt.driver, "plain", "\xfc").read()
		if err == nil || !strings.Contains(err.Error(), "mains.dbf: record 2: field A: ") || !strings.Contains(err.Error(), "into the .cpg") {
			t.Errorf("%q, driver %#x: %v", tt.cpg, tt.driver, err)
		}
	}
}

func TestFieldNames(t *testing.T) {
	set := table('C', 4, "1252", 0, "x")
	copy(set.dbf[32:43], "L\xe4nge\x00junk")
	l, err := set.read()
	if err != nil || l.Fields[0] != (Field{"Länge", 'C', 4, 0}) {
		t.Errorf("got %v, %v", l, err)
	}
	twice := &Layer{Type: Point, Fields: []Field{{"ID", 'N', 3, 0}, {"id", 'N', 3, 0}}, Rows: []Row{{Points: []orb.Point{{1, 2}}, Values: []string{"1", "2"}}}}
	l, err = buildSet(twice, false).read()
	if err != nil || len(l.Notes) != 1 || !strings.Contains(l.Notes[0], "two fields are called id") {
		t.Errorf("got %v, %v", l, err)
	}
	for _, change := range []struct {
		what string
		at   int
		b    byte
	}{{"memo", 32 + 11, 'M'}, {"no name", 32, 0}, {"encrypted", 15, 1}, {"later kind of table", 0, 4}} {
		damaged := table('C', 4, "", 0, "x")
		damaged.dbf[change.at] = change.b
		if _, err := damaged.read(); err == nil {
			t.Errorf("%s: no error", change.what)
		} else {
			checkError(t, err)
		}
	}
}

// TestTableHeaders are the lengths of header that programs write for the same
// fields.
func TestTableHeaders(t *testing.T) {
	set := table('C', 4, "", 0, "abcd", "efgh")
	for _, tt := range []struct {
		kind   byte
		behind int
		sound  bool
	}{{3, 0, true}, {3, 1, true}, {0x30, 263, true}, {0x83, 0, true}, {0x30, 0, true}} {
		head := append(bytes.Clone(set.dbf[:65]), make([]byte, tt.behind)...)
		if tt.behind == backlinkBytes {
			copy(head[65:], "folder/job.dbc")
		}
		head[0] = tt.kind
		little.PutUint16(head[8:], uint16(len(head)))
		l, err := set.with(".dbf", append(head, set.dbf[65:]...)).read()
		if err != nil || !slices.Equal(column(l), []string{"abcd", "efgh"}) {
			t.Errorf("kind %#x with %d bytes behind its fields: %v, %v", tt.kind, tt.behind, l, err)
		}
	}
	// Without fields each row is its mark alone.
	l := sample(Point)
	l.Fields = nil
	got, err := buildSet(l, false).read()
	if err != nil || len(got.Rows) != 4 || !got.Rows[2].Deleted {
		t.Errorf("a table without fields: %v, %v", got, err)
	}
}

// TestNoData has no-data in every place of a line.
func TestNoData(t *testing.T) {
	nan := math.NaN()
	l := &Layer{Type: PolyLineZ, Rows: []Row{
		{
			Parts: []orb.LineString{{{1, 2}, {3, 4}, {5, 6}}},
			Z:     [][]float64{{nan, -1.5e38, -1e38}}, M: [][]float64{{-math.MaxFloat64, math.Inf(-1), math.Inf(1)}},
		},
		{Parts: []orb.LineString{{{1, nan}, {3, 4}}}, Z: [][]float64{{0, 0}}, M: [][]float64{{0, 0}}},
	}}
	got, err := buildSet(l, true).read()
	if err != nil {
		t.Fatal(err)
	}
	z, m := got.Rows[0].Z[0], got.Rows[0].M[0]
	if !math.IsNaN(z[0]) || !math.IsNaN(z[1]) || z[2] != -1e38 || !math.IsNaN(m[0]) || !math.IsNaN(m[1]) || !math.IsNaN(m[2]) {
		t.Errorf("Z %v, M %v", z, m)
	}
	if p := got.Rows[1].Parts[0]; p[0][0] != 1 || !math.IsNaN(p[0][1]) || p[1] != (orb.Point{3, 4}) {
		t.Errorf("points %v", p)
	}
	if len(got.Notes) != 1 || got.Notes[0] != "1 records have a coordinate that is no number (first record 2)" {
		t.Errorf("notes %q", got.Notes)
	}
	empty, err := buildSet(&Layer{Type: Point, Rows: []Row{{Points: []orb.Point{{nan, nan}}}, {Points: []orb.Point{{1, 2}}}}}, false).read()
	if err != nil || !empty.Rows[0].Null || empty.Rows[0].Points != nil || empty.Rows[1].Null {
		t.Errorf("an empty point: %+v, %v", empty, err)
	}
}

// TestMeasuresLeftOut reads what common writers write: no block of measures.
func TestMeasuresLeftOut(t *testing.T) {
	for _, want := range everyType() {
		if !want.Type.HasM() {
			continue
		}
		got, err := buildSet(want, false).read()
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range got.Rows {
			w := want.Rows[i]
			if len(r.M) != len(w.M) || len(r.Z) != len(w.Z) || len(numbersOf(&r)) != len(numbersOf(&w)) {
				t.Errorf("%v: row %d is %+v, want %+v", want.Type, i+1, r, w)
			}
			for _, part := range r.M {
				for _, m := range part {
					if !math.IsNaN(m) {
						t.Errorf("%v: row %d has M %v", want.Type, i+1, r.M)
					}
				}
			}
		}
	}
}

func TestOddities(t *testing.T) {
	set := buildSet(sample(PolyLine), false)
	big.PutUint32(set.shp[100:], 7)                                  // number of record 1
	little.PutUint64(set.shp[112+16:], math.Float64bits(500000.625)) // greatest X of its box
	l, err := set.read()
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Notes) != 2 || !strings.Contains(l.Notes[0], "1 records carry another number") || !strings.Contains(l.Notes[1], "1 records have points outside the box") {
		t.Errorf("notes %q", l.Notes)
	}
	if l.Rows[0].Number != 1 {
		t.Errorf("record 1 is numbered %d", l.Rows[0].Number)
	}
}

func TestEmptyShapes(t *testing.T) {
	for _, kind := range []Type{PolyLine, PolyLineZ, PolygonM, MultiPoint, MultiPointZ} {
		l := &Layer{Type: kind, Rows: []Row{{}, {}}}
		if kind.Flat() == MultiPoint {
			l.Rows[0].Points, l.Rows[1].Points = []orb.Point{}, []orb.Point{}
		}
		for _, withM := range []bool{false, true} {
			got, err := buildSet(l, withM).read()
			if err != nil || len(got.Rows) != 2 || got.Rows[0].Null || len(got.Rows[1].Parts) != 0 || len(got.Rows[1].Points) != 0 {
				t.Errorf("%v: %+v, %v", kind, got, err)
			}
		}
	}
	none, err := buildSet(&Layer{Type: PolyLine}, false).read()
	if err != nil || len(none.Rows) != 0 {
		t.Errorf("a layer of no rows: %+v, %v", none, err)
	}
}
