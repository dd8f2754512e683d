package ledger

import (
	"database/sql"
	"fmt"
	"math"
	"time"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/life"
)

// queryer is a database or a transaction.
type queryer interface {
	Query(query string, args ...any) (*sql.Rows, error)
}

// rows calls take for every row of a query.
func rows(q queryer, query string, take func(scan func(...any) error) error, args ...any) error {
	r, err := q.Query(query, args...)
	if err != nil {
		return err
	}
	defer r.Close()
	for r.Next() {
		if err := take(r.Scan); err != nil {
			return err
		}
	}
	return r.Err()
}

func (w *writer) query(query string, take func(scan func(...any) error) error) {
	if w.err == nil {
		w.err = rows(w.tx, query, take)
	}
}

// Past is what the last run left, its lines in a working plane.
func (l *Ledger) Past(plane string, grids ...*crs.Grid) (past life.Past, err error) {
	defer func() { err = l.explain(err) }()
	p := &planes{to: plane, grids: grids, from: map[string]*crs.Operation{}}
	past.Records = map[string]life.Record{}
	err = rows(l.db, `SELECT r.key, n.plane, c.line, c.utility, c.cover_m, r.corrected, r.left FROM record r JOIN content c ON c.digest = r.digest JOIN run n ON n.id = c.run WHERE r.until IS NULL`,
		func(scan func(...any) error) error {
			var key, plane, left string
			var rec life.Record
			var line []byte
			var cover sql.NullFloat64
			if err := scan(&key, &plane, &line, &rec.Utility, &cover, &rec.Corrected, &left); err != nil {
				return err
			}
			rec.CoverM, rec.Left = orNaN(cover), leftOf(left)
			rec.Line, err = p.line(line, plane)
			past.Records[key] = rec
			return err
		})
	if err != nil {
		return past, err
	}
	err = rows(l.db, `SELECT p.record, p.utility, p.finding, p.moved, p.tolerance_m, p.left, r.plane FROM proposal p JOIN run r ON r.id = p.run WHERE r.done = 1 ORDER BY p.record`,
		func(scan func(...any) error) error {
			var at life.Proposal
			var line []byte
			var plane, left string
			if err := scan(&at.Record, &at.Utility, &at.Finding, &line, &at.ToleranceM, &left, &plane); err != nil {
				return err
			}
			at.Left = leftOf(left)
			at.Moved, err = p.line(line, plane)
			past.Proposals = append(past.Proposals, at)
			return err
		})
	if err != nil {
		return past, err
	}
	fs, err := readFindings(l.db)
	if err != nil {
		return past, err
	}
	for i := range fs {
		f := &fs[i]
		if f.OnMap, err = p.line(f.onMap, f.plane); err != nil {
			return past, err
		}
		if f.OnTruth, err = p.line(f.onTruth, f.plane); err != nil {
			return past, err
		}
		if f.Decision.OnTruth, err = p.line(f.decidedOn, f.plane); err != nil {
			return past, err
		}
		past.Findings = append(past.Findings, f.Finding)
	}
	return past, nil
}

// stored is a finding whose lines are not read yet.
type stored struct {
	life.Finding
	plane                     string
	onMap, onTruth, decidedOn []byte
}

const findingColumns = `f.id, f.kind, f.record, f.label, f.utility, f.sheet, f.life, f.reason, f.verdict, f.attribution, f.from_m, f.to_m, f.offset_m, f.offset_u_m,
  f.probability, f.sentence, f.on_map, f.on_truth, f.found_first, f.found_last, f.absent, f.word, f.until_day, f.who, f.remark, f.decided, f.decided_m, f.decided_u_m, f.decided_on, f.typed, r.plane`

// readFindings reads every finding as the last run left it, by id.
func readFindings(q queryer) (out []stored, err error) {
	var last string
	err = rows(q, "SELECT coalesce(max(started), '') FROM run WHERE done = 1", func(scan func(...any) error) error { return scan(&last) })
	if err != nil {
		return nil, err
	}
	err = rows(q, "SELECT "+findingColumns+" FROM finding f JOIN run r ON r.id = f.first WHERE f.until IS NULL ORDER BY f.id", func(scan func(...any) error) error {
		f, err := scanFinding(scan)
		if !f.Absent { // as it was, it was found by every run since
			f.Last = unstamp(last)
		}
		out = append(out, f)
		return err
	})
	return out, err
}

func scanFinding(scan func(...any) error) (f stored, err error) {
	var n [7]sql.NullFloat64 // from, to, offset, u, probability, decided on: offset, u
	var first, last, until, decided, typed string
	d := &f.Decision
	err = scan(&f.ID, &f.Kind, &f.Record, &f.Label, &f.Utility, &f.Sheet, &f.Life, &f.Reason, &f.Verdict, &f.Attribution, &n[0], &n[1], &n[2], &n[3],
		&n[4], &f.Sentence, &f.onMap, &f.onTruth, &first, &last, &f.Absent, &d.Word, &until, &d.Who, &d.Remark, &decided, &n[5], &n[6], &f.decidedOn, &typed, &f.plane)
	for i, to := range []*float64{&f.FromM, &f.ToM, &f.OffsetM, &f.OffsetU, &f.Probability, &d.OffsetM, &d.OffsetU} {
		*to = orNaN(n[i])
	}
	f.First, f.Last, d.Until, d.When, f.Typed = unstamp(first), unstamp(last), unstamp(until), unstamp(decided), typedOf(typed)
	return f, err
}

func orNaN(v sql.NullFloat64) float64 {
	if !v.Valid {
		return math.NaN()
	}
	return v.Float64
}

// planes takes lines from the planes of earlier runs to one.
type planes struct {
	to    string
	grids []*crs.Grid
	from  map[string]*crs.Operation
}

func (p *planes) line(blob []byte, plane string) (orb.MultiLineString, error) {
	g, err := wkb.Unmarshal(blob)
	if err != nil {
		return nil, fmt.Errorf("a line in the ledger: %w", err)
	}
	l, ok := g.(orb.MultiLineString)
	if !ok {
		return nil, fmt.Errorf("a line in the ledger is a %T", g)
	}
	if plane == p.to {
		return l, nil
	}
	op := p.from[plane]
	if op == nil {
		if op, err = p.operation(plane); err != nil {
			return nil, err
		}
		p.from[plane] = op
	}
	for _, part := range l {
		for i := range part {
			if part[i], err = op.Apply(part[i]); err != nil {
				return nil, err
			}
		}
	}
	return l, nil
}

func (p *planes) operation(from string) (*crs.Operation, error) {
	a, err := crs.Parse(from)
	if err != nil {
		return nil, err
	}
	b, err := crs.Parse(p.to)
	if err != nil {
		return nil, err
	}
	return crs.NewOperationAt(a, b, crs.Options{Grids: p.grids})
}

// Run is a confirmed run.
type Run struct {
	ID                            int64
	Started                       time.Time
	Folder                        string
	WithinM, OutsideM, UndecidedM float64
}

// Runs lists the confirmed runs, the oldest first.
func (l *Ledger) Runs() (out []Run, err error) {
	err = rows(l.db, "SELECT id, started, folder, within_m, outside_m, undecided_m FROM run WHERE done = 1 ORDER BY id",
		func(scan func(...any) error) error {
			var r Run
			var started string
			err := scan(&r.ID, &started, &r.Folder, &r.WithinM, &r.OutsideM, &r.UndecidedM)
			r.Started = unstamp(started)
			out = append(out, r)
			return err
		})
	return out, l.explain(err)
}
