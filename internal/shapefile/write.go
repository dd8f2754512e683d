package shapefile

import (
	"cmp"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/jonas-p/go-shp"
)

// Write writes .shp, .shx, .dbf, .cpg (UTF-8) and, if the layer has a
// projection, .prj. The path is that of the .shp. The same layer gives the same
// bytes. Reading them back gives the layer, with Number counted anew and texts
// trimmed.
//
// The files are made aside and appear under their names when they are whole and
// have been read back; a set that was there before is replaced, with its spatial
// index.
func Write(name string, l *Layer) (err error) {
	if !isShp(name) {
		return &Error{File: name, Problem: "does not end in .shp", Remedy: "name a .shp file"}
	}
	if err := check(name, l); err != nil {
		return err
	}
	dir, base := filepath.Split(name)
	aside, err := os.MkdirTemp(cmp.Or(dir, "."), ".shapefile-*")
	if err != nil {
		return &Error{File: name, Problem: "its folder cannot be written to", Err: cause(err), Remedy: remedyDisk}
	}
	defer os.RemoveAll(aside)
	base = stem(base)
	made := filepath.Join(aside, base)
	if err := encode(made, l); err != nil {
		return unwritable(name, err)
	}
	if err := finishFiles(made, l); err != nil {
		return unwritable(name, err)
	}
	if err := readBack(made+".shp", len(l.Rows)); err != nil {
		return unwritable(name, err)
	}
	if err := replace(filepath.Join(dir, base), made); err != nil {
		return unwritable(name, err)
	}
	return nil
}

func unwritable(name string, err error) error {
	return &Error{File: name, Problem: "cannot be written", Err: cause(err), Remedy: remedyDisk}
}

// encode has go-shp write .shp, .shx and .dbf. It says nothing of a full disk:
// readBack finds that.
func encode(made string, l *Layer) error {
	w, err := shp.Create(made+".shp", shp.ShapeType(l.Type))
	if err != nil {
		return err
	}
	fields := make([]shp.Field, len(l.Fields))
	for i, f := range l.Fields {
		fields[i] = shp.Field{Fieldtype: f.Type, Size: uint8(f.Length), Precision: uint8(f.Decimals)}
		copy(fields[i].Name[:], f.Name)
	}
	if err := w.SetFields(fields); err != nil {
		return err
	}
	for i := range l.Rows {
		row := &l.Rows[i]
		w.Write(shapeOf(row, l.Type))
		for k, f := range l.Fields {
			if err := w.WriteAttribute(i, k, padded(row.Values[k], f)); err != nil {
				w.Close()
				return err
			}
		}
	}
	w.Close()
	return nil
}

// padded fills a value up to the width of its column: numbers to the left,
// other values to the right. Blanks stand for null.
func padded(value string, f Field) string {
	value = trim(value)
	blanks := strings.Repeat(" ", max(0, f.Length-len(value)))
	switch f.Type {
	case 'N', 'F':
		return blanks + value
	case 'L':
		return cmp.Or(value, "?") + blanks[min(len(blanks), max(0, 1-len(value))):]
	}
	return value + blanks
}

// readBack reads a written set through the guard.
func readBack(name string, rows int) error {
	r, err := Open(name)
	if err != nil {
		return err
	}
	defer r.Close()
	for _, err := range r.Rows() {
		if err != nil {
			return err
		}
	}
	if r.Len() != rows {
		return &Error{File: name, Problem: "does not have the rows that were written", Remedy: remedyDisk}
	}
	return nil
}

// replace moves the files of a set to their names, the .shp last, and removes
// what is left of an older set.
func replace(target, made string) error {
	list, err := os.ReadDir(cmp.Or(filepath.Dir(target), "."))
	if err != nil {
		return err
	}
	old := []string{".shp", ".shx", ".dbf", ".prj", ".cpg", ".qix", ".sbn", ".sbx"}
	for _, e := range list {
		ext := filepath.Ext(e.Name())
		if stem(e.Name()) == filepath.Base(target) && slices.Contains(old, strings.ToLower(ext)) {
			if err := os.Remove(target + ext); err != nil {
				return err
			}
		}
	}
	for _, ext := range []string{".shx", ".dbf", ".cpg", ".prj", ".shp"} {
		err := os.Rename(made+ext, target+ext)
		if err != nil && !(ext == ".prj" && os.IsNotExist(err)) {
			return err
		}
	}
	return nil
}
