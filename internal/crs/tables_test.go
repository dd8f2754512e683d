package crs

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestTablesAreGenerated writes the tables again and compares: nobody edits
// them by hand. Slow: it builds the generator.
func TestTablesAreGenerated(t *testing.T) {
	if !slow() {
		t.Skip("builds the generator: with ASFOUND_SLOW=1")
	}
	need(t, "go")
	const db = "/usr/share/proj/proj.db"
	if _, err := os.Stat(db); err != nil {
		t.Skipf("%v: the tables are made from PROJ's database (Debian: proj-data)", err)
	}
	dir := t.TempDir()
	if out, err := exec.Command("go", "run", "epsg/generate.go", "-db", db, "-out", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	files, err := filepath.Glob("epsg/*.csv")
	if err != nil || len(files) != 7 {
		t.Fatalf("%v %v", files, err)
	}
	for _, f := range files {
		old, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		made, err := os.ReadFile(filepath.Join(dir, filepath.Base(f)))
		if err != nil {
			t.Fatal(err)
		}
		version := func(b []byte) string { line, _, _ := strings.Cut(string(b), "\n"); return line }
		if version(old) != version(made) {
			t.Skipf("this machine's PROJ has another version of EPSG: %s", version(made))
		}
		if !bytes.Equal(old, made) {
			t.Errorf("%s is not what generate.go writes", f)
		}
	}
}
