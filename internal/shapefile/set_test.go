package shapefile

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

// renamed is the set under other file names.
func renamed(set fileSet, names map[string]string) fstest.MapFS {
	files := fstest.MapFS{}
	for ext, name := range names {
		files[name] = set.files()["mains"+ext]
	}
	return files
}

func TestSiblings(t *testing.T) {
	set := buildSet(sample(PolyLine), false)
	other := buildSet(sample(Point), false)
	tests := []struct {
		name  string
		open  string
		files map[string]string
		extra map[string]string // files of another set
		want  string            // Files, or part of the error
	}{
		{"upper case", "MAINS.SHP", map[string]string{".shp": "MAINS.SHP", ".shx": "MAINS.SHX", ".dbf": "MAINS.DBF", ".prj": "MAINS.PRJ", ".cpg": "MAINS.CPG"}, nil, "MAINS.SHP MAINS.DBF MAINS.SHX MAINS.PRJ MAINS.CPG"},
		{"mixed case", "mains.shp", map[string]string{".shp": "mains.shp", ".shx": "Mains.SHX", ".dbf": "MAINS.dbf"}, nil, "mains.shp MAINS.dbf Mains.SHX"},
		{"named in another case", "Mains.Shp", map[string]string{".shp": "mains.shp", ".dbf": "mains.dbf", ".shx": "mains.shx"}, nil, "mains.shp mains.dbf mains.shx"},
		{"two sets that differ in case", "mains.shp", map[string]string{".shp": "mains.shp", ".shx": "mains.shx", ".dbf": "mains.dbf"}, map[string]string{".shp": "MAINS.SHP", ".shx": "MAINS.SHX", ".dbf": "MAINS.DBF"}, "mains.shp mains.dbf mains.shx"},
		{"in a folder", "gis/mains.shp", map[string]string{".shp": "gis/mains.shp", ".dbf": "gis/mains.dbf", ".shx": "gis/mains.shx"}, map[string]string{".dbf": "mains.dbf"}, "gis/mains.shp gis/mains.dbf gis/mains.shx"},
		{"a stem with dots", "mains.2024.shp", map[string]string{".shp": "mains.2024.shp", ".dbf": "mains.2024.dbf"}, map[string]string{".dbf": "mains.dbf"}, "mains.2024.shp mains.2024.dbf"},
		{"two tables", "mains.shp", map[string]string{".shp": "mains.shp", ".dbf": "Mains.dbf"}, map[string]string{".dbf": "MAINS.dbf"}, "both MAINS.dbf and Mains.dbf could belong to it"},
		{"three tables", "mains.shp", map[string]string{".shp": "mains.shp", ".dbf": "mains.dbf"}, map[string]string{".dbf": "MAINS.dbf", ".cpg": "Mains.dbf"}, "mains.shp mains.dbf"},
		{"no table", "mains.shp", map[string]string{".shp": "mains.shp", ".shx": "mains.shx"}, nil, "there is no .dbf file beside it"},
		{"no shapes", "mains.shp", map[string]string{".dbf": "mains.dbf"}, nil, "there is no such file"},
		{"not a .shp", "mains.dbf", map[string]string{".dbf": "mains.dbf"}, nil, "is not the name of a .shp file"},
		{"out of the file system", "../mains.shp", nil, nil, "is not the name of a .shp file"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			files := renamed(set, tt.files)
			maps.Copy(files, renamed(other, tt.extra))
			l, err := ReadFS(files, tt.open)
			got := ""
			if err != nil {
				got = err.Error()
			} else {
				got = strings.Join(l.Files, " ")
			}
			if err == nil && got != tt.want || !strings.Contains(got, tt.want) {
				t.Errorf("got %q, want %q", got, tt.want)
			}
			if err == nil && l.Type != PolyLine {
				t.Errorf("read a layer of %v", l.Type)
			}
		})
	}
}

func TestWithoutIndexOrProjection(t *testing.T) {
	set := buildSet(sample(PolyLine), false)
	whole, err := set.read()
	if err != nil {
		t.Fatal(err)
	}
	set.shx, set.prj = nil, nil
	l, err := set.read()
	if err != nil {
		t.Fatal(err)
	}
	if l.Projection != "" || len(l.Rows) != len(whole.Rows) {
		t.Errorf("projection %q, %d rows", l.Projection, len(l.Rows))
	}
	if len(l.Notes) != 1 || !strings.Contains(l.Notes[0], ".shx") {
		t.Errorf("notes %q", l.Notes)
	}
}

// TestSetsThatDoNotFit swaps files between sets.
func TestSetsThatDoNotFit(t *testing.T) {
	a, short := sample(PolyLine), sample(PolyLine)
	short.Rows = short.Rows[:3]
	line, fewer, point := buildSet(a, false), buildSet(short, false), buildSet(sample(Point), false)
	tests := []struct {
		name string
		set  fileSet
		want string
	}{
		{"table with fewer rows", line.with(".dbf", fewer.dbf), "has 3 rows, but the .shx has 4 shapes"},
		{"table with more rows", fewer.with(".dbf", line.dbf), "has 4 rows, but the .shx has 3 shapes"},
		{"index with fewer entries", line.with(".shx", fewer.shx), "has 4 rows, but the .shx has 3 shapes"},
		{"shapes with fewer records", line.with(".shp", fewer.shp), "has 4 rows, but the .shp has 3 shapes"},
		{"shapes and index with fewer", line.with(".shp", fewer.shp).with(".shx", fewer.shx), "has 4 rows, but the .shx has 3 shapes"},
		{"index of another type", line.with(".shx", point.shx), "is the index of a file of Point, but the .shp holds PolyLine"},
		{"no index, fewer rows", line.with(".shx", nil).with(".dbf", fewer.dbf), "has 3 rows, but the .shp has more shapes"},
		{"no index, more rows", fewer.with(".shx", nil).with(".dbf", line.dbf), "has 4 rows, but the .shp has 3 shapes"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := tt.set.read()
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Fatalf("got %v, want %q", err, tt.want)
			}
			checkError(t, err)
		})
	}
}

// TestRecordsOutOfOrder is what editing in place leaves behind: an index whose
// order is not that of the .shp. The attributes go by the index.
func TestRecordsOutOfOrder(t *testing.T) {
	set := buildSet(sample(PolyLine), false)
	first := slices.Clone(set.shx[100:108])
	copy(set.shx[100:], set.shx[108:116])
	copy(set.shx[108:], first)
	_, err := set.read()
	if err == nil || !strings.Contains(err.Error(), "mains.shx: record 1: byte 100: points to byte") || !strings.Contains(err.Error(), "save the layer anew") {
		t.Errorf("got %v", err)
	}
}

func TestFolders(t *testing.T) {
	dir := t.TempDir()
	for name, f := range buildSet(sample(PolyLine), false).files() {
		if err := os.WriteFile(filepath.Join(dir, name), f.Data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"Drains.SHP", ".hidden.shp", "notes.txt"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "folder.shp"), 0o777); err != nil {
		t.Fatal(err)
	}
	got, err := Layers(dir)
	want := []Entry{{"Drains", filepath.Join(dir, "Drains.SHP")}, {"mains", filepath.Join(dir, "mains.shp")}}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("got %v, %v, want %v", got, err, want)
	}
	l, err := Read(got[1].Path)
	if err != nil {
		t.Fatal(err)
	}
	if l.Name != "mains" || len(l.Files) != 5 || l.Files[0] != got[1].Path {
		t.Errorf("name %q, files %v", l.Name, l.Files)
	}
	for name, problem := range map[string]string{
		"folder.shp": "there is no such file", "Drains.SHP": "there is no .dbf", "none.shp": "there is no such file",
		"notes.txt": "is neither a .shp file nor", "none/none.shp": "cannot be read", "none.zip": "is neither a .shp file nor",
	} {
		if _, err := Read(filepath.Join(dir, name)); err == nil || !strings.Contains(err.Error(), problem) {
			t.Errorf("%s: got %v, want %q", name, err, problem)
		}
	}
	t.Chdir(dir)
	if l, err = Read("mains.shp"); err != nil || l.Files[0] != "mains.shp" {
		t.Errorf("from its own folder: %v", err)
	}
}

func TestRowsOnce(t *testing.T) {
	r, err := OpenFS(buildSet(sample(Point), false).files(), "mains.shp")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for range r.Rows() {
		break
	}
	for _, err := range r.Rows() {
		if err == nil {
			t.Fatal("rows were read a second time")
		}
	}
}
