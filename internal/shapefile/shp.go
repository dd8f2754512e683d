package shapefile

import (
	"encoding/binary"
	"fmt"
	"math"
)

// Sizes and codes of the file format (ESRI, Shapefile Technical Description,
// July 1998). Lengths in the files are in words of two bytes.
const (
	headerBytes       = 100
	recordHeaderBytes = 8
	fileCode          = 9994
	version           = 1000
)

// noData stands for a missing measure: any value below -1e38 does.
const noData = -1e39

func isNoData(v float64) bool { return !(v >= -1e38) || math.IsInf(v, 1) }

var (
	big    = binary.BigEndian
	little = binary.LittleEndian
)

// shpFile frames the records of a .shp.
type shpFile struct {
	*stream
	header []byte
	kind   Type
	record int    // number of the record that next returned
	offset int64  // where its header begins
	length int64  // of its content as it stands in the file
	buf    []byte // its header and content in the form that go-shp reads right
}

// checkHeader checks what the headers of .shp and .shx have in common and
// returns the type of the shapes.
func checkHeader(s *stream) ([]byte, Type, error) {
	fail := func(offset int64, problem, remedy string) error {
		return &Error{File: s.name, Offset: offset, Problem: problem, Remedy: remedy}
	}
	if s.size < headerBytes {
		return nil, 0, fail(0, fmt.Sprintf("has %d bytes, fewer than the %d of a header", s.size, headerBytes), remedyCopy)
	}
	h, err := s.append(nil, headerBytes)
	if err != nil {
		return nil, 0, err
	}
	if code := big.Uint32(h); code != fileCode {
		return nil, 0, fail(0, fmt.Sprintf("begins with the code %d, not %d", code, fileCode), "this is not a .shp or .shx file: name one that is, or copy it again")
	}
	if length := 2 * int64(big.Uint32(h[24:])); length != s.size {
		return nil, 0, fail(24, fmt.Sprintf("its header says %d bytes, but there are %d", length, s.size), remedyCopy)
	}
	if v := little.Uint32(h[28:]); v != version {
		return nil, 0, fail(28, fmt.Sprintf("has version %d, not %d", v, version), remedyResave)
	}
	kind := Type(little.Uint32(h[32:]))
	if !kind.known() {
		return nil, 0, fail(32, fmt.Sprintf("holds shapes of %v", kind), "convert the layer to points, lines or polygons")
	}
	return h, kind, nil
}

func newShpFile(s *stream) (*shpFile, error) {
	h, kind, err := checkHeader(s)
	if err != nil {
		return nil, err
	}
	return &shpFile{stream: s, header: h, kind: kind}, nil
}

func (f *shpFile) fail(offset int64, remedy, format string, a ...any) error {
	return &Error{File: f.name, Record: f.record, Offset: offset, Problem: fmt.Sprintf(format, a...), Remedy: remedy}
}

// more says whether another record begins.
func (f *shpFile) more() bool { return f.left() > 0 }

// next frames the record that begins here and leaves it in buf. It returns the
// number that stands in the file, which should be record.
func (f *shpFile) next() (number int32, err error) {
	f.record++
	f.offset = f.at
	if f.left() < recordHeaderBytes+4 {
		return 0, f.fail(f.offset, remedyCopy, "only %d bytes are left, fewer than the smallest record has", f.left())
	}
	if f.buf, err = f.append(f.buf[:0], recordHeaderBytes); err != nil {
		return 0, inRecord(err, f.record)
	}
	number = int32(big.Uint32(f.buf))
	f.length = 2 * int64(int32(big.Uint32(f.buf[4:])))
	if f.length < 4 || f.length > f.left() {
		return 0, f.fail(f.offset+4, remedyCopy, "its length is %d bytes, but %d are left", f.length, f.left())
	}
	if f.buf, err = f.append(f.buf, f.length); err != nil {
		return 0, inRecord(err, f.record)
	}
	hasM, err := f.checkContent(f.buf[recordHeaderBytes:])
	if err != nil {
		return 0, err
	}
	f.frame(hasM)
	return number, nil
}

// inRecord adds the record to an error of the stream.
func inRecord(err error, record int) error {
	if e, ok := err.(*Error); ok {
		e.Record = record
	}
	return err
}

// frame turns the record in buf into the form that go-shp reads right: numbered
// by its place in the file, and with a block of measures if its type has one.
func (f *shpFile) frame(hasM bool) {
	content := f.buf[recordHeaderBytes:]
	if kind := Type(little.Uint32(content)); kind.HasM() && !hasM {
		n := 1
		if kind.Flat() != Point {
			n = 2 + counts(content, kind).points // the range first
		}
		for range n {
			f.buf = little.AppendUint64(f.buf, math.Float64bits(noData))
		}
	}
	big.PutUint32(f.buf, uint32(f.record))
	big.PutUint32(f.buf[4:], uint32((len(f.buf)-recordHeaderBytes)/2))
}
