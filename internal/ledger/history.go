package ledger

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/life"
)

// Told is a finding as a run told of it: at first, and whenever it was no longer
// as it was.
type Told struct {
	Run  int64
	When time.Time
	life.Finding
}

// Findings tells of all findings, or of those of one record by its key or id, run
// by run.
func (l *Ledger) Findings(record string) (out []Told, err error) {
	query := "SELECT r.id, r.started, " + findingColumns + " FROM finding f JOIN run r ON r.id = f.first WHERE r.done = 1 AND (? = '' OR f.record = ? OR f.label = ?) ORDER BY r.id, f.id"
	err = rows(l.db, query, func(scan func(...any) error) error {
		var run int64
		var started string
		f, err := scanFinding(func(to ...any) error { return scan(append([]any{&run, &started}, to...)...) })
		out = append(out, Told{run, unstamp(started), f.Finding})
		return err
	}, record, record, record)
	return out, l.explain(err)
}

// Decided is what was typed about a finding, and the run that first read it.
type Decided struct {
	Run     int64
	When    time.Time
	Finding string
	life.Typed
}

// Decisions lists what was typed about all findings, or those of one record.
func (l *Ledger) Decisions(record string) (out []Decided, err error) {
	query := `SELECT r.id, r.started, d.finding, d.word, d.until_day, d.who, d.remark FROM decision d JOIN run r ON r.id = d.run
WHERE r.done = 1 AND (? = '' OR EXISTS (SELECT 1 FROM finding f WHERE f.id = d.finding AND (f.record = ? OR f.label = ?))) ORDER BY r.id, d.finding`
	err = rows(l.db, query, func(scan func(...any) error) error {
		var d Decided
		var started string
		err := scan(&d.Run, &started, &d.Finding, &d.Word, &d.Until, &d.Who, &d.Remark)
		d.When = unstamp(started)
		out = append(out, d)
		return err
	}, record, record, record)
	return out, l.explain(err)
}

// Change is a record that came to the map, changed, or left it.
type Change struct {
	Run       int64
	When      time.Time
	Key, ID   string
	Gone      bool
	First     bool // it was not there before
	Corrected bool // it is as it was proposed
}

// Changes lists what became of all records, or of one by its key or id, since the
// first run.
func (l *Ledger) Changes(record string) (out []Change, err error) {
	const query = `
SELECT r.id, r.started, x.key, c.record, 0, NOT EXISTS (SELECT 1 FROM record y WHERE y.key = x.key AND y.first < x.first), x.corrected
  FROM record x JOIN run r ON r.id = x.first JOIN content c ON c.digest = x.digest
  WHERE r.done = 1 AND x.first > (SELECT min(id) FROM run WHERE done = 1)
UNION ALL
SELECT r.id, r.started, x.key, c.record, 1, 0, 0
  FROM record x JOIN run r ON r.id = x.until JOIN content c ON c.digest = x.digest
  WHERE r.done = 1 AND NOT EXISTS (SELECT 1 FROM record y WHERE y.key = x.key AND y.first = x.until)
ORDER BY 1, 3`
	err = rows(l.db, query, func(scan func(...any) error) error {
		var c Change
		var started, attributes string
		if err := scan(&c.Run, &started, &c.Key, &attributes, &c.Gone, &c.First, &c.Corrected); err != nil {
			return err
		}
		var rec struct{ ID string }
		if err := json.Unmarshal([]byte(attributes), &rec); err != nil {
			return err
		}
		c.When, c.ID = unstamp(started), rec.ID
		if record == "" || c.Key == record || c.ID == record {
			out = append(out, c)
		}
		return nil
	})
	return out, l.explain(err)
}

// Standing is a record as it stood on a day.
type Standing struct {
	Key, ID, Utility, Sheet string
	CoverM                  float64
	Corrected               bool
	Attributes              json.RawMessage     // as the source had them, an object of texts
	Line                    orb.MultiLineString // WGS 84, longitude and latitude
}

// AsOf is the map as the last run up to the end of a day, UTC, had it.
func (l *Ledger) AsOf(day time.Time, grids ...*crs.Grid) (run Run, out []Standing, err error) {
	runs, err := l.Runs()
	if err != nil {
		return run, nil, err
	}
	for i := range runs {
		if runs[i].Started.Before(day.UTC().AddDate(0, 0, 1)) {
			run = runs[i]
		}
	}
	if run.ID == 0 {
		return run, nil, fmt.Errorf("no run is known up to %s", day.Format(time.DateOnly))
	}
	p := &planes{to: "EPSG:4326", grids: grids, from: map[string]*crs.Operation{}}
	const query = `SELECT x.key, c.utility, c.sheet, c.cover_m, x.corrected, c.record, c.line, n.plane FROM record x JOIN content c ON c.digest = x.digest JOIN run n ON n.id = c.run
WHERE x.first <= ? AND (x.until IS NULL OR x.until > ?) ORDER BY x.key`
	err = rows(l.db, query, func(scan func(...any) error) error {
		var s Standing
		var cover sql.NullFloat64
		var text, plane string
		var line []byte
		err := scan(&s.Key, &s.Utility, &s.Sheet, &cover, &s.Corrected, &text, &line, &plane)
		if err != nil {
			return err
		}
		var rec struct {
			ID         string
			Attributes json.RawMessage
		}
		if err := json.Unmarshal([]byte(text), &rec); err != nil {
			return err
		}
		s.ID, s.Attributes, s.CoverM = rec.ID, rec.Attributes, orNaN(cover)
		s.Line, err = p.line(line, plane)
		out = append(out, s)
		return err
	}, run.ID, run.ID)
	return run, out, l.explain(err)
}
