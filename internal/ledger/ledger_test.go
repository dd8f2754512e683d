package ledger

import (
	"database/sql"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/life"
	"github.com/asfound/asfound/pipeline/survey"
)

func nightOf(n int) time.Time { return time.Date(2026, 6, n, 2, 0, 0, 0, time.UTC) }

const plane = "EPSG:26917"

// mains is a map of mains in the plane, each with its northing.
func mains(northings map[string]float64, order ...string) *survey.Survey {
	s := &survey.Survey{Plane: plane, Layers: []survey.Layer{{Source: "map", CRS: plane, Fields: []survey.Field{{Name: "ID"}}}}}
	for _, id := range order {
		line := orb.LineString{{500000, 4400000 + northings[id]}, {500100, 4400000 + northings[id]}}
		s.Layers[0].Features = append(s.Layers[0].Features, survey.Feature{Row: len(s.Records) + 1, Parts: []orb.LineString{line}, Values: []survey.Value{{Text: id}}})
		s.Records = append(s.Records, survey.Record{Source: "map", ID: id, Utility: "water", Sheet: "S-1", CoverM: math.NaN(), Parts: orb.MultiLineString{line}, Feature: len(s.Records)})
	}
	s.Sources = []survey.Source{{Name: "map.geojson", Role: survey.RoleRecords, SHA256: "ab", Bytes: 7}}
	return s
}

func finding(id string, offset float64, state survey.Life) life.Finding {
	return life.Finding{
		ID: id, Kind: survey.KindPosition, Record: "map#A", Label: "A", Utility: "water", Life: state, Verdict: survey.VerdictOutside,
		ToM: 100, OffsetM: offset, OffsetU: 0.05, Probability: math.NaN(), OnMap: orb.MultiLineString{{{500000, 4400000}, {500100, 4400000}}},
		OnTruth: orb.MultiLineString{{{500000, 4400001}, {500100, 4400001}}}, First: nightOf(1), Last: nightOf(1),
	}
}

func opened(t *testing.T, dir string) *Ledger {
	t.Helper()
	l, err := Open(filepath.Join(dir, "asfound.db"), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	return l
}

// pass lets a night pass, up to the confirmed run.
func pass(t *testing.T, l *Ledger, n *Night) {
	t.Helper()
	run, err := l.Prepare(n)
	if err == nil {
		err = l.Confirm(run, "out/"+n.Started.Format("2006-01-02"))
	}
	if err != nil {
		t.Fatal(err)
	}
}

func count(t *testing.T, l *Ledger, query string) (n int) {
	t.Helper()
	if err := l.db.QueryRow(query).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestWhatIsWrittenIsRead(t *testing.T) {
	l := opened(t, t.TempDir())
	f := finding("P-1", 0.8, survey.LifeRejected)
	f.Reason, f.Sentence, f.Attribution = "a reason", "in words", survey.AttributionRecord
	f.Typed = life.Typed{Word: "rejected", Who: "K. Example", Remark: "=no"}
	f.Decision = life.Decision{Word: "rejected", Who: "K. Example", Remark: "=no", When: nightOf(1), OffsetM: 0.7, OffsetU: 0.04, Until: nightOf(9), OnTruth: f.OnMap}
	p := life.Proposal{Record: "map#A", Utility: "water", Finding: "P-1", Moved: f.OnTruth, ToleranceM: 0.5}
	s := mains(map[string]float64{"B": 5}, "A", "B")
	s.Records[1].Corrected = true
	pass(t, l, &Night{Started: nightOf(1), Survey: s, Findings: []life.Finding{f}, Proposals: []life.Proposal{p}, Judgements: []survey.Judgement{{LengthM: 10, WithinM: 4, OutsideM: 1}, {LengthM: 5}}})
	past, err := l.Past(plane)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := fmt.Sprintf("%+v", past.Findings), fmt.Sprintf("%+v", []life.Finding{f}); got != want {
		t.Errorf("read\n%s\nwritten\n%s", got, want)
	}
	if got, want := fmt.Sprintf("%+v", past.Proposals), fmt.Sprintf("%+v", []life.Proposal{p}); got != want {
		t.Errorf("read\n%s\nwritten\n%s", got, want)
	}
	if a, b := past.Records["map#A"], past.Records["map#B"]; a.Corrected || !b.Corrected || !b.Line.Equal(s.Records[1].Parts) || b.Utility != "water" || !math.IsNaN(b.CoverM) {
		t.Errorf("read %+v, %+v", a, b)
	}
	runs, err := l.Runs()
	if err != nil || len(runs) != 1 || runs[0].OutsideM != 1 || runs[0].WithinM != 4 || !runs[0].Started.Equal(nightOf(1)) {
		t.Errorf("runs %+v, %v", runs, err)
	}
	if n := count(t, l, "SELECT count(*) FROM input WHERE sha256 = 'ab' AND bytes = 7"); n != 1 {
		t.Errorf("%d inputs by digest", n)
	}
	if n := count(t, l, "SELECT count(*) FROM run WHERE length_m = 15"); n != 1 {
		t.Errorf("%d runs of 15 m", n)
	}
	if n := count(t, l, "SELECT count(*) FROM decision WHERE who = 'K. Example' AND finding = 'P-1'"); n != 1 {
		t.Errorf("%d decisions", n)
	}

	// The same lines in the plane of another job: UTM zone 18, 6 degrees on.
	other, err := l.Past("EPSG:26918")
	if err != nil {
		t.Fatal(err)
	}
	if x := other.Records["map#A"].Line[0][0][0]; x > 0 {
		t.Errorf("easting %.1f in zone 18, want west of its origin", x)
	}
}

// What does not change costs nothing, whatever the number of nights.
func TestUnchangedCostsNothing(t *testing.T) {
	l := opened(t, t.TempDir())
	for n := 1; n <= 20; n++ {
		pass(t, l, &Night{Started: nightOf(n), Survey: mains(nil, "A"), Findings: []life.Finding{finding("P-1", 0.8+1e-6*float64(n), survey.LifeOpen)}})
	}
	for _, table := range []string{"record", "content", "finding"} {
		if n := count(t, l, "SELECT count(*) FROM "+table); n != 1 {
			t.Errorf("%d rows of %s after 20 equal nights, want 1", n, table)
		}
	}
	past, err := l.Past(plane)
	if err != nil || !past.Findings[0].Last.Equal(nightOf(20)) || !past.Findings[0].First.Equal(nightOf(1)) {
		t.Errorf("found from %v to %v, %v", past.Findings[0].First, past.Findings[0].Last, err)
	}
}

func TestTheMapAsOfADay(t *testing.T) {
	l := opened(t, t.TempDir())
	pass(t, l, &Night{Started: nightOf(1), Survey: mains(nil, "A", "B")})
	pass(t, l, &Night{Started: nightOf(3), Survey: mains(map[string]float64{"A": 2}, "A", "C")})
	pass(t, l, &Night{Started: nightOf(5), Survey: mains(nil, "A", "C")}) // A as it was at first
	for _, c := range []struct {
		day  int
		keys string
		onA  float64 // degrees of latitude beyond the first night's
	}{{1, "map#A map#B", 0}, {2, "map#A map#B", 0}, {3, "map#A map#C", 2 / 111_000.}, {4, "map#A map#C", 2 / 111_000.}, {9, "map#A map#C", 0}} {
		_, standing, err := l.AsOf(time.Date(2026, 6, c.day, 0, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		var keys []string
		for i := range standing {
			keys = append(keys, standing[i].Key)
		}
		_, first, _ := l.AsOf(nightOf(1))
		if got := strings.Join(keys, " "); got != c.keys {
			t.Errorf("on day %d: %s, want %s", c.day, got, c.keys)
		}
		if d := standing[0].Line[0][0][1] - first[0].Line[0][0][1] - c.onA; math.Abs(d) > 1e-7 {
			t.Errorf("on day %d A lies %g degrees off", c.day, d)
		}
	}
	if n := count(t, l, "SELECT count(*) FROM content"); n != 4 {
		t.Errorf("%d records stored, want 4: A twice, B, C", n)
	}
	changes, err := l.Changes("")
	var said []string
	for _, c := range changes {
		said = append(said, fmt.Sprintf("%d %s %v %v", c.When.Day(), c.ID, c.Gone, c.First))
	}
	if got, want := strings.Join(said, ", "), "3 A false false, 3 B true false, 3 C false true, 5 A false false"; got != want || err != nil {
		t.Errorf("changes %s, want %s (%v)", got, want, err)
	}
	if _, _, err := l.AsOf(time.Date(2026, 5, 31, 0, 0, 0, 0, time.UTC)); err == nil || !strings.Contains(err.Error(), "no run is known up to 2026-05-31") {
		t.Errorf("before the first run: %v", err)
	}
}

// A run that was cut off before its folder was whole is forgotten; one that was cut
// off after it counts, at the next start.
func TestRunsThatWereCutOff(t *testing.T) {
	for _, c := range []struct {
		name, manifest string
		counts         bool
	}{
		{"without a folder", "", false},
		{"with its folder", `{"started": "2026-06-02T02:00:00Z", "config": {"sha256": "c0"}}`, true},
		{"with a folder of another job", `{"started": "2026-06-02T02:00:00Z", "config": {"sha256": "c1"}}`, false},
		{"with a folder of another night", `{"started": "2026-06-03T02:00:00Z", "config": {"sha256": "c0"}}`, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			l := opened(t, dir)
			pass(t, l, &Night{Started: nightOf(1), Config: "c0", Survey: mains(nil, "A"), Findings: []life.Finding{finding("P-1", 0.8, survey.LifeNew)}})
			changed := mains(map[string]float64{"A": 1}, "A")
			if _, err := l.Prepare(&Night{Started: nightOf(2), Config: "c0", Survey: changed, Findings: []life.Finding{finding("P-1", 0.9, survey.LifeOpen)}}); err != nil {
				t.Fatal(err)
			}
			if err := l.Close(); err != nil { // and no more
				t.Fatal(err)
			}
			if c.manifest != "" {
				folder := filepath.Join(dir, "2026-06-02T020000Z")
				if err := os.Mkdir(folder, 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(folder, "manifest.json"), []byte(c.manifest), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			l = opened(t, dir)
			past, err := l.Past(plane)
			if err != nil {
				t.Fatal(err)
			}
			want, y := 0.8, 4400000.
			if c.counts {
				want, y = 0.9, 4400001
			}
			if len(past.Findings) != 1 || past.Findings[0].OffsetM != want || past.Records["map#A"].Line[0][0][1] != y {
				t.Errorf("after the restart: %+v, %+v", past.Findings, past.Records)
			}
			pass(t, l, &Night{Started: nightOf(4), Config: "c0", Survey: changed, Findings: []life.Finding{finding("P-1", 0.9, survey.LifeOpen)}})
			if n := count(t, l, "SELECT count(*) FROM run WHERE done = 0"); n != 0 {
				t.Errorf("%d runs are pending", n)
			}
		})
	}
}

// A process that is killed in the middle of writing leaves a ledger that opens.
func TestKilledWhileWriting(t *testing.T) {
	if dir := os.Getenv("ASFOUND_TEST_LEDGER"); dir != "" { // the process to be killed
		l, err := Open(filepath.Join(dir, "asfound.db"), dir)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println("open")
		for n := 1; ; n++ {
			pass(t, l, &Night{Started: nightOf(1).AddDate(0, 0, n), Survey: mains(map[string]float64{"A": float64(n)}, "A", "B"), Findings: []life.Finding{finding("P-1", float64(n), survey.LifeOpen)}})
		}
	}
	dir := t.TempDir()
	for kill := range 5 {
		cmd := exec.Command(os.Args[0], "-test.run", "^TestKilledWhileWriting$")
		cmd.Env = append(os.Environ(), "ASFOUND_TEST_LEDGER="+dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if _, err := out.Read(make([]byte, 4)); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(20+37*kill) * time.Millisecond)
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait() // it was killed
		l, err := Open(filepath.Join(dir, "asfound.db"), dir)
		if err != nil {
			t.Fatalf("after kill %d: %v", kill, err)
		}
		past, err := l.Past(plane)
		if err != nil {
			t.Fatal(err)
		}
		// Records and findings of one night only, whichever was the last.
		if runs, err := l.Runs(); err != nil || len(runs) > 0 && (len(past.Findings) != 1 || past.Records["map#A"].Line[0][0][1]-4400000 != past.Findings[0].OffsetM) {
			t.Fatalf("after kill %d: %d runs, %+v, %v", kill, len(runs), past, err)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestLedgersThatCannotBeUsed(t *testing.T) {
	expect := func(t *testing.T, path, want string) {
		t.Helper()
		l, err := Open(path, filepath.Dir(path))
		if err == nil {
			l.Close()
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("opening says %v, want %q", err, want)
		}
	}
	t.Run("in use", func(t *testing.T) {
		dir := t.TempDir()
		opened(t, dir)
		expect(t, filepath.Join(dir, "asfound.db"), "is in use by another run")
	})
	t.Run("written by a newer version", func(t *testing.T) {
		dir := t.TempDir()
		l := opened(t, dir)
		if _, err := l.db.Exec(fmt.Sprintf("PRAGMA user_version = %d", len(migrations)+1)); err != nil {
			t.Fatal(err)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		expect(t, filepath.Join(dir, "asfound.db"), "was written by a newer asfound")
	})
	t.Run("no ledger", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "asfound.db")
		if err := os.WriteFile(path, []byte(strings.Repeat("these are minutes of a meeting. ", 100)), 0o644); err != nil {
			t.Fatal(err)
		}
		expect(t, path, "is damaged")
	})
	t.Run("damaged", func(t *testing.T) {
		dir := t.TempDir()
		l := opened(t, dir)
		for n := 1; n < 28; n++ {
			pass(t, l, &Night{Started: nightOf(n), Survey: mains(map[string]float64{"A": float64(n)}, "A", "B", "C")})
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, "asfound.db")
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for i := 4096 * 3; i < 4096*7; i++ {
			data[i] ^= 0xa5
		}
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		expect(t, path, "is damaged")
	})
	t.Run("no folder", func(t *testing.T) {
		dir := t.TempDir()
		if err := os.Mkdir(filepath.Join(dir, "asfound.db"), 0o755); err != nil {
			t.Fatal(err)
		}
		expect(t, filepath.Join(dir, "asfound.db"), "cannot be written")
	})
	t.Run("none", func(t *testing.T) {
		if _, err := OpenExisting(filepath.Join(t.TempDir(), "x.db"), ""); err == nil || !strings.Contains(err.Error(), "no such ledger") {
			t.Errorf("says %v", err)
		}
	})
}

// An older ledger is copied before its tables are changed, and keeps what it has.
func TestMigration(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "asfound.db")
	l, err := open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.migrateTo(migrations[:1]); err != nil {
		t.Fatal(err)
	}
	if _, err := l.db.Exec(`INSERT INTO run(started, version, config, plane, folder, done, why, length_m, within_m, outside_m, undecided_m) VALUES ('2026-06-01T02:00:00Z', 'v', 'c', 'p', 'f', 1, '', 1, 2, 3, 4)`); err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = opened(t, dir)
	runs, err := l.Runs()
	if err != nil || len(runs) != 1 || runs[0].OutsideM != 3 {
		t.Errorf("after the migration: %+v, %v", runs, err)
	}
	if v, err := l.version(); v != len(migrations) || err != nil {
		t.Errorf("version %d, %v", v, err)
	}
	backup, err := sql.Open("sqlite", uri(path+".v1-backup"))
	if err != nil {
		t.Fatal(err)
	}
	defer backup.Close()
	var version, n int
	if err := backup.QueryRow("PRAGMA user_version").Scan(&version); err != nil || version != 1 {
		t.Errorf("the copy is of version %d, %v", version, err)
	}
	if err := backup.QueryRow("SELECT count(*) FROM run WHERE outside_m = 3").Scan(&n); err != nil || n != 1 {
		t.Errorf("the copy has %d runs, %v", n, err)
	}
}
