package shapefile

import (
	"fmt"
	"io/fs"
	"iter"
	"math"
	"strconv"
	"strings"
)

// Longest .prj and .cpg that are taken for such.
const (
	maxPrjBytes = 1 << 20
	maxCpgBytes = 1 << 10
)

// Reader reads the rows of a set one after the other.
type Reader struct {
	head  Layer // without rows and notes
	place *place
	shp   *shpFile
	shx   *shxFile // nil if there is none
	dbf   *dbfFile
	text  *charset
	dec   *decoder
	notes notes
	begun bool
}

// Read reads a whole layer: a .shp with the files beside it, one inside an
// archive ("a.zip/folder/mains.shp"), or the only one of an archive ("a.zip").
func Read(name string) (*Layer, error) {
	r, err := Open(name)
	if err != nil {
		return nil, err
	}
	return r.first(math.MaxInt)
}

// ReadFirst reads the first rows of a layer, as many as there are up to most.
// What stands behind them is not looked at.
func ReadFirst(name string, most int) (*Layer, error) {
	r, err := Open(name)
	if err != nil {
		return nil, err
	}
	return r.first(most)
}

// ReadFS is Read for a set in a file system.
func ReadFS(fsys fs.FS, name string) (*Layer, error) {
	r, err := OpenFS(fsys, name)
	if err != nil {
		return nil, err
	}
	return r.first(math.MaxInt)
}

// Open opens a set, as Read does, for reading row by row. It checks the headers
// of all files and their counts. Close it after use.
func Open(name string) (*Reader, error) {
	p, inside, err := locate(name)
	if err != nil {
		return nil, err
	}
	return open(p, inside)
}

// OpenFS is Open for a set in a file system.
func OpenFS(fsys fs.FS, name string) (*Reader, error) {
	if !fs.ValidPath(name) || !isShp(name) {
		return nil, &Error{File: name, Problem: "is not the name of a .shp file", Remedy: "name a .shp file"}
	}
	return open(&place{fsys: fsys}, name)
}

func open(p *place, name string) (_ *Reader, err error) {
	r := &Reader{place: p}
	defer func() {
		if err != nil {
			r.Close()
		}
	}()
	set, err := p.find(name)
	if err != nil {
		return nil, err
	}
	shown := p.shown(set[".shp"])
	base := shown[strings.LastIndexAny(shown, `/\`)+1:]
	r.head.Name = base[:len(base)-len(".shp")]
	if err := r.openFiles(set); err != nil {
		return nil, err
	}
	if err := r.readTexts(set); err != nil {
		return nil, err
	}
	if err := r.nameFields(); err != nil {
		return nil, err
	}
	if r.dec, err = newDecoder(r.shp.header, r.dbf.header); err != nil {
		return nil, &Error{File: r.shp.name, Problem: "the headers cannot be decoded", Err: err, Remedy: remedyResave}
	}
	return r, nil
}

// openFiles opens .shp, .shx and .dbf and compares their counts.
func (r *Reader) openFiles(set siblings) error {
	s, err := r.stream(set[".shp"])
	if err != nil {
		return err
	}
	if r.shp, err = newShpFile(s); err != nil {
		return err
	}
	r.head.Type = r.shp.kind
	if s, err = r.stream(set[".dbf"]); err != nil {
		return err
	}
	if r.dbf, err = newDbfFile(s); err != nil {
		return err
	}
	if set[".shx"] == "" {
		r.notes.say("there is no .shx file; the rows were taken in the order of the .shp")
		return r.fitsWithoutIndex()
	}
	if s, err = r.stream(set[".shx"]); err != nil {
		return err
	}
	if r.shx, err = newShxFile(s, r.shp.kind); err != nil {
		return err
	}
	if r.shx.rows() != r.dbf.rows {
		return &Error{File: r.dbf.name, Problem: fmt.Sprintf("has %d rows, but the .shx has %d shapes", r.dbf.rows, r.shx.rows()), Remedy: remedySet}
	}
	return r.fitsWithoutIndex()
}

// fitsWithoutIndex refuses a table whose rows could not have a shape each,
// before any is read.
func (r *Reader) fitsWithoutIndex() error {
	const least = recordHeaderBytes + 4
	if most := r.shp.left() / least; r.dbf.rows > most {
		return &Error{File: r.dbf.name, Problem: fmt.Sprintf("has %d rows, but the .shp has room for %d shapes at most", r.dbf.rows, most), Remedy: remedySet}
	}
	return nil
}

// stream opens a file of the set and remembers it.
func (r *Reader) stream(name string) (*stream, error) {
	r.remember(name)
	return openStream(r.place.fsys, name, r.place.shown(name))
}

func (r *Reader) remember(name string) {
	switch {
	case name == "":
	case r.place.zip == "":
		r.head.Files = append(r.head.Files, r.place.shown(name))
	case len(r.head.Files) == 0:
		r.head.Files = []string{r.place.zip}
	}
}

// readTexts reads .prj and .cpg.
func (r *Reader) readTexts(set siblings) (err error) {
	r.remember(set[".prj"])
	if r.head.Projection, err = r.place.text(set[".prj"], maxPrjBytes); err != nil {
		return err
	}
	r.remember(set[".cpg"])
	page, err := r.place.text(set[".cpg"], maxCpgBytes)
	if err != nil {
		return err
	}
	r.text = newCharset(page, r.dbf.driver)
	r.head.Encoding = r.text.name
	return nil
}

// nameFields decodes the names of the fields.
func (r *Reader) nameFields() error {
	seen := map[string]bool{}
	for _, f := range r.dbf.fields {
		name, _, err := r.text.decode(f.Name, len(f.Name) == maxNameBytes)
		if err != nil {
			return &Error{File: r.dbf.name, Field: strconv.Quote(f.Name), Problem: err.Error(), Remedy: remedyEncoding}
		}
		f.Name = name
		r.head.Fields = append(r.head.Fields, f)
		if key := strings.ToLower(name); seen[key] {
			r.notes.say(fmt.Sprintf("two fields are called %s", name))
		} else {
			seen[key] = true
		}
	}
	return nil
}

// Close closes all files.
func (r *Reader) Close() error {
	if r.shp != nil {
		r.shp.c.Close()
	}
	if r.shx != nil {
		r.shx.c.Close()
	}
	if r.dbf != nil {
		r.dbf.c.Close()
	}
	return r.place.Close()
}

// Layer is the layer without its rows. Its notes are those so far: all of them
// after the last row.
func (r *Reader) Layer() Layer {
	l := r.head
	l.Notes = r.notes.list()
	return l
}

// Len is how many rows there are, deleted ones counted.
func (r *Reader) Len() int { return int(r.dbf.rows) }

// Rows reads the rows in the order of the file. After an error it ends, and the
// rows before it are part of a broken file: only a loop that met no error has
// seen the layer. The rows can be read once.
func (r *Reader) Rows() iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		if r.begun {
			yield(Row{}, &Error{File: r.shp.name, Problem: "was read before", Remedy: "open it again"})
			return
		}
		r.begun = true
		for r.shp.more() {
			row, err := r.next()
			if !yield(row, err) || err != nil {
				return
			}
		}
		if err := r.finish(); err != nil {
			yield(Row{}, err)
		}
	}
}

// next reads one row.
func (r *Reader) next() (Row, error) {
	if int64(r.shp.record) == r.dbf.rows {
		return Row{}, &Error{File: r.dbf.name, Problem: fmt.Sprintf("has %d rows, but the .shp has more shapes", r.dbf.rows), Remedy: remedySet}
	}
	number, err := r.shp.next()
	if err != nil {
		return Row{}, err
	}
	n := r.shp.record
	if int(number) != n {
		r.notes.count(oddNumbers, n)
	}
	if r.shx != nil {
		if err := r.shx.check(r.shp); err != nil {
			return Row{}, err
		}
	}
	deleted, err := r.dbf.next(n)
	if err != nil {
		return Row{}, err
	}
	shape, ok := r.dec.decode(r.shp.buf, r.dbf.buf)
	if !ok {
		return Row{}, &Error{File: r.shp.name, Record: n, Offset: r.shp.offset, Problem: "cannot be decoded", Err: r.dec.seq.Err(), Remedy: remedyResave}
	}
	row := Row{Number: n, Deleted: deleted}
	r.shape(&row, geometryOf(shape), Type(little.Uint32(r.shp.buf[recordHeaderBytes:])))
	if row.Values, err = r.values(n); err != nil {
		return Row{}, err
	}
	return row, nil
}

// shape fills in the geometry of a row.
func (r *Reader) shape(row *Row, g geometry, kind Type) {
	if kind == Null {
		row.Null = true
		return
	}
	if g.fill(row, kind.Flat()) > 0 {
		r.notes.count(noNumbers, row.Number)
	}
	if kind.Flat() != Point && g.outside() {
		r.notes.count(badBoxes, row.Number)
	}
}

// values decodes the attributes of the row at hand.
func (r *Reader) values(record int) ([]string, error) {
	if len(r.dbf.fields) == 0 {
		return nil, nil
	}
	values := make([]string, len(r.dbf.fields))
	for i, f := range r.head.Fields {
		v, odd, err := r.text.value(r.dec.value(i), f)
		if err != nil {
			return nil, &Error{File: r.dbf.name, Record: record, Field: f.Name, Problem: err.Error(), Remedy: remedyEncoding}
		}
		if odd != none {
			r.notes.count(odd, record)
		}
		values[i] = v
	}
	return pack(values), nil
}

// pack moves texts into one piece of memory without the padding around them.
func pack(values []string) []string {
	rest := strings.Join(values, "")
	for i, v := range values {
		values[i], rest = rest[:len(v)], rest[len(v):]
	}
	return values
}

// finish makes sure that all files end where the last row does.
func (r *Reader) finish() error {
	if n := int64(r.shp.record); n != r.dbf.rows {
		return &Error{File: r.dbf.name, Problem: fmt.Sprintf("has %d rows, but the .shp has %d shapes", r.dbf.rows, n), Remedy: remedySet}
	}
	if err := r.shp.end(); err != nil {
		return err
	}
	if r.shx != nil {
		if err := r.shx.end(); err != nil {
			return err
		}
	}
	return r.dbf.finish()
}

// first reads the first rows, and closes.
func (r *Reader) first(most int) (*Layer, error) {
	defer r.Close()
	rows := make([]Row, 0, min(r.Len(), most, 1<<16))
	for row, err := range r.Rows() {
		if err != nil {
			return nil, err
		}
		if rows = append(rows, row); len(rows) == most {
			break
		}
	}
	l := r.Layer()
	l.Rows = rows
	return &l, nil
}
