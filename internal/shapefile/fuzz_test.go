package shapefile

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzSet reads any bytes as a set. What is not an error is a whole layer by the
// counts that stand in the files, and can be written and read again.
func FuzzSet(f *testing.F) {
	for _, l := range everyType() {
		for _, withM := range []bool{true, false} {
			set := buildSet(l, withM)
			f.Add(set.shp, set.shx, set.dbf, l.Encoding)
			f.Add(set.shp, []byte(nil), set.dbf, "")
		}
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, shp, shx, dbf []byte, cpg string) {
		if shp == nil {
			shp = []byte{}
		}
		if dbf == nil {
			dbf = []byte{}
		}
		if len(shx) == 0 {
			shx = nil
		}
		l, err := fileSet{shp: shp, shx: shx, dbf: dbf, cpg: []byte(cpg)}.read()
		if err != nil {
			checkError(t, err)
			return
		}
		if want := int(little.Uint32(dbf[4:])); len(l.Rows) != want || (shx != nil && len(l.Rows) != (len(shx)-100)/8) {
			t.Fatalf("%d rows, the table says %d", len(l.Rows), want)
		}
		writable := true
		for i := range l.Rows {
			checkRow(t, l, &l.Rows[i], i+1)
			writable = writable && checkShape(&l.Rows[i], l.Type) == ""
		}
		if writable && len(l.Rows) < 50 {
			checkRewrite(t, l, filepath.Join(dir, "mains.shp"))
		}
	})
}

// FuzzRecord reads any content of a record and any row of a table inside headers
// that agree with each other, which FuzzSet would seldom hit upon.
func FuzzRecord(f *testing.F) {
	for _, l := range everyType() {
		for _, withM := range []bool{true, false} {
			f.Add(int32(l.Type), buildContent(&l.Rows[0], l.Type, withM), "1252", byte('C'), []byte("größe"))
			f.Add(int32(l.Type), buildContent(&l.Rows[2], l.Type, withM), "", byte('N'), []byte("  1.50"))
		}
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, kind int32, content []byte, cpg string, field byte, value []byte) {
		content = content[:len(content)&^1]
		value = append(value, make([]byte, 1)...)[:min(len(value)+1, 255)]
		l := &Layer{Type: Type(kind), Encoding: cpg, Fields: []Field{{"A", field, len(value), 0}}}
		set := buildSet(l, false)
		set.shp = big.AppendUint32(set.shp, 1)
		set.shp = append(big.AppendUint32(set.shp, uint32(len(content)/2)), content...)
		big.PutUint32(set.shp[24:], uint32(len(set.shp)/2))
		set.shx = nil
		set.dbf = append(append(set.dbf[:65], ' '), value...)
		little.PutUint32(set.dbf[4:], 1)
		got, err := set.read()
		if err != nil {
			checkError(t, err)
			return
		}
		if len(got.Rows) != 1 {
			t.Fatalf("%d rows", len(got.Rows))
		}
		r := &got.Rows[0]
		checkRow(t, got, r, 1)
		if n := int64(8 * len(numbersOf(r))); n > 2*int64(len(content)) {
			t.Fatalf("%d bytes of numbers from a record of %d", n, len(content))
		}
		if checkShape(r, got.Type) == "" {
			checkRewrite(t, got, filepath.Join(dir, "mains.shp"))
		}
	})
}

func checkRow(t *testing.T, l *Layer, r *Row, number int) {
	t.Helper()
	if r.Number != number || len(r.Values) != len(l.Fields) {
		t.Fatalf("row %d is numbered %d with %d values for %d fields", number, r.Number, len(r.Values), len(l.Fields))
	}
	for _, v := range r.Values {
		if !utf8.ValidString(v) {
			t.Fatalf("row %d: %q is not UTF-8", number, v)
		}
	}
	if r.Null {
		return
	}
	for i, part := range partsOf(r, l.Type) {
		if (l.Type.HasZ() && len(r.Z[i]) != len(part)) || (l.Type.HasM() && len(r.M[i]) != len(part)) {
			t.Fatalf("row %d: part %d of %d points has %d Z and %d M", number, i, len(part), len(r.Z), len(r.M))
		}
		if r.Parts != nil && len(part) == 0 {
			t.Fatalf("row %d: part %d is empty", number, i)
		}
	}
	for _, v := range numbersOf(r) {
		if math.IsInf(v, 0) || v < -1e38 {
			t.Fatalf("row %d: no-data came through as %v", number, v)
		}
	}
}

// checkRewrite writes and reads what was read. A text may have grown in UTF-8
// beyond its column; nothing else may be refused.
func checkRewrite(t *testing.T, l *Layer, path string) {
	t.Helper()
	if err := Write(path, l); err != nil {
		if !strings.Contains(err.Error(), "lengthen the field") && !strings.Contains(err.Error(), "rename the field") {
			t.Fatal(err)
		}
		return
	}
	again, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := range l.Rows {
		a, b := bits(l).Rows[i], bits(again).Rows[i]
		if a.Deleted != b.Deleted || a.Null != b.Null || len(a.Parts) != len(b.Parts) || !slices.Equal(numbersOf(&a), numbersOf(&b)) || !slices.Equal(a.Values, b.Values) {
			t.Fatalf("row %d is %+v, was %+v", i+1, b, a)
		}
	}
}

// FuzzArchive reads any bytes as an archive.
func FuzzArchive(f *testing.F) {
	for _, method := range []uint16{0, 8} {
		name := archiveOf(f, entries("gis/", buildSet(sample(PolyLineZ), false)), method)
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte) {
		name := filepath.Join(dir, "records.zip")
		if err := os.WriteFile(name, b, 0o666); err != nil {
			t.Fatal(err)
		}
		layers, err := Layers(name)
		if err != nil {
			return
		}
		for _, e := range layers {
			l, err := Read(e.Path)
			if err == nil && !slices.Equal(l.Files, []string{name}) {
				t.Fatalf("%s was read from %v", e.Path, l.Files)
			}
		}
	})
}

// FuzzEncoding decodes any text in any encoding that a .cpg may name.
func FuzzEncoding(f *testing.F) {
	f.Add("1252", byte(0), "gr\xf6\xdfe")
	f.Add("LDID/87", byte(0x57), "x")
	f.Add("", byte(0x7B), "\x93\xfa")
	f.Fuzz(func(t *testing.T, cpg string, driver byte, text string) {
		c := newCharset(strings.TrimSpace(cpg), driver)
		v, odd, err := c.value(text, Field{Type: 'C', Length: len(text)})
		if err != nil {
			return
		}
		if !utf8.ValidString(v) {
			t.Fatalf("%q is not UTF-8", v)
		}
		if isASCII(text) && odd != none {
			t.Fatalf("ASCII text %q is odd", text)
		}
	})
}
