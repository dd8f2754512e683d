package shapefile

import "fmt"

// shxFile reads the index of a .shp, which must agree with it: the attributes
// go by the order of the index.
type shxFile struct {
	*stream
	buf []byte
}

const shxEntryBytes = 8

func newShxFile(s *stream, kind Type) (*shxFile, error) {
	_, its, err := checkHeader(s)
	if err != nil {
		return nil, err
	}
	if its != kind {
		return nil, &Error{File: s.name, Offset: 32, Problem: fmt.Sprintf("is the index of a file of %v, but the .shp holds %v", its, kind), Remedy: remedySet}
	}
	if s.left()%shxEntryBytes != 0 {
		return nil, &Error{File: s.name, Problem: fmt.Sprintf("has %d bytes after its header, not a multiple of %d", s.left(), shxEntryBytes), Remedy: remedyCopy}
	}
	return &shxFile{stream: s}, nil
}

// rows is how many entries there are.
func (x *shxFile) rows() int64 { return (x.size - headerBytes) / shxEntryBytes }

// check compares the next entry with the record that f has just framed. The
// number of entries was checked before.
func (x *shxFile) check(f *shpFile) error {
	at := x.at
	var err error
	if x.buf, err = x.append(x.buf[:0], shxEntryBytes); err != nil {
		return inRecord(err, f.record)
	}
	offset, length := 2*int64(big.Uint32(x.buf)), 2*int64(big.Uint32(x.buf[4:]))
	if offset == f.offset && length == f.length {
		return nil
	}
	return &Error{
		File: x.name, Record: f.record, Offset: at,
		Problem: fmt.Sprintf("points to byte %d and %d bytes, but in the .shp it has byte %d and %d bytes", offset, length, f.offset, f.length),
		Remedy:  "the .shp holds space left over from editing, or the .shx is of another one: " + remedyResave,
	}
}
