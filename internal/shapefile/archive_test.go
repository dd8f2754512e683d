package shapefile

import (
	"archive/zip"
	"bytes"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// entry is a file to put into an archive.
type entry struct {
	name string
	data []byte
}

func entries(folder string, set fileSet) (list []entry) {
	for name, f := range set.files() {
		list = append(list, entry{folder + name, f.Data})
	}
	slices.SortFunc(list, func(a, b entry) int { return strings.Compare(a.name, b.name) })
	return list
}

// archiveOf writes an archive.
func archiveOf(t testing.TB, list []entry, method uint16) string {
	t.Helper()
	return archive(t, list, method, nil)
}

// archive writes an archive. Change may change the header of an entry.
func archive(t testing.TB, list []entry, method uint16, change func(*zip.FileHeader)) string {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, e := range list {
		h := &zip.FileHeader{Name: e.name, Method: method}
		if change == nil {
			f, err := w.CreateHeader(h)
			if err != nil {
				t.Fatal(err)
			}
			f.Write(e.data)
			continue
		}
		// A raw entry has the header that it is given.
		h.Method, h.CRC32 = zip.Store, crc32.ChecksumIEEE(e.data)
		h.CompressedSize64, h.UncompressedSize64 = uint64(len(e.data)), uint64(len(e.data))
		change(h)
		f, err := w.CreateRaw(h)
		if err != nil {
			t.Fatal(err)
		}
		f.Write(e.data)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "records.zip")
	if err := os.WriteFile(name, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestArchive(t *testing.T) {
	lines, points := buildSet(sample(PolyLineZ), false), buildSet(sample(Point), false)
	want, err := lines.read()
	if err != nil {
		t.Fatal(err)
	}
	one := archiveOf(t, append(entries("", lines), entry{"__MACOSX/._mains.shp", nil}, entry{"readme.txt", []byte("x")}), zip.Deflate)
	l, err := Read(one)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(l.Files, []string{one}) || l.Name != "mains" || len(l.Rows) != len(want.Rows) || l.Projection != want.Projection {
		t.Errorf("read %s from %v with %d rows", l.Name, l.Files, len(l.Rows))
	}

	two := archiveOf(t, append(entries("gis/water/", lines), entries(`gis\sewer\`, points)...), zip.Deflate)
	layers, err := Layers(two)
	if err != nil {
		t.Fatal(err)
	}
	wantLayers := []Entry{{"mains", two + "/gis/sewer/mains.shp"}, {"mains", two + "/gis/water/mains.shp"}}
	if !slices.Equal(layers, wantLayers) {
		t.Fatalf("layers %v, want %v", layers, wantLayers)
	}
	for i, kind := range []Type{Point, PolyLineZ} {
		if l, err := Read(layers[i].Path); err != nil || l.Type != kind {
			t.Errorf("%s: %v", layers[i].Path, err)
		}
	}
	if _, err := Read(two); err == nil || !strings.Contains(err.Error(), "holds 2 layers; name one of them: "+layers[0].Path) {
		t.Errorf("an archive of two layers: %v", err)
	}
	if _, err := Read(archiveOf(t, []entry{{"readme.txt", nil}}, zip.Store)); err == nil || !strings.Contains(err.Error(), "holds no .shp file") {
		t.Errorf("an archive without layers: %v", err)
	}
}

// TestArchivePaths tries to leave an archive.
func TestArchivePaths(t *testing.T) {
	set := buildSet(sample(Point), false)
	name := archiveOf(t, entries("../../", set), zip.Store)
	outside := filepath.Join(filepath.Dir(name), "outside.shp")
	for ext, b := range map[string][]byte{".shp": set.shp, ".dbf": set.dbf} {
		if err := os.WriteFile(strings.TrimSuffix(outside, ".shp")+ext, b, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, inside := range []string{"../outside.shp", "a/../../outside.shp", "..", outside} {
		if l, err := Read(name + "/" + inside); err == nil {
			t.Errorf("%s: read %v", inside, l.Files)
		}
	}
	layers, err := Layers(name)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range layers {
		if strings.Contains(l.Path, "..") {
			t.Errorf("a path out of the archive: %s", l.Path)
		}
		if got, err := Read(l.Path); err != nil || !slices.Equal(got.Files, []string{name}) {
			t.Errorf("%s: %v", l.Path, err)
		}
	}
}

func TestHostileArchives(t *testing.T) {
	set := entries("", buildSet(sample(PolyLineZ), true))
	table := func(h *zip.FileHeader) bool { return strings.HasSuffix(h.Name, ".dbf") }
	tests := []struct {
		name   string
		list   []entry
		change func(*zip.FileHeader)
		want   string
	}{
		{"unpacks to too much", set, func(h *zip.FileHeader) {
			if table(h) {
				h.UncompressedSize64 = maxEntryBytes + 1
			}
		}, "more than 17179869184"},
		{"packs too well", set, func(h *zip.FileHeader) {
			if table(h) {
				h.UncompressedSize64 = ratioFrom
			}
		}, "more than 500 times"},
		{"password", set, func(h *zip.FileHeader) { h.Flags |= 1 }, "protected by a password"},
		{"says more than there is", set, func(h *zip.FileHeader) {
			if table(h) {
				h.UncompressedSize64 += 50
			}
		}, "mains.dbf"},
		{"says less than there is", set, func(h *zip.FileHeader) {
			if table(h) {
				h.UncompressedSize64 -= 50
			}
		}, "mains.dbf"},
		{"wrong check sum", set, func(h *zip.FileHeader) {
			if table(h) {
				h.CRC32++
			}
		}, "checksum error"},
		{"the same name twice", append(slices.Clone(set), set...), func(*zip.FileHeader) {}, "duplicate entries"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			name := archive(t, tt.list, zip.Store, tt.change)
			_, err := Read(name)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got %v, want %q", err, tt.want)
			}
		})
	}
	many := make([]entry, maxEntries+1)
	for i := range many {
		many[i].name = fmt.Sprintf("%d.txt", i)
	}
	if _, err := Layers(archiveOf(t, many, zip.Store)); err == nil || !strings.Contains(err.Error(), "has 10001 entries") {
		t.Errorf("many entries: %v", err)
	}
}

// TestDamagedArchive changes and cuts an archive at every fifth byte (at each
// with ASFOUND_SLOW=1): an error or the very layer, which the check sums vouch
// for.
func TestDamagedArchive(t *testing.T) {
	set := buildSet(sample(PolyLineZ), false)
	set.prj = nil // its text is not compared below
	want, err := set.read()
	if err != nil {
		t.Fatal(err)
	}
	name := archiveOf(t, entries("", set), zip.Deflate)
	whole, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	step := 5
	if slow() {
		step = 1
	}
	for i := 0; i < len(whole); i += step {
		for _, b := range [][]byte{whole[:i], slices.Concat(whole[:i], []byte{whole[i] ^ 0x10}, whole[i+1:])} {
			if err := os.WriteFile(name, b, 0o666); err != nil {
				t.Fatal(err)
			}
			l, err := Read(name)
			if err != nil {
				continue
			}
			if l.Encoding == want.Encoding { // else an entry's name was changed
				checkWhole(t, fmt.Sprintf("byte %d of %d", i, len(whole)), l, want)
			}
		}
	}
}
