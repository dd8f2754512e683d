package read

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// digest is the SHA-256 of a file, and its size.
func digest(file string) (sum string, size int64, err error) {
	f, err := os.Open(file)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	h := sha256.New()
	size, err = io.CopyBuffer(struct{ io.Writer }{h}, f, make([]byte, bufferBytes))
	return hex.EncodeToString(h.Sum(nil)), size, err
}

// identify fills in the digest of a source.
func (a *account) identify(file File) (err error) {
	a.SHA256, a.Bytes, err = digest(file.Path)
	return err
}

// identifyBeside does the same while the source is read. wait ends it.
func (a *account) identifyBeside(file File) (wait func() error, err error) {
	info, err := os.Stat(file.Path)
	if err != nil {
		return nil, err
	}
	a.Bytes = info.Size() // known at once: it tells how much room the rows need
	done := make(chan error, 1)
	var sum string
	var size int64
	go func() {
		var err error
		sum, size, err = digest(file.Path)
		done <- err
	}()
	return func() error {
		err := <-done
		a.SHA256, a.Bytes = sum, size
		return err
	}, nil
}

// addSiblings adds further files that a source consists of, named beside it.
func (a *account) addSiblings(file File, siblings []string) error {
	for _, s := range siblings {
		if filepath.Clean(s) == filepath.Clean(file.Path) {
			continue
		}
		sum, size, err := digest(s)
		if err != nil {
			return err
		}
		name := path.Join(path.Dir(a.Name), filepath.Base(s))
		a.Siblings = append(a.Siblings, survey.Sibling{Name: name, SHA256: sum, Bytes: size})
	}
	slices.SortFunc(a.Siblings, func(x, y survey.Sibling) int { return strings.Compare(x.Name, y.Name) })
	return nil
}
