package publish

import (
	"bytes"
	"database/sql"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// bulkTable writes rows into a fresh table and opens the file with SQLite. lock
// moves the page that must stay empty to where a small file reaches it; 0 leaves
// it.
func bulkTable(t testing.TB, path string, lock uint32, rows [][]value) *sql.DB {
	t.Helper()
	g := newGeoPackage(path, "")
	var root uint32
	if err := g.sql(func(tx *sql.Tx) error {
		if _, err := tx.Exec("CREATE TABLE t (id INTEGER PRIMARY KEY, a, b)"); err != nil {
			return err
		}
		return tx.QueryRow("SELECT rootpage FROM sqlite_master").Scan(&root)
	}); err != nil {
		t.Fatal(err)
	}
	b, err := openBulk(path)
	if err != nil {
		t.Fatal(err)
	}
	if lock > 0 {
		b.lock = lock
	}
	tr := b.table(root)
	for i, row := range rows {
		if err := tr.insert(int64(i+1), append([]value{{}}, row...)); err != nil {
			t.Fatal(err)
		}
	}
	if err := tr.finish(); err != nil {
		t.Fatal(err)
	}
	if err := b.close(); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", sqliteURI(path))
	if err != nil {
		t.Fatal(err)
	}
	return db
}

func checkIntegrity(t testing.TB, db *sql.DB) {
	t.Helper()
	if got := ask(t, db, "PRAGMA integrity_check"); len(got) != 1 || got[0] != "ok" {
		t.Fatalf("SQLite finds the file broken: %.300q", got)
	}
}

// Tables of every depth, as SQLite reads them. Long rows make a deep tree of
// few rows: some 900 leaves stand below one node.
func TestBulkDepths(t *testing.T) {
	for _, n := range []int{0, 1, 2, 3, 40, 1000, 2500} {
		rows := make([][]value, n)
		for i := range rows {
			rows[i] = []value{textValue(strings.Repeat("x", 9000) + fmt.Sprint(i)), {kind: valueInt, int: int64(i)}}
		}
		db := bulkTable(t, filepath.Join(t.TempDir(), "t.db"), 0, rows)
		checkIntegrity(t, db)
		want := fmt.Sprintf("%d|%d", n, n*(n-1)/2)
		if got := ask(t, db, "SELECT count(*), coalesce(sum(b), 0) FROM t WHERE a LIKE '%x' || b"); got[0] != want {
			t.Errorf("%d rows came back as %s, want %s", n, got[0], want)
		}
		if got := ask(t, db, fmt.Sprintf("SELECT b FROM t WHERE id = %d", n)); n > 0 && got[0] != fmt.Sprint(n-1) {
			t.Errorf("row %d of %d is %s", n, n, got)
		}
		db.Close()
	}
}

// SQLite can go on with the file: what it adds and deletes leaves it whole.
func TestBulkGoesOn(t *testing.T) {
	rows := make([][]value, 3000)
	for i := range rows {
		rows[i] = []value{textValue(strings.Repeat("y", i%700)), {kind: valueInt, int: int64(i)}}
	}
	db := bulkTable(t, filepath.Join(t.TempDir(), "t.db"), 0, rows)
	defer db.Close()
	for _, q := range []string{"INSERT INTO t (a, b) SELECT a, -b FROM t", "DELETE FROM t WHERE b % 3 = 0", "CREATE INDEX i ON t (b)", "UPDATE t SET a = a || 'zzz' WHERE b > 2000", "VACUUM"} {
		if _, err := db.Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
		checkIntegrity(t, db)
	}
}

func TestLocalBytes(t *testing.T) {
	for payload, want := range map[int]int{0: 0, 16349: 16349} {
		if got := localBytes(payload); got != want {
			t.Errorf("%d bytes keep %d on the leaf, want %d", payload, got, want)
		}
	}
}

// Rows of any values, long ones too, come back as SQLite reads them; the empty
// page may lie anywhere.
func TestBulkRoundTrip(t *testing.T) {
	folder := t.TempDir()
	file := 0
	rapid.Check(t, func(rt *rapid.T) {
		anyValue := rapid.Custom(func(rt *rapid.T) value {
			switch rapid.IntRange(0, 4).Draw(rt, "kind") {
			case 1:
				return value{kind: valueInt, int: rapid.Int64().Draw(rt, "int") >> rapid.IntRange(0, 63).Draw(rt, "shift")}
			case 2:
				return value{kind: valueFloat, float: rapid.Float64().Draw(rt, "float")}
			case 3:
				return textValue(strings.ReplaceAll(rapid.StringN(0, 40, 60).Draw(rt, "text"), "\x00", ""))
			case 4:
				return value{kind: valueBlob, blob: bytes.Repeat([]byte{7}, rapid.SampledFrom([]int{1, 100, 8100, 16340, 16345, 16350, 20000, 33000, 70000}).Draw(rt, "blob"))}
			}
			return value{}
		})
		rows := rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) []value { return []value{anyValue.Draw(rt, "a"), anyValue.Draw(rt, "b")} }), 0, 40).Draw(rt, "rows")
		file++
		db := bulkTable(t, filepath.Join(folder, fmt.Sprint(file, ".db")), 0, rows)
		defer db.Close()
		checkIntegrity(t, db)
		for i, row := range rows {
			var a, b any
			if err := db.QueryRow("SELECT a, b FROM t WHERE id = ?", i+1).Scan(&a, &b); err != nil {
				rt.Fatal(err)
			}
			for k, got := range []any{a, b} {
				if !sameValue(row[k], got) {
					rt.Fatalf("row %d: %+v came back as %v", i+1, row[k], got)
				}
			}
		}
	})
}

func sameValue(want value, got any) bool {
	switch want.kind {
	case valueInt:
		return got == want.int
	case valueFloat:
		return got == want.float || math.IsNaN(want.float)
	case valueText:
		return got == want.text
	case valueBlob:
		b, ok := got.([]byte)
		return ok && bytes.Equal(b, want.blob)
	}
	return got == nil
}

// The page that must stay empty is stepped over, within a chain of overflow
// pages too. SQLite does not know of the moved page, so that it only finds it
// unused.
func TestBulkStepsOverTheLockPage(t *testing.T) {
	var rows [][]value
	for range 6 {
		rows = append(rows, []value{{kind: valueBlob, blob: bytes.Repeat([]byte{9}, 60000)}, {}})
	}
	for lock := uint32(3); lock < 20; lock++ {
		db := bulkTable(t, filepath.Join(t.TempDir(), "t.db"), lock, rows)
		for _, complaint := range ask(t, db, "PRAGMA integrity_check") {
			if !strings.Contains(complaint, fmt.Sprintf("Page %d", lock)) || !strings.Contains(complaint, "never used") {
				t.Errorf("page %d empty: %s", lock, complaint)
			}
		}
		if got := ask(t, db, "SELECT count(*), min(length(a)), sum(length(a)) FROM t"); got[0] != "6|60000|360000" {
			t.Errorf("page %d empty: rows came back as %s", lock, got)
		}
		db.Close()
	}
}
