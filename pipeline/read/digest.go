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
