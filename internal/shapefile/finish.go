package shapefile

import (
	"math"
	"os"
)

// finishFiles puts right what go-shp leaves out of the files that it wrote:
// box and ranges of Z and M in the headers (it lets null shapes count as 0,0),
// the type of null shapes, marks of deletion, and a true date. It adds .prj and
// .cpg.
func finishFiles(made string, l *Layer) error {
	header := boxBytes(l)
	for _, ext := range []string{".shp", ".shx"} {
		if err := patch(made+ext, func(at func([]byte, int64)) {
			at(header, 36)
			if ext == ".shp" {
				markNulls(l, at)
			}
		}); err != nil {
			return err
		}
	}
	if err := patch(made+".dbf", func(at func([]byte, int64)) { finishTable(l, at) }); err != nil {
		return err
	}
	if err := os.WriteFile(made+".cpg", []byte("UTF-8"), 0o666); err != nil || l.Projection == "" {
		return err
	}
	return os.WriteFile(made+".prj", []byte(l.Projection), 0o666)
}

// patch overwrites bytes of a file.
func patch(name string, change func(at func(b []byte, offset int64))) error {
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	var failed error
	change(func(b []byte, offset int64) {
		if _, err := f.WriteAt(b, offset); err != nil && failed == nil {
			failed = err
		}
	})
	if err := f.Close(); failed == nil {
		failed = err
	}
	return failed
}

// markNulls gives null shapes their type; go-shp gives them the file's.
func markNulls(l *Layer, at func([]byte, int64)) {
	offset := int64(headerBytes)
	for i := range l.Rows {
		row := &l.Rows[i]
		if row.Null {
			at([]byte{0, 0, 0, 0}, offset+recordHeaderBytes)
		}
		offset += recordHeaderBytes + writtenBytes(row, l.Type)
	}
}

// finishTable marks deleted rows and sets the date, which is the same for every
// file so that the same layer gives the same bytes.
func finishTable(l *Layer, at func([]byte, int64)) {
	at([]byte{100, 1, 1}, 1) // years since 1900, month, day
	header, rowBytes := tableBytes(l.Fields)
	for i := range l.Rows {
		if l.Rows[i].Deleted {
			at([]byte{rowDeleted}, header+int64(i)*rowBytes)
		}
	}
	at([]byte{fileEnd}, header+int64(len(l.Rows))*rowBytes)
}

// tableBytes is how long the header and a row of a table are.
func tableBytes(fields []Field) (header, row int64) {
	row = 1
	for _, f := range fields {
		row += int64(f.Length)
	}
	return tableHeaderBytes + int64(len(fields))*descriptorBytes + 1, row
}

// boxBytes is the last part of a header: least and greatest X and Y, Z and M.
func boxBytes(l *Layer) []byte {
	x, y, z, m := newSpan(), newSpan(), newSpan(), newSpan()
	for i := range l.Rows {
		row := &l.Rows[i]
		if row.Null {
			continue
		}
		for _, p := range row.Points {
			x.add(p[0])
			y.add(p[1])
		}
		for _, part := range row.Parts {
			for _, p := range part {
				x.add(p[0])
				y.add(p[1])
			}
		}
		for _, part := range row.Z {
			z.add(part...)
		}
		for _, part := range row.M {
			m.add(part...)
		}
	}
	var b []byte
	for _, v := range []float64{x.or0()[0], y.or0()[0], x.or0()[1], y.or0()[1], z.or0()[0], z.or0()[1], m.or0()[0], m.or0()[1]} {
		b = little.AppendUint64(b, math.Float64bits(v))
	}
	return b
}

// span is the least and the greatest of some numbers.
type span [2]float64

func newSpan() span { return span{math.Inf(1), math.Inf(-1)} }

func (s *span) add(vs ...float64) {
	for _, v := range vs {
		if !isNoData(v) {
			s[0], s[1] = min(s[0], v), max(s[1], v)
		}
	}
}

// or0 is the span, or 0 for one of no numbers.
func (s span) or0() span { return s.or(0) }

func (s span) or(v float64) span {
	if s[0] > s[1] {
		return span{v, v}
	}
	return s
}
