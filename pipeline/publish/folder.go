package publish

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// stalePartial is the age at which what an unfinished run left behind is
// cleaned up whoever made it. Runs on this machine whose process is gone are
// cleaned up at once.
const stalePartial = 24 * time.Hour

const partialMark = ".partial-"

// runName is the name of a run's folder: its start, UTC, without characters
// that a file system might refuse.
func runName(started time.Time) string { return started.UTC().Format("2006-01-02T150405Z") }

// newPartial makes the folder in which a run is written aside. Its name tells
// the machine and the process, so that a later run knows whether it is dead.
func newPartial(output, run string) (string, error) {
	return os.MkdirTemp(output, fmt.Sprintf(".%s%s%s-%d-*", run, partialMark, hostWord(), os.Getpid()))
}

// hostWord is the machine's name with nothing but letters and digits.
func hostWord() string {
	name, err := os.Hostname()
	if err != nil {
		return "host"
	}
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' {
			return r
		}
		return -1
	}, name)
}

// cleanPartials removes what dead runs left in the output folder. It keeps
// going: what cannot be removed now is left for the next run.
func cleanPartials(output string) {
	entries, err := os.ReadDir(output)
	if err != nil {
		return
	}
	for _, entry := range entries {
		_, owner, ok := strings.Cut(entry.Name(), partialMark)
		if !ok || !strings.HasPrefix(entry.Name(), ".") {
			continue
		}
		path := filepath.Join(output, entry.Name())
		if ownerDead(owner) || untouchedFor(path, stalePartial) {
			_ = os.RemoveAll(path)
		}
	}
}

// ownerDead says that the process "host-pid-random" ran on this machine and no
// longer does.
func ownerDead(owner string) bool {
	parts := strings.SplitN(owner, "-", 3)
	if len(parts) < 3 || parts[0] != hostWord() {
		return false
	}
	pid, err := strconv.Atoi(parts[1])
	return err == nil && pid > 0 && !processAlive(pid)
}

// untouchedFor says that nothing at a path or in it changed for a while.
func untouchedFor(path string, age time.Duration) bool {
	newest := time.Time{}
	err := filepath.WalkDir(path, func(_ string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err == nil && info.ModTime().After(newest) {
			newest = info.ModTime()
		}
		return err
	})
	return err == nil && time.Since(newest) > age
}

// seal makes sure that a file is on the disk and tells its size and SHA-256.
func seal(path string) (size int64, digest string, err error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return 0, "", err
	}
	defer f.Close()
	h := sha256.New()
	if size, err = io.Copy(h, f); err != nil {
		return 0, "", err
	}
	return size, hex.EncodeToString(h.Sum(nil)), f.Sync()
}

// syncFolder puts a folder's entries on the disk. Not every system can.
func syncFolder(path string) {
	if f, err := os.Open(path); err == nil {
		_ = f.Sync()
		f.Close()
	}
}

// reveal gives a finished folder its name: the run's, or the first of run-2,
// run-3 and so on that is free.
func reveal(partial, output, run string) (folder string, err error) {
	if err := os.Chmod(partial, 0o755); err != nil { // a temporary folder is its owner's alone
		return "", err
	}
	syncFolder(partial)
	for n := 1; n < 10_000; n++ {
		folder = filepath.Join(output, run)
		if n > 1 {
			folder += "-" + strconv.Itoa(n)
		}
		if _, err := os.Lstat(folder); err == nil {
			continue
		}
		err = os.Rename(partial, folder)
		if err == nil {
			syncFolder(output)
			return folder, nil
		}
		if _, taken := os.Lstat(folder); taken != nil {
			return "", err
		}
	}
	return "", fmt.Errorf("%s: every name for run %s is taken", output, run)
}

// checkLatest refuses to go on where out/latest is something that a link must
// not replace.
func checkLatest(output string) error {
	latest := filepath.Join(output, "latest")
	info, err := os.Lstat(latest)
	if err == nil && info.Mode()&fs.ModeSymlink == 0 {
		return fmt.Errorf("%s is in the way: it should be a link to the newest run; move it away", latest)
	}
	return nil
}

// pointLatest makes out/latest.txt and, where links exist, out/latest say which
// run is the newest. Both are replaced in one step.
func pointLatest(output, run string) error {
	aside := func(name string) string {
		return filepath.Join(output, fmt.Sprintf(".%s%s%s-%d-%s", name, partialMark, hostWord(), os.Getpid(), run))
	}
	txt := aside("latest.txt")
	if err := os.WriteFile(txt, []byte(run+"\n"), 0o644); err != nil {
		return err
	}
	_, _, err := seal(txt)
	if err == nil {
		err = os.Rename(txt, filepath.Join(output, "latest.txt"))
	}
	if err != nil {
		return errors.Join(err, os.Remove(txt))
	}
	err = pointLink(aside("latest"), filepath.Join(output, "latest"), run)
	syncFolder(output)
	return err
}

// pointLink makes a link beside the one it replaces. Where links cannot be made
// there is none, and where one cannot be renamed over another the old one goes
// first.
func pointLink(aside, link, target string) error {
	if os.Symlink(target, aside) != nil {
		return nil
	}
	if os.Rename(aside, link) == nil {
		return nil
	}
	_ = os.Remove(link)
	if err := os.Rename(aside, link); err != nil {
		return errors.Join(err, os.Remove(aside))
	}
	return nil
}
