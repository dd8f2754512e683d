package publish

import (
	"fmt"
	"math"
	"strconv"

	"github.com/asfound/asfound/pipeline/survey"
)

// findingRow is one row of the report's findings table. The Sort fields are what
// its columns sort by.
type findingRow struct {
	Anchor, ID, Kind, Record, Utility, Sheet string
	Verdict, Symbol                          string
	From, To, Offset, OffsetU                string
	Probability, Attribution, Tolerance      string
	Sentence                                 string
	Rank                                     int
	Size                                     string // magnitude of the offset, to sort by
	Detail                                   string // anchor of the record's details; its own without any
	Focus                                    string // viewBox of the map
	UtilityClass                             string
}

func findingAnchor(i int) string { return "#f" + strconv.Itoa(i) }

func (e *edition) findingRows(order []int, c *choice, m *mapView) []findingRow {
	var rows []findingRow
	for rank, i := range order[:min(len(order), maxFindings)] {
		f := &e.Findings[i]
		r := findingRow{
			Anchor: findingAnchor(i)[1:], ID: f.ID, Kind: string(f.Kind), Record: e.label(f.Record), Utility: f.Utility, Sheet: f.Sheet,
			Verdict: string(f.Verdict), Symbol: symbols[f.Verdict], Offset: signed(f.OffsetM, 2), OffsetU: fixed(1.96*f.OffsetU, 2),
			Probability: fixed(f.Probability, 3), Attribution: string(f.Attribution), Tolerance: fixed(f.ToleranceM, 2),
			Sentence: f.Sentence, Rank: rank + 1, Size: fixed(math.Abs(f.OffsetM), 4), UtilityClass: utilityClass(f.Utility),
		}
		if f.ToM > f.FromM {
			r.From, r.To = fixed(f.FromM, 1), fixed(f.ToM, 1)
		}
		if f.Record >= 0 {
			r.Detail = detailAnchor(f.Record)
		}
		focus := f.Line
		if len(focus) == 0 && f.Record >= 0 {
			focus = e.Survey.Records[f.Record].Parts
		}
		r.Focus = m.focus(focus)
		rows = append(rows, r)
	}
	return rows
}

func detailAnchor(record int) string { return "r" + strconv.Itoa(record) }

// detail is what the report says of one record with findings.
type detail struct {
	Anchor, Record, Utility, UtilityClass, Sheet string
	Position, Depth, Attribution                 string
	Length, Covered, Tolerance                   string
	Worst, Moved                                 string
	Sentences                                    []fact // finding id, sentence
	Offsets, Cover                               *profile
	Shares                                       []shareBar
}

// shareBar is one part of a record's raw difference, as a bar to the left or
// right of nothing.
type shareBar struct{ Name, Value, X, Width string }

func (e *edition) details(order []int, c *choice) []detail {
	shown := c.records[:min(len(c.records), c.withFindings, maxDetails)]
	want := make(map[int]bool, len(shown))
	for _, rec := range shown {
		want[rec] = true
	}
	offsets, covers := e.samples(want)
	sentences := map[int][]fact{}
	for _, i := range order {
		if f := &e.Findings[i]; want[f.Record] {
			sentences[f.Record] = append(sentences[f.Record], fact{Name: f.ID, Value: f.Sentence})
		}
	}
	out := make([]detail, 0, len(shown))
	for _, rec := range shown {
		d := e.detail(rec)
		d.Sentences = sentences[rec]
		d.Offsets = e.offsetProfile(rec, offsets[rec])
		d.Cover = e.coverProfile(rec, covers[rec])
		out = append(out, d)
	}
	return out
}

// samples gathers the readings of some records, as measured.
func (e *edition) samples(want map[int]bool) (offsets, covers map[int][]sample) {
	offsets, covers = map[int][]sample{}, map[int][]sample{}
	for t := range e.Survey.Traces {
		for i := range e.Survey.Traces[t].Readings {
			m := e.match(t, i)
			if !want[m.Record] {
				continue
			}
			s := sample{m.Part, m.StationM, m.OffsetM, 0, m.Status == survey.StatusUsed}
			offsets[m.Record] = append(offsets[m.Record], s)
			if s.value = e.coverDifference(t, i); !math.IsNaN(s.value) {
				covers[m.Record] = append(covers[m.Record], s)
			}
		}
	}
	return offsets, covers
}

func (e *edition) detail(i int) detail {
	rec := &e.Survey.Records[i]
	d := detail{
		Anchor: detailAnchor(i), Record: e.labels[i], Utility: orNone(rec.Utility), UtilityClass: utilityClass(rec.Utility), Sheet: orNone(rec.Sheet),
		Length: lengthWords(groundLength(rec)),
	}
	if j := e.judgement(i); j != nil {
		d.Position, d.Depth, d.Attribution = verdictWords(j.Position), verdictWords(j.Depth), string(j.Attribution)
		d.Covered = lengthWords(j.CoveredM)
		d.Tolerance = fmt.Sprintf("± %s m across, ± %s m in depth", fixed(j.Tolerance.HorizontalM, 2), fixed(j.Tolerance.DepthM, 2))
		if j.Tolerance.Rule != "" {
			d.Tolerance += " (" + j.Tolerance.Rule + ")"
		}
		if j.CoveredM > 0 && !math.IsNaN(j.WorstM) {
			d.Worst = fmt.Sprintf("%s m ± %s m (95 %%)", signed(j.WorstM, 2), fixed(1.96*j.WorstU, 2))
		}
	}
	if c := e.correction(i); c != nil {
		d.Moved = fmt.Sprintf("%s m at most, ± %s m (95 %%)", fixed(c.MovedM, 2), fixed(1.96*c.U, 2))
		if c.Neighbor {
			d.Moved += ", following a neighbour at a shared end"
		}
	}
	if p := e.profile(i); p != nil && p.Shares.Readings > 0 {
		d.Shares = shareBars(&p.Shares)
	}
	return d
}

// shareBars splits a raw difference into bars on one scale.
func shareBars(s *survey.Shares) []shareBar {
	parts := []struct {
		name string
		m    float64
	}{
		{"raw difference", s.RawM},
		{"the sheet's shift", s.SheetM},
		{"the record's own shift", s.OwnM},
		{"local to the record", s.LocalM},
		{"session", s.SessionM},
		{"source of positions", s.SourceM},
		{"trace bias", s.BiasM},
		{"noise", s.NoiseM},
	}
	most := 0.01
	for _, p := range parts {
		if !math.IsNaN(p.m) {
			most = max(most, math.Abs(p.m))
		}
	}
	var bars []shareBar
	for _, p := range parts {
		half := 0.0
		if !math.IsNaN(p.m) {
			half = 95 * p.m / most
		}
		bars = append(bars, shareBar{p.name, signed(p.m, 2), fixed(100+min(half, 0), 1), fixed(max(math.Abs(half), 0.8), 1)})
	}
	return bars
}

func verdictWords(v survey.Verdict) string {
	if v == survey.VerdictNone {
		return "no statement"
	}
	return symbols[v] + " " + string(v)
}

// effectRow is one row of the sheets, sessions and sources.
type effectRow struct {
	Kind, Name, Readings, Records, Checks string
	East, EastU, North, NorthU            string
	Significant                           bool
	Explanation                           string
	Arrow                                 string // path of the vector in a box from -20 to 20
}

// effectRows are the effects, significant ones first.
func (e *edition) effectRows() []effectRow {
	var rows, rest []effectRow
	most := 0.01
	for _, f := range e.effects() {
		most = max(most, math.Hypot(f.V.East, f.V.North))
	}
	for _, f := range e.effects() {
		r := effectRow{
			Kind: string(f.Kind), Name: f.Name, Readings: grouped(f.Readings), Records: grouped(f.Records), Checks: grouped(f.Checks),
			East: signed(f.V.East, 2), EastU: fixed(1.96*math.Sqrt(f.V.EE), 2), North: signed(f.V.North, 2), NorthU: fixed(1.96*math.Sqrt(f.V.NN), 2),
			Significant: f.Significant, Explanation: f.Explanation, Arrow: arrow(17*f.V.East/most, -17*f.V.North/most),
		}
		if f.Significant {
			rows = append(rows, r)
		} else {
			rest = append(rest, r)
		}
	}
	rows = append(rows, rest...)
	return rows[:min(len(rows), maxRows)]
}

// arrow is the path of an arrow from the middle to (x, y).
func arrow(x, y float64) string {
	d := math.Hypot(x, y)
	if !(d > 0.5) {
		return ""
	}
	const head = 5
	ux, uy := x/d, y/d
	b := appendXY(appendXY(nil, 'M', 0, 0), 'L', x, y)
	b = appendXY(b, 'M', x-head*(ux+uy/2), y-head*(uy-ux/2))
	b = appendXY(b, 'L', x, y)
	return string(appendXY(b, 'L', x-head*(ux-uy/2), y-head*(uy+ux/2)))
}

// inputRow is one input file and the account of its rows.
type inputRow struct {
	Name, Role, Rows, Used, Duplicates, Rejected, CRS, Operation, SHA256, SetAside string
}

func (e *edition) inputRows() []inputRow {
	var rows []inputRow
	for i := range e.Survey.Sources {
		s := &e.Survey.Sources[i]
		rows = append(rows, inputRow{
			s.Name, string(s.Role), grouped(s.Rows), grouped(s.Used), grouped(s.Duplicates), grouped(s.Rejected),
			s.CRS, s.Operation, s.SHA256, s.SetAside,
		})
	}
	return rows
}
