package ledger

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"os"
	"path/filepath"
	"strings"
)

// Kept is a file of which what was read is kept, so that it need not be read again:
// in a file of its own beside the ledger, by a key that hangs on the file's bytes
// and on how they were read.
type Kept struct{ Name, Key, SHA256, How string }

// kept writes what of the kept files is new, and which are no longer to be kept.
func (w *writer) kept(files []Kept) {
	keys := map[string]string{}
	w.query("SELECT name, key FROM kept WHERE until IS NULL", func(scan func(...any) error) error {
		var name, key string
		err := scan(&name, &key)
		keys[name] = key
		return err
	})
	insert := w.each("INSERT INTO kept(name, key, sha256, how, first) VALUES (?, ?, ?, ?, ?)")
	end := w.each("UPDATE kept SET until = ? WHERE name = ? AND until IS NULL AND first < ?")
	for _, f := range files {
		key, known := keys[f.Name]
		delete(keys, f.Name)
		if known && key == f.Key {
			continue
		}
		if known {
			end(w.run, f.Name, w.run)
		}
		insert(f.Name, f.Key, f.SHA256, f.How, w.run)
	}
	for name := range keys {
		end(w.run, name, w.run)
	}
}

// Kept lists the files of which the last run kept what was read, by name.
func (l *Ledger) Kept() (out []Kept, err error) {
	err = rows(l.db, "SELECT name, key, sha256, how FROM kept WHERE until IS NULL ORDER BY name", func(scan func(...any) error) error {
		var f Kept
		err := scan(&f.Name, &f.Key, &f.SHA256, &f.How)
		out = append(out, f)
		return err
	})
	return out, l.explain(err)
}

// keptFolder is where what was read is kept.
func (l *Ledger) keptFolder() string { return strings.TrimSuffix(l.path, ".db") + ".kept" }

const keptEnding = ".readings"

func (l *Ledger) keptPath(key string) string { return filepath.Join(l.keptFolder(), key+keptEnding) }

// Save keeps what was read of a file. It appears whole or not at all, with a check
// sum behind it.
func (l *Ledger) Save(key string, data []byte) error {
	if err := os.MkdirAll(l.keptFolder(), 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(l.keptFolder(), ".partial-*")
	if err != nil {
		return err
	}
	_, err = f.Write(binary.LittleEndian.AppendUint32(data, crc32.ChecksumIEEE(data)))
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), l.keptPath(key))
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// Load gives back what was kept.
func (l *Ledger) Load(key string) ([]byte, error) {
	data, err := os.ReadFile(l.keptPath(key))
	if err != nil {
		return nil, err
	}
	n := len(data) - 4
	if n < 0 || binary.LittleEndian.Uint32(data[n:]) != crc32.ChecksumIEEE(data[:n]) {
		return nil, errors.New("what was kept is damaged")
	}
	return data[:n], nil
}

// sweep removes what no run keeps any more. What cannot be removed now is left for
// the next run.
func (l *Ledger) sweep() error {
	files, err := l.Kept()
	if err != nil {
		return err
	}
	wanted := map[string]bool{}
	for _, f := range files {
		wanted[f.Key+keptEnding] = true
	}
	entries, err := os.ReadDir(l.keptFolder())
	if err != nil {
		return nil // nothing was ever kept
	}
	for _, e := range entries {
		if !wanted[e.Name()] {
			_ = os.Remove(filepath.Join(l.keptFolder(), e.Name()))
		}
	}
	return nil
}
