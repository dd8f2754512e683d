package read

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
)

// rowsPerLook is how many rows are read between two looks at the context.
const rowsPerLook = 4096

// readTable streams a file's rows through what bind returns, and keeps their
// account. used lists the places of the rows taken so far, which are rejected
// when the file turns out to be broken or too bad: then it is set aside. The
// only errors are the context's, and an epoch that the config lacks.
func (a *account) readTable(ctx context.Context, file File, maxRejectShare float64, bind func(*binder) func(*row) fault, used func() []survey.Place) error {
	identified, err := a.identifyBeside(file)
	if err != nil {
		a.setAside("it cannot be read: "+plainError(file, err), nil)
		return nil
	}
	t, err := openTable(file)
	if err != nil {
		a.setAside("it cannot be read: "+plainError(file, cmp.Or(identified(), err)), nil)
		return nil
	}
	defer t.close()
	b := &binder{table: t}
	if t.unfit != nil {
		b.problems = append(b.problems, t.unfit)
	}
	use := bind(b)
	if err := b.err(); err != nil {
		if missing := epochMissing(file, err); missing != nil {
			return missing
		}
		reason := strings.ReplaceAll(err.Error(), "\n", "; ")
		use = func(*row) fault { return fault{reason: "its file is set aside: " + reason} }
		a.SetAside = reason
	}
	err = a.stream(ctx, t, use)
	if fault := identified(); err == nil {
		err = fault
	}
	if err != nil {
		if ctx.Err() != nil {
			return err
		}
		a.SetAside = fmt.Sprintf("it is broken after row %d: %s", a.Rows, plainError(file, err))
	}
	if a.SetAside == "" {
		a.SetAside = a.tooBad(maxRejectShare)
	}
	a.Notes = append(a.Notes, t.notes...)
	if a.Rows == 0 && a.SetAside == "" {
		a.Notes = append(a.Notes, "it names its columns, but has no rows")
	}
	if a.SetAside != "" {
		a.setAside(a.SetAside, used())
	} else {
		a.Notes = append(a.Notes, a.odd.lines()...)
	}
	return a.addSiblings(file, t.siblings)
}

func (a *account) stream(ctx context.Context, t *table, use func(*row) fault) error {
	for r, err := range ahead(t.rows) {
		if err != nil {
			return err
		}
		if a.Rows++; a.Rows%rowsPerLook == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if f := use(r); f.reason != "" {
			a.reject(r, f)
		}
	}
	return nil
}

// system is the coordinate system of the table's positions.
func (b *binder) system(file File) *crs.System {
	s, err := parseSystem(file, b.table.crs)
	if err != nil {
		b.problems = append(b.problems, err)
		return nil
	}
	return s
}

// reached says how positions of the source reach the plane.
func (a *account) reached(file File, p projection) {
	if p.operation == nil {
		return
	}
	a.file, a.to = file, p
	a.CRS = p.from.Name()
	a.Operation = p.operation.Name()
	a.OperationM = p.operation.AccuracyM()
	a.Notes = append(a.Notes, p.from.Notes()...)
}

// plainError is an error's text without the path that the source's name
// stands for already.
func plainError(file File, err error) string {
	var path *fs.PathError
	if errors.As(err, &path) && path.Path == file.Path {
		err = path.Err
	}
	return strings.TrimPrefix(err.Error(), file.Path+": ")
}
