//go:build !linux

package ledger

import (
	"path/filepath"
	"strings"
)

// onShare says whether a folder's path names a machine, as \\server\share does.
// What is mounted under another name is told by the database, when it cannot lock.
func onShare(folder string) bool {
	return strings.HasPrefix(filepath.VolumeName(folder), `\\`)
}
