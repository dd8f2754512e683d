package ledger

import (
	"errors"
	"fmt"
	"os"
)

// migrations bring a ledger from one version of its tables to the next; its
// version is their number (PRAGMA user_version). One that was released is never
// changed: a change is a new one at the end.
var migrations = []string{
	// 1: runs, what they read and found, what people decided.
	`
CREATE TABLE run (
  id INTEGER PRIMARY KEY, started TEXT NOT NULL, version TEXT NOT NULL, config TEXT NOT NULL, plane TEXT NOT NULL,
  folder TEXT, done INTEGER NOT NULL DEFAULT 0, why TEXT NOT NULL,
  length_m REAL NOT NULL, within_m REAL NOT NULL, outside_m REAL NOT NULL, undecided_m REAL NOT NULL);
CREATE TABLE input (
  run INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE, name TEXT NOT NULL, role TEXT NOT NULL, sha256 TEXT NOT NULL, bytes INTEGER NOT NULL);
CREATE INDEX input_run ON input(run);
CREATE TABLE content (digest BLOB PRIMARY KEY, run INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE, line BLOB NOT NULL, utility TEXT NOT NULL, sheet TEXT NOT NULL, cover_m REAL, record TEXT NOT NULL);
CREATE INDEX content_run ON content(run);
CREATE TABLE record (
  key TEXT NOT NULL, digest BLOB NOT NULL REFERENCES content(digest), corrected INTEGER NOT NULL, left TEXT NOT NULL,
  first INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE, until INTEGER REFERENCES run(id) ON DELETE SET NULL);
CREATE INDEX record_key ON record(key, until);
CREATE INDEX record_first ON record(first);
CREATE INDEX record_until ON record(until);
CREATE TABLE finding (
  id TEXT NOT NULL, first INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE, until INTEGER REFERENCES run(id) ON DELETE SET NULL,
  kind TEXT NOT NULL, record TEXT NOT NULL, label TEXT NOT NULL, utility TEXT NOT NULL, sheet TEXT NOT NULL, life TEXT NOT NULL, reason TEXT NOT NULL,
  verdict TEXT NOT NULL, attribution TEXT NOT NULL, from_m REAL, to_m REAL, offset_m REAL, offset_u_m REAL, probability REAL, sentence TEXT NOT NULL,
  on_map BLOB NOT NULL, on_truth BLOB NOT NULL, found_first TEXT NOT NULL, found_last TEXT NOT NULL, absent INTEGER NOT NULL,
  word TEXT NOT NULL, until_day TEXT NOT NULL, who TEXT NOT NULL, remark TEXT NOT NULL, decided TEXT NOT NULL, decided_m REAL, decided_u_m REAL, decided_on BLOB NOT NULL,
  typed TEXT NOT NULL);
CREATE INDEX finding_id ON finding(id, until);
CREATE INDEX finding_first ON finding(first);
CREATE INDEX finding_until ON finding(until);
CREATE TABLE decision (
  run INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE, finding TEXT NOT NULL, word TEXT NOT NULL, until_day TEXT NOT NULL, who TEXT NOT NULL, remark TEXT NOT NULL);
CREATE INDEX decision_run ON decision(run);
CREATE TABLE proposal (
  run INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE, record TEXT NOT NULL, utility TEXT NOT NULL, finding TEXT NOT NULL, moved BLOB NOT NULL, tolerance_m REAL NOT NULL, left TEXT NOT NULL);
CREATE INDEX proposal_run ON proposal(run);
`,
	// 2: readings of files that need not be read, or be there, again.
	`
CREATE TABLE kept (
  name TEXT NOT NULL, key TEXT NOT NULL, sha256 TEXT NOT NULL, how TEXT NOT NULL,
  first INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE, until INTEGER REFERENCES run(id) ON DELETE SET NULL);
CREATE INDEX kept_key ON kept(key);
`,
}

func (l *Ledger) version() (v int, err error) {
	err = l.db.QueryRow("PRAGMA user_version").Scan(&v)
	return v, err
}

// migrate brings the tables up to date. An older ledger is copied before.
func (l *Ledger) migrate() error { return l.migrateTo(migrations) }

func (l *Ledger) migrateTo(migrations []string) error {
	v, err := l.version()
	if err != nil || v == len(migrations) {
		return err
	}
	if v > len(migrations) {
		return fmt.Errorf("%s was written by a newer asfound (its tables are version %d, this program knows %d): use that version, or give another ledger: in the config", l.path, v, len(migrations))
	}
	if v > 0 {
		if err := l.backUp(fmt.Sprintf("%s.v%d-backup", l.path, v)); err != nil {
			return fmt.Errorf("%s could not be copied before its tables are changed: %w", l.path, err)
		}
	}
	tx, err := l.db.Begin()
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }() // an error once it is committed
	for _, m := range migrations[v:] {
		if _, err := tx.Exec(m); err != nil {
			return err
		}
	}
	if _, err := tx.Exec(fmt.Sprintf("PRAGMA user_version = %d", len(migrations))); err != nil {
		return err
	}
	return tx.Commit()
}

// backUp copies the ledger as it is now. A copy that is there already is of an
// earlier try, and the older of the two is the one to keep.
func (l *Ledger) backUp(to string) error {
	if _, err := os.Stat(to); err == nil {
		return nil
	}
	aside := to + ".partial"
	if err := os.Remove(aside); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if _, err := l.db.Exec("VACUUM INTO ?", aside); err != nil {
		return err
	}
	return os.Rename(aside, to)
}
