// Package ledger keeps what runs found and people decided, from night to night,
// in one file (SQLite, its driver in pure Go).
//
//	runs ── inputs (by digest)
//	     ── spans of records: from which run until which a record stood so
//	     ── spans of findings, decisions, proposals
//	     ── kept readings, by the digest of their file
//
// What does not change costs nothing: a record or a finding has a new span only
// when it is no longer what it was, and what a record was is stored once by its
// digest.
//
// A run is prepared before its folder appears and confirmed after; only confirmed
// runs count. A run that was killed in between is confirmed when its folder is
// there, and forgotten when it is not, at the next start.
package ledger

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Ledger is an open ledger. It is this process's alone until Close.
type Ledger struct {
	db   *sql.DB
	path string
}

// Open opens a ledger, makes one where there is none, checks that it is whole and
// brings its tables up to date, with a copy of it before that. output is where
// the folders of runs are, against which a run that was cut off is checked.
func Open(path, output string) (*Ledger, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, err
	}
	if onShare(filepath.Dir(path)) {
		return nil, shared(path)
	}
	l, err := open(path)
	if err != nil {
		return nil, err
	}
	for _, step := range []func() error{l.check, l.migrate, func() error { return l.repair(output) }} {
		if err := step(); err != nil {
			return nil, errors.Join(l.explain(err), l.db.Close())
		}
	}
	return l, nil
}

// OpenExisting opens a ledger to look at what is in it.
func OpenExisting(path, output string) (*Ledger, error) {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s: no such ledger: it is made by asfound run", path)
	}
	return Open(path, output)
}

func open(path string) (*Ledger, error) {
	absolute, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	// An exclusive lock for as long as it is open: two runs must not tell one
	// story, and no memory has to be shared between processes.
	const settings = "?_pragma=busy_timeout(2000)&_pragma=locking_mode(EXCLUSIVE)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=cache_size(-65536)&_pragma=foreign_keys(1)&_txlock=immediate"
	db, err := sql.Open("sqlite", uri(absolute)+settings)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return &Ledger{db: db, path: path}, nil
}

// uri is a path as SQLite takes it, whatever characters are in it.
func uri(path string) string {
	slashed := filepath.ToSlash(path)
	if filepath.VolumeName(path) != "" {
		slashed = "/" + slashed
	}
	return "file:" + (&url.URL{Path: slashed}).EscapedPath()
}

// Close gives the ledger back.
func (l *Ledger) Close() error { return l.db.Close() }

// check takes the lock and sees that the file is whole.
func (l *Ledger) check() error {
	tx, err := l.db.Begin()
	if err != nil {
		return err
	}
	if err := tx.Rollback(); err != nil {
		return err
	}
	var said string
	if err := l.db.QueryRow("PRAGMA integrity_check(1)").Scan(&said); err != nil {
		return err
	}
	if said != "ok" {
		return damaged{said}
	}
	return nil
}

// damaged is a ledger that is not whole.
type damaged struct{ said string }

func (d damaged) Error() string { return d.said }

// explain says what a person can do about an error of the database.
func (l *Ledger) explain(err error) error {
	var broken damaged
	var e *sqlite.Error
	switch {
	case errors.As(err, &broken):
		return fmt.Errorf("%s is damaged (%s): move it away and put a copy of it back; without one the next run starts a new ledger, and decisions are read from decisions.xlsx again", l.path, broken.said)
	case !errors.As(err, &e):
		return err
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return fmt.Errorf("%s is in use by another run: wait until that has ended", l.path)
	case sqlite3.SQLITE_PROTOCOL, sqlite3.SQLITE_NOLFS:
		return shared(l.path)
	case sqlite3.SQLITE_IOERR:
		if slices.Contains([]int{sqlite3.SQLITE_IOERR_LOCK, sqlite3.SQLITE_IOERR_RDLOCK, sqlite3.SQLITE_IOERR_UNLOCK, sqlite3.SQLITE_IOERR_CHECKRESERVEDLOCK}, e.Code()) {
			return shared(l.path)
		}
	case sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT:
		return l.explain(damaged{strings.TrimSpace(e.Error())})
	case sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY:
		return fmt.Errorf("%s cannot be written: give a path in a folder of your own as ledger: in the config", l.path)
	}
	return fmt.Errorf("ledger %s: %w", l.path, err)
}

func shared(path string) error {
	return fmt.Errorf("%s cannot be locked there, so two runs could spoil it: give a path on a local disk, not on a network share, as ledger: in the config", path)
}
