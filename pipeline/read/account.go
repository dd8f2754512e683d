package read

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// blankRow is the reason for a row with nothing in it.
const blankRow = "blank row"

// fewRows is how many bad rows set no file aside, whatever their share.
const fewRows = 3

// account keeps the books of one source: every row is used, rejected or, later
// on, found to be a duplicate.
type account struct {
	survey.Source
	rejects []survey.Reject
	bad     int  // rejected rows that held something
	located bool // the extent holds a position
	file    File
	to      projection // how its positions reach the plane; zero if that was not told
	known   projection // of known positions of control checks that are in another system
	sample  sample     // of its positions as they stand in the file
	reasons map[string]string
	odd     oddities
}

func (a *account) reject(r *row, f fault) {
	a.Rejected++
	if f.reason != blankRow {
		a.bad++
	}
	if a.reasons == nil {
		a.reasons = map[string]string{}
	}
	reason, met := a.reasons[f.reason]
	if !met {
		reason = f.reason
		a.reasons[reason] = reason
	}
	a.rejects = append(a.rejects, survey.Reject{
		Place:  survey.Place{File: a.Label(), Row: r.number, Line: r.line, Field: f.field},
		Value:  excerpt(f.value),
		Reason: reason,
	})
}

// use counts a row whose reading lies at p, taken at t.
func (a *account) use(p orb.Point, t time.Time) {
	a.extend(p)
	a.Used++
	if t.IsZero() {
		return
	}
	if a.First.IsZero() || t.Before(a.First) {
		a.First = t
	}
	if t.After(a.Last) {
		a.Last = t
	}
}

func (a *account) extend(p orb.Point) {
	if !a.located {
		a.located = true
		a.West, a.East, a.South, a.North = p[0], p[0], p[1], p[1]
		return
	}
	a.West, a.East = min(a.West, p[0]), max(a.East, p[0])
	a.South, a.North = min(a.South, p[1]), max(a.North, p[1])
}

// tooBad says why so many bad rows make the whole source doubtful; "" if they
// are few.
func (a *account) tooBad(share float64) string {
	if a.bad <= fewRows || float64(a.bad) <= share*float64(a.Rows) {
		return ""
	}
	byReason := map[string]int{}
	for _, r := range a.rejects {
		if r.Reason != blankRow {
			byReason[strings.TrimSpace(r.Field+" "+r.Reason)]++
		}
	}
	first := slices.MinFunc(slices.Sorted(maps.Keys(byReason)), func(x, y string) int { return byReason[y] - byReason[x] })
	return fmt.Sprintf("%d of %d rows are bad, more than %g %%; most often: %s (%d rows)",
		a.bad, a.Rows, 100*share, first, byReason[first])
}

// setAside rejects the source as a whole, with the rows that were used so far.
func (a *account) setAside(reason string, used []survey.Place) {
	a.SetAside = reason
	ofFile := "its file is set aside: " + reason
	for _, p := range used {
		a.rejects = append(a.rejects, survey.Reject{Place: p, Reason: ofFile})
	}
	slices.SortStableFunc(a.rejects, func(x, y survey.Reject) int { return x.Row - y.Row })
	a.Used, a.Rejected = 0, a.Rows
	a.West, a.East, a.South, a.North = 0, 0, 0, 0
	a.First, a.Last = time.Time{}, time.Time{}
}

// check finds a row that ended in no account, or in two: a fault of this
// program.
func (a *account) check() error {
	if a.Rows != a.Used+a.Duplicates+a.Rejected {
		return fmt.Errorf("%s: %d rows were read, but %d used + %d duplicates + %d rejected: the account does not add up, please report this",
			a.Label(), a.Rows, a.Used, a.Duplicates, a.Rejected)
	}
	return nil
}

// excerpt is a value short and clean enough for a message.
func excerpt(s string) string {
	const most = 200
	s = validText(s)
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "..."
	}
	return strings.Clone(s)
}

// oddities counts what a person should know though no row is rejected for it.
type oddities map[string]*oddity

type oddity struct {
	count    int
	examples []string // the first few in order of text, whatever the rows' order
}

// note counts a value under what is odd about it.
func (o oddities) note(what, value string) {
	const most = 3
	n := o[what]
	if n == nil {
		n = &oddity{}
		o[what] = n
	}
	n.count++
	at, known := slices.BinarySearch(n.examples, value)
	if value == "" || known || at == most {
		return
	}
	n.examples = slices.Insert(n.examples, at, excerpt(value))
	n.examples = n.examples[:min(len(n.examples), most)]
}

// lines are the oddities as notes.
func (o oddities) lines() []string {
	var lines []string
	for _, what := range slices.Sorted(maps.Keys(o)) {
		n := o[what]
		line := what + " (" + words.Count(n.count, "row", "rows")
		if len(n.examples) > 0 {
			line += fmt.Sprintf(": %q", n.examples)
		}
		lines = append(lines, line+")")
	}
	return lines
}
