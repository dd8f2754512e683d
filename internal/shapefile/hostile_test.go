package shapefile

import (
	"bytes"
	"io/fs"
	"math"
	"runtime"
	"strings"
	"testing"
	"testing/fstest"
)

// allocated is how many bytes f allocates in all.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// TestHostileNumbers puts the numbers that have programs allocate or index too
// much where the files say lengths and counts.
func TestHostileNumbers(t *testing.T) {
	numbers := []uint32{0, 1, 3, 0x7F, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x10000, 0xFFFFFF, math.MaxInt32/8 + 1, math.MaxInt32 - 1, math.MaxInt32, 1 << 31, math.MaxUint32 - 1, math.MaxUint32}
	places := []struct {
		ext    string
		at     int
		size   int
		little bool
		what   string
	}{
		{".shp", 24, 4, false, "length of the file"},
		{".shp", 32, 4, true, "type of the file"},
		{".shp", 104, 4, false, "length of a record"},
		{".shp", 108, 4, true, "type of a record"},
		{".shp", 144, 4, true, "number of parts"},
		{".shp", 148, 4, true, "number of points"},
		{".shp", 152, 4, true, "start of a part"},
		{".shx", 24, 4, false, "length of the index"},
		{".shx", 100, 4, false, "offset of a record"},
		{".shx", 104, 4, false, "length of a record in the index"},
		{".dbf", 4, 4, true, "number of rows"},
		{".dbf", 8, 2, true, "length of the header"},
		{".dbf", 10, 2, true, "length of a row"},
		{".dbf", 32 + 16, 1, true, "length of a field"},
	}
	whole := buildSet(sample(PolyLineZ), true)
	for _, p := range places {
		for _, n := range numbers {
			b := bytes.Clone(*whole.file(p.ext))
			field := b[p.at : p.at+p.size]
			var digits []byte
			if p.little {
				digits = little.AppendUint32(nil, n)[:p.size]
			} else {
				digits = big.AppendUint32(nil, n)
			}
			if bytes.Equal(field, digits) {
				continue
			}
			copy(field, digits)
			var err error
			used := allocated(func() { _, err = whole.with(p.ext, b).read() })
			if err == nil {
				t.Errorf("%s of %d: no error", p.what, n)
				continue
			}
			checkError(t, err)
			if used > 1<<20 {
				t.Errorf("%s of %d: %d bytes were allocated for files of %d", p.what, n, used, len(whole.shp)+len(whole.dbf))
			}
		}
	}
}

// TestManyRowsShortShapes is a table of a million rows beside a .shp that was
// cut short at a record, with its header put right.
func TestManyRowsShortShapes(t *testing.T) {
	const rows = 1_000_000
	l := sample(Point)
	set := buildSet(l, false)
	table := bytes.Clone(set.dbf[:33+32*len(l.Fields)])
	little.PutUint32(table[4:], rows)
	row := append([]byte{' '}, bytes.Repeat([]byte{'1'}, int(little.Uint16(table[10:]))-1)...)
	set.dbf = append(append(table, bytes.Repeat(row, rows)...), fileEnd)
	for _, shx := range [][]byte{set.shx, nil} {
		set.shx = shx
		var err error
		used := allocated(func() { _, err = set.read() })
		if err == nil {
			t.Fatal("no error")
		}
		checkError(t, err)
		if !strings.Contains(err.Error(), "1000000 rows") {
			t.Errorf("the error does not say how many rows: %v", err)
		}
		if used > 1<<20 {
			t.Errorf("%d bytes were allocated before the error", used)
		}
	}
}

// liars is a file system that says its files are longer than they are, as the
// directory of an archive may.
type liars struct {
	fstest.MapFS
	size int64
}

type lie struct {
	fs.FileInfo
	size int64
}

func (l lie) Size() int64 { return l.size }

func (l liars) Stat(name string) (fs.FileInfo, error) {
	info, err := l.MapFS.Stat(name)
	if err == nil && !info.IsDir() {
		info = lie{info, l.size}
	}
	return info, err
}

// TestPromisedSizes has all lengths agree on 4 GB that are not there.
func TestPromisedSizes(t *testing.T) {
	const size = 1 << 32
	set := buildSet(sample(PolyLine), false)
	big.PutUint32(set.shp[24:], size/2)
	big.PutUint32(set.shx[24:], size/2)
	big.PutUint32(set.shp[104:], (size/2-108)/2)       // content of record 1 ...
	little.PutUint32(set.shp[148:], (size/2-108-48)/8) // ... and its points
	rowBytes := int64(little.Uint16(set.dbf[10:]))
	little.PutUint32(set.dbf[4:], uint32((size-256)/rowBytes/32))
	var err error
	used := allocated(func() { _, err = ReadFS(liars{set.files(), size}, "mains.shp") })
	if err == nil {
		t.Fatal("no error")
	}
	checkError(t, err)
	if used > 8<<20 {
		t.Errorf("%d bytes were allocated", used)
	}
}

// TestMemory holds the memory of a layer against the size of its files.
func TestMemory(t *testing.T) {
	set := generate(20_000)
	size := uint64(len(set.shp) + len(set.shx) + len(set.dbf))
	files := set.files()
	inUse := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}

	before := inUse()
	l, err := ReadFS(files, "mains.shp")
	if err != nil {
		t.Fatal(err)
	}
	if used := inUse() - before; used > 3*size {
		t.Errorf("a layer takes %d bytes for files of %d", used, size)
	}
	runtime.KeepAlive(l)

	before = inUse()
	r, err := OpenFS(files, "mains.shp")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for row, err := range r.Rows() {
		if err != nil {
			t.Fatal(err)
		}
		if row.Number%5000 == 0 {
			if now := inUse(); now > before+3*ahead+chunk {
				t.Errorf("row %d: %d bytes in use", row.Number, now-before)
			}
		}
	}
}
