package synth

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// rowKey is a reading in the files: of two surveys of one town, the same one.
type rowKey struct {
	file string
	row  int
}

// Matches are what a perfect matching makes of a survey of the town, whether read
// from its files or the town's own: every undisturbed reading is used for the
// record that shows the line that was measured, a jumped one too; what a perfect
// signal trust would distrust (moved by a neighbour, not a fixed position) is.
func (t *Town) Matches(s *survey.Survey) [][]survey.Match {
	type told struct {
		trace   *Trace
		reading *Reading
	}
	truth := map[rowKey]told{}
	for i := range t.Truth.Traces {
		tr := &t.Truth.Traces[i]
		for k := range tr.Readings {
			truth[rowKey{tr.File, tr.Readings[k].Row}] = told{tr, &tr.Readings[k]}
		}
	}
	d := newPerfect(t, s)
	out := make([][]survey.Match, len(s.Traces))
	for i := range s.Traces {
		tr := &s.Traces[i]
		out[i] = make([]survey.Match, len(tr.Readings))
		for k := range tr.Readings {
			rd := &tr.Readings[k]
			m := &out[i][k]
			*m = survey.Match{Record: -1, Probability: 1, Inflate: 1, StationM: math.NaN(), OffsetM: math.NaN(), Status: survey.StatusUnmapped}
			r, ok := truth[rowKey{rd.File, rd.Row}]
			if !ok {
				continue
			}
			d.place(m, rd.Point, r.reading.Line)
			switch {
			case rd.Duplicate != nil:
				m.Status = survey.StatusDuplicate
			case m.Record < 0:
			case r.reading.Distorted || r.reading.Float:
				m.Status = survey.StatusUntrusted
			case rd.Mode == survey.ModeSonde:
				m.Status = survey.StatusSonde
			default:
				m.Status = survey.StatusUsed
			}
		}
		d.direct(tr, out[i])
	}
	return out
}

// perfect is a survey's map with what is wrong with its sheets.
type perfect struct {
	lines  []lineref.Line // per record of the survey
	shifts []orb.Point    // per record: what to add to a reading to have it where the sheet has it, grid metres
	of     map[int][]int  // per true line: the records that show it
}

func newPerfect(t *Town, s *survey.Survey) *perfect {
	d := &perfect{lines: make([]lineref.Line, len(s.Records)), shifts: make([]orb.Point, len(s.Records)), of: map[int][]int{}}
	sheets := map[string]*Sheet{}
	for i := range t.Truth.Sheets {
		sheets[t.Truth.Sheets[i].Name] = &t.Truth.Sheets[i]
	}
	records := map[string]*Record{}
	for i := range t.Truth.Records {
		r := &t.Truth.Records[i]
		records[(&survey.Record{Source: r.Source, ID: r.ID}).Key()] = r
	}
	for i := range s.Records {
		rec := &s.Records[i]
		d.lines[i] = lineref.New(rec.Parts, rec.Scale)
		r := records[rec.Key()]
		if r == nil {
			continue
		}
		if r.Line >= 0 {
			d.of[r.Line] = append(d.of[r.Line], i)
		}
		if sh := sheets[r.Sheet]; sh != nil && len(r.Points) > 0 {
			e, n := sh.At(t.Frame, r.Points[0])
			d.shifts[i] = t.Frame.grid(vector{-e, -n})
		}
	}
	return d
}

// place puts a reading of a true line on the record that shows it best.
func (d *perfect) place(m *survey.Match, p orb.Point, line int) {
	best := math.Inf(1)
	for _, r := range d.of[line] {
		at := orb.Point{p[0] + d.shifts[r][0], p[1] + d.shifts[r][1]}
		f, ok := d.lines[r].Nearest(at)
		if !ok || math.Abs(f.OffsetM) >= best {
			continue
		}
		best = math.Abs(f.OffsetM)
		raw := d.lines[r].OnSegment(f.Part, f.Segment, p)
		m.Record, m.Part, m.Segment, m.StationM = r, f.Part, f.Segment, f.StationM
		m.OffsetM, m.AtEnd = raw.OffsetM, !f.Square
	}
}

// direct says in which direction each stretch on one record was walked.
func (d *perfect) direct(tr *survey.Trace, ms []survey.Match) {
	for i := range ms {
		if ms[i].Record < 0 {
			continue
		}
		h := d.lines[ms[i].Record].Direction(ms[i].Part, ms[i].Segment)
		a, b := tr.Readings[max(i-1, 0)].Point, tr.Readings[min(i+1, len(ms)-1)].Point
		ms[i].Against = (b[0]-a[0])*h[0]+(b[1]-a[1])*h[1] < 0
	}
}
