package ledger

import (
	"database/sql"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/asfound/asfound/internal/life"
	"github.com/asfound/asfound/pipeline/survey"
)

// Night is what one run puts into the ledger.
type Night struct {
	Started time.Time
	Version string // of the program
	Config  string // its SHA-256
	Why     string // which files of readings were read, and why

	Survey     *survey.Survey
	Judgements []survey.Judgement
	Findings   []life.Finding // every one that there ever was, as this run leaves it
	Proposals  []life.Proposal
	Kept       []Kept
}

// Prepare writes a run that is about to be published, in one transaction. It does
// not count before it is confirmed.
func (l *Ledger) Prepare(n *Night) (run int64, err error) {
	defer func() { err = l.explain(err) }()
	tx, err := l.db.Begin()
	if err != nil {
		return 0, err
	}
	defer func() { _ = tx.Rollback() }() // an error once it is committed
	w := &writer{tx: tx}
	w.begin(n)
	w.records(n.Survey)
	w.findings(n.Findings)
	w.proposals(n.Proposals)
	w.kept(n.Kept)
	if w.err != nil {
		return 0, w.err
	}
	return w.run, tx.Commit()
}

// Confirm makes a prepared run count: its folder is whole.
func (l *Ledger) Confirm(run int64, folder string) (err error) {
	defer func() { err = l.explain(err) }()
	tx, err := l.db.Begin()
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }() // an error once it is committed
	w := &writer{tx: tx}
	w.exec("UPDATE run SET done = 1, folder = ? WHERE id = ?", filepath.Base(folder), run)
	w.exec("DELETE FROM proposal WHERE run < ?", run)
	w.exec("DELETE FROM kept WHERE until = ?", run)
	if w.err != nil {
		return w.err
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	return l.sweep()
}

// Abandon forgets a prepared run that was not published.
func (l *Ledger) Abandon(run int64) error {
	_, err := l.db.Exec("DELETE FROM run WHERE id = ? AND done = 0", run) // what hangs on it goes with it
	return l.explain(err)
}

// repair settles a run that was cut off between Prepare and Confirm: it counts if
// its folder is there, which appears whole or not at all.
func (l *Ledger) repair(output string) error {
	var run int64
	var started, config string
	err := l.db.QueryRow("SELECT id, started, config FROM run WHERE done = 0 ORDER BY id LIMIT 1").Scan(&run, &started, &config)
	switch {
	case err == sql.ErrNoRows:
		return nil
	case err != nil:
		return err
	}
	folder, err := l.folderOf(output, started, config)
	if err != nil {
		return err
	}
	if folder == "" {
		err = l.Abandon(run)
	} else {
		err = l.Confirm(run, folder)
	}
	if err != nil {
		return err
	}
	return l.repair(output)
}

// folderOf finds the folder of a run that no other run has; "" if there is none.
func (l *Ledger) folderOf(output, started, config string) (string, error) {
	manifests, err := filepath.Glob(filepath.Join(globbed(output), "*", "manifest.json"))
	if err != nil {
		return "", err
	}
	for _, path := range manifests {
		folder := filepath.Base(filepath.Dir(path))
		if strings.HasPrefix(folder, ".") || folder == "latest" {
			continue
		}
		var m struct {
			Started string `json:"started"`
			Config  struct {
				SHA256 string `json:"sha256"`
			} `json:"config"`
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return "", err
		}
		if json.Unmarshal(text, &m) != nil || m.Started != started || m.Config.SHA256 != config {
			continue
		}
		var taken int
		if err := l.db.QueryRow("SELECT count(*) FROM run WHERE done = 1 AND folder = ?", folder).Scan(&taken); err != nil {
			return "", err
		}
		if taken == 0 {
			return folder, nil
		}
	}
	return "", nil
}

// globbed is a path as a pattern that stands for itself.
func globbed(path string) string {
	return strings.NewReplacer("[", "[[]", "*", "[*]", "?", "[?]").Replace(path)
}

// writer writes one run; the first error stops it.
type writer struct {
	tx  *sql.Tx
	run int64
	err error
}

func (w *writer) exec(query string, args ...any) (result sql.Result) {
	if w.err == nil {
		result, w.err = w.tx.Exec(query, args...)
	}
	return result
}

// each runs a statement for many rows. It is closed with the transaction.
func (w *writer) each(query string) func(args ...any) {
	var s *sql.Stmt
	if w.err == nil {
		s, w.err = w.tx.Prepare(query)
	}
	return func(args ...any) {
		if w.err == nil {
			_, w.err = s.Exec(args...)
		}
	}
}

func (w *writer) begin(n *Night) {
	var total, within, outside, undecided float64
	for i := range n.Judgements {
		j := &n.Judgements[i]
		total, within, outside, undecided = total+j.LengthM, within+j.WithinM, outside+j.OutsideM, undecided+j.UndecidedM
	}
	result := w.exec("INSERT INTO run(started, version, config, plane, why, length_m, within_m, outside_m, undecided_m) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
		stamp(n.Started), n.Version, n.Config, n.Survey.Plane, n.Why, total, within, outside, undecided)
	if w.err != nil {
		return
	}
	if w.run, w.err = result.LastInsertId(); w.err != nil {
		return
	}
	insert := w.each("INSERT INTO input VALUES (?, ?, ?, ?, ?)")
	for i := range n.Survey.Sources {
		src := &n.Survey.Sources[i]
		insert(w.run, src.Label(), string(src.Role), src.SHA256, src.Bytes)
		for _, b := range src.Siblings {
			insert(w.run, b.Name, string(src.Role), b.SHA256, b.Bytes)
		}
	}
}

// stamp is a time as the ledger writes it, in the order of texts; "" none.
func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339)
}

func unstamp(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return time.Time{}
	}
	return t
}
