package shapefile

import (
	"fmt"
	"strings"
)

// Error says what is wrong with a set of files, where, and what to do.
type Error struct {
	File    string // as it can be opened
	Record  int    // 1-based row; 0 the file as a whole
	Field   string // column; "" none
	Offset  int64  // byte of File; 0 where it says nothing
	Problem string
	Remedy  string
	Err     error // what the system said; nil if nothing
}

func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Record > 0 {
		fmt.Fprintf(&b, ": record %d", e.Record)
	}
	if e.Field != "" {
		fmt.Fprintf(&b, ": field %s", e.Field)
	}
	if e.Offset > 0 {
		fmt.Fprintf(&b, ": byte %d", e.Offset)
	}
	b.WriteString(": " + e.Problem)
	if e.Err != nil {
		fmt.Fprintf(&b, ": %v", e.Err)
	}
	if e.Remedy != "" {
		b.WriteString("; " + e.Remedy)
	}
	return b.String()
}

func (e *Error) Unwrap() error { return e.Err }

// What to do about the usual kinds of damage.
const (
	remedyOpen   = "check its name, and that it may be read"
	remedyDisk   = "check that the disk has room and the folder can be written to"
	remedyCopy   = "the file is cut short or damaged: copy or export it again"
	remedyResave = "save the layer anew with the program that wrote it"
	remedySet    = "the files of the set do not belong together: copy or export all of them again"
)
