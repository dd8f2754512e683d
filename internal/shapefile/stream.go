package shapefile

import (
	"archive/zip"
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
)

// Limits for files inside an archive. Reading streams them, so that they bound
// time rather than memory.
const (
	maxEntries    = 10_000
	maxEntryBytes = 16 << 30
	maxRatio      = 500       // unpacked to packed size ...
	ratioFrom     = 100 << 20 // ... of entries from this unpacked size on: tables of blanks pack well
)

const (
	ahead = 1 << 18 // how much is read ahead
	chunk = 1 << 20 // how much is allocated ahead of what has been read
)

// stream reads one file from front to end and knows where it is.
type stream struct {
	name string // for messages
	size int64
	at   int64
	r    *bufio.Reader
	c    io.Closer
}

// openStream opens a regular file.
func openStream(fsys fs.FS, name, shown string) (*stream, error) {
	// Looked at before it is opened: opening a pipe would wait for ever.
	info, err := fs.Stat(fsys, name)
	if err != nil {
		return nil, &Error{File: shown, Problem: "cannot be read", Err: cause(err), Remedy: remedyOpen}
	}
	if !info.Mode().IsRegular() {
		return nil, &Error{File: shown, Problem: "is not a file", Remedy: "name a .shp file"}
	}
	if h, ok := info.Sys().(*zip.FileHeader); ok {
		if err := checkEntry(h, shown); err != nil {
			return nil, err
		}
	}
	f, err := fsys.Open(name)
	if err != nil {
		return nil, &Error{File: shown, Problem: "cannot be read", Err: cause(err), Remedy: remedyOpen}
	}
	return &stream{name: shown, size: info.Size(), r: bufio.NewReaderSize(f, int(min(info.Size(), ahead))), c: f}, nil
}

func checkEntry(h *zip.FileHeader, shown string) error {
	const encrypted = 1
	switch {
	case h.Flags&encrypted != 0:
		return &Error{File: shown, Problem: "is protected by a password", Remedy: "unpack the archive and give the folder instead"}
	case h.UncompressedSize64 > maxEntryBytes:
		return &Error{
			File: shown, Problem: fmt.Sprintf("unpacks to %d bytes, more than %d", h.UncompressedSize64, int64(maxEntryBytes)),
			Remedy: "unpack the archive and give the folder instead",
		}
	case h.UncompressedSize64 >= ratioFrom && h.UncompressedSize64/maxRatio > h.CompressedSize64:
		return &Error{
			File: shown, Problem: fmt.Sprintf("unpacks from %d to %d bytes, more than %d times", h.CompressedSize64, h.UncompressedSize64, maxRatio),
			Remedy: "unpack the archive and give the folder instead",
		}
	}
	return nil
}

// cause is what the system said, without the path that the message has already.
func cause(err error) error {
	if p, ok := errors.AsType[*fs.PathError](err); ok {
		return p.Err
	}
	return err
}

func (s *stream) left() int64 { return s.size - s.at }

// append reads the next n bytes behind those in buf, which it grows only as
// they arrive: an archive's directory may promise more than there is.
func (s *stream) append(buf []byte, n int64) ([]byte, error) {
	end := int64(len(buf)) + n
	for int64(len(buf)) < end {
		from := int64(len(buf))
		to := min(end, max(from+chunk, int64(cap(buf))))
		if to > int64(cap(buf)) {
			grown := make([]byte, from, min(end, max(to, 2*int64(cap(buf)))))
			copy(grown, buf)
			buf = grown
		}
		buf = buf[:to]
		got, err := io.ReadFull(s.r, buf[from:])
		s.at += int64(got)
		if err != nil {
			return buf[:from], s.failed(err)
		}
	}
	return buf, nil
}

func (s *stream) failed(err error) error {
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return &Error{File: s.name, Offset: s.at, Problem: fmt.Sprintf("ends here, but its directory says %d bytes", s.size), Remedy: remedyCopy}
	}
	return &Error{File: s.name, Offset: s.at, Problem: "cannot be read", Err: cause(err), Remedy: remedyCopy}
}

// end makes sure that nothing is left. In an archive this is also where the
// check sum is compared.
func (s *stream) end() error {
	_, err := s.r.ReadByte()
	if err == io.EOF {
		return nil
	}
	if err == nil {
		return &Error{File: s.name, Offset: s.at, Problem: fmt.Sprintf("goes on after the %d bytes that its directory says", s.size), Remedy: remedyCopy}
	}
	return s.failed(err)
}
