package shapefile

import (
	"bytes"
	"fmt"
)

// Sizes and marks of a table (dBase III, as the file format prescribes it).
const (
	tableHeaderBytes = 32
	descriptorBytes  = 32
	fieldsEnd        = 0x0D
	fileEnd          = 0x1A
	backlinkBytes    = 263
	rowAlive         = ' '
	rowDeleted       = '*'
	maxNameBytes     = 10

	// go-shp counts header and row in 16 bits with a sign.
	maxTableRowBytes = 1<<15 - 1
	maxFields        = (maxTableRowBytes - tableHeaderBytes - 1) / descriptorBytes
)

// dbfFile frames the rows of a .dbf.
type dbfFile struct {
	*stream
	header   []byte // up to the end mark of the fields and no more: as go-shp wants it
	fields   []Field
	rows     int64
	rowBytes int64
	driver   byte // language driver: the encoding of the text
	buf      []byte
}

func newDbfFile(s *stream) (*dbfFile, error) {
	f := &dbfFile{stream: s}
	if s.size < tableHeaderBytes+1 {
		return nil, f.fail(0, remedyCopy, "has %d bytes, fewer than the %d of a header", s.size, tableHeaderBytes+1)
	}
	h, err := s.append(nil, tableHeaderBytes)
	if err != nil {
		return nil, err
	}
	if !readableTable(h[0]) {
		return nil, f.fail(0, "save the table as dBase III or IV", "is a table of kind 0x%02X, which cannot be read", h[0])
	}
	if h[15] != 0 {
		return nil, f.fail(15, "save the table without encryption", "is encrypted")
	}
	f.rows, f.driver = int64(little.Uint32(h[4:])), h[29]
	headerLength := int64(little.Uint16(h[8:]))
	f.rowBytes = int64(little.Uint16(h[10:]))
	if headerLength < tableHeaderBytes+1 || headerLength > s.size {
		return nil, f.fail(8, remedyCopy, "its header says it is %d bytes long in a file of %d", headerLength, s.size)
	}
	rest, err := s.append(nil, headerLength-tableHeaderBytes)
	if err != nil {
		return nil, err
	}
	if err := f.readFields(rest); err != nil {
		return nil, err
	}
	n := len(f.fields) * descriptorBytes
	if err := f.checkBehind(h[0], rest[n+1:]); err != nil {
		return nil, err
	}
	// The header of go-shp's table says no more than go-shp understands.
	f.header = append(append(h, rest[:n]...), fieldsEnd)
	little.PutUint16(f.header[8:], uint16(len(f.header)))
	return f, f.checkSize()
}

// readableTable says whether a table of this kind has headers, descriptors and
// rows as dBase III has them.
func readableTable(kind byte) bool {
	return kind&7 == 3 || isVisual(kind)
}

// isVisual says whether a table is of the later kind that may belong to a
// database and then names it behind its fields.
func isVisual(kind byte) bool { return kind >= 0x30 && kind <= 0x32 }

func (f *dbfFile) fail(offset int64, remedy, format string, a ...any) error {
	return &Error{File: f.name, Offset: offset, Problem: fmt.Sprintf(format, a...), Remedy: remedy}
}

// readFields reads the descriptors, which end with a mark inside the header.
func (f *dbfFile) readFields(rest []byte) error {
	sum := int64(1) // the mark of deletion
	for i := 0; ; i++ {
		offset := int64(tableHeaderBytes + i*descriptorBytes)
		if len(rest) == 0 {
			return f.fail(offset, remedyCopy, "its list of fields has no end")
		}
		if rest[0] == fieldsEnd {
			break
		}
		if len(rest) < descriptorBytes {
			return f.fail(offset, remedyCopy, "its header ends inside the description of field %d", i+1)
		}
		field, err := f.readField(rest[:descriptorBytes], offset)
		if err != nil {
			return err
		}
		f.fields = append(f.fields, field)
		sum += int64(field.Length)
		rest = rest[descriptorBytes:]
	}
	if sum != f.rowBytes {
		return f.fail(10, remedyCopy, "says that a row has %d bytes, but its fields take %d", f.rowBytes, sum)
	}
	if f.rowBytes > maxTableRowBytes || len(f.fields) > maxFields {
		return f.fail(10, "leave out or shorten columns", "has %d fields and %d bytes a row; at most %d and %d can be read", len(f.fields), f.rowBytes, maxFields, maxTableRowBytes)
	}
	return nil
}

func (f *dbfFile) readField(d []byte, offset int64) (Field, error) {
	name, _, _ := bytes.Cut(d[:11], []byte{0})
	field := Field{Name: string(bytes.TrimSpace(name)), Type: d[11], Length: int(d[16]), Decimals: int(d[17])}
	if field.Name == "" {
		return field, f.fail(offset, remedyCopy, "its field %d has no name", len(f.fields)+1)
	}
	switch field.Type {
	case 'C', 'N', 'F', 'D', 'L':
	default:
		return field, f.fail(offset+11, "convert the column to text, number, date or logical", "its field %s is of type %q, which a shapefile cannot have", field.Name, field.Type)
	}
	if field.Length == 0 {
		return field, f.fail(offset+16, remedyCopy, "its field %s has no length", field.Name)
	}
	return field, nil
}

// checkBehind checks what follows the end mark of the fields: nothing, NULs, or
// the name of a database in the kinds of table that have room for one. A header
// that is said to be longer than it is would shift all rows.
func (f *dbfFile) checkBehind(kind byte, behind []byte) error {
	if isVisual(kind) && len(behind) == backlinkBytes {
		return nil
	}
	for _, b := range behind {
		if b != 0 {
			return f.fail(8, remedyCopy, "its header says it is %d bytes long, but its fields end %d bytes before that", f.at, len(behind))
		}
	}
	return nil
}

// checkSize checks that the rows are all there.
func (f *dbfFile) checkSize() error {
	if need := f.rows * f.rowBytes; need > f.left() {
		return f.fail(4, remedyCopy, "says it has %d rows of %d bytes, but only %d bytes follow the header", f.rows, f.rowBytes, f.left())
	}
	return nil
}

// next frames the next row and leaves it in buf. The number of rows was checked
// before.
func (f *dbfFile) next(record int) (deleted bool, err error) {
	offset := f.at
	if f.buf, err = f.append(f.buf[:0], f.rowBytes); err != nil {
		return false, inRecord(err, record)
	}
	if mark := f.buf[0]; mark != rowAlive && mark != rowDeleted {
		return false, &Error{File: f.name, Record: record, Offset: offset, Problem: fmt.Sprintf("begins with 0x%02X instead of a mark of deletion", mark), Remedy: remedyCopy}
	}
	return f.buf[0] == rowDeleted, nil
}

// finish makes sure that nothing but the end mark and padding follows the rows.
func (f *dbfFile) finish() error {
	for f.left() > 0 {
		offset := f.at
		var err error
		if f.buf, err = f.append(f.buf[:0], min(f.left(), chunk)); err != nil {
			return err
		}
		for i, b := range f.buf {
			if b != fileEnd && b != 0 {
				return f.fail(offset+int64(i), remedyCopy, "goes on after its %d rows", f.rows)
			}
		}
	}
	return f.end()
}
