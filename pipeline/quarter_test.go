package pipeline_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"hash/fnv"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"github.com/xuri/excelize/v2"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/survey"
)

// quarter is a made-up town over some nights: every night some more of what its
// crews walked comes in; once a week somebody decides what is in the workbook, and
// what was accepted before goes into the map, some of it drawn by hand.
type quarter struct {
	t      *testing.T
	town   *synth.Town
	dir    string
	nights int
	walked int // nights on which crews' traces come in, from the first on
	week   int // nights in it
	lines  []orb.LineString
	ids    []string
	redone map[int]bool // drawn by hand

	rows   []night
	seen   map[string][]survey.Life // per finding and night; "" not found
	sheets map[string][]survey.Effect
}

// night is a row of the table.
type night struct {
	readings                             int
	surveyedM, withinM                   float64
	found, accepted, rejected, corrected int
	seconds                              float64 // of a processor
}

func newQuarter(t *testing.T, seed uint64, nights, walked, week int) *quarter {
	p, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	q := &quarter{
		t: t, town: synth.Make(seed, p), dir: t.TempDir(), nights: nights, walked: walked, week: week,
		redone: map[int]bool{}, seen: map[string][]survey.Life{}, sheets: map[string][]survey.Effect{},
	}
	if _, err := q.town.Write(q.dir, synth.WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	s := q.town.Survey()
	for i := range s.Records {
		q.lines = append(q.lines, s.Records[i].Parts[0])
		q.ids = append(q.ids, s.Records[i].ID)
	}
	q.deal()
	q.configure()
	return q
}

// deal puts the crews' traces into a file a night, in the order of time.
func (q *quarter) deal() {
	type walk struct {
		began string
		rows  [][]string
	}
	walks := map[string]*walk{}
	var header []string
	files, err := filepath.Glob(filepath.Join(q.dir, "field", "*.csv"))
	q.check(err)
	for _, path := range files {
		f, err := os.Open(path)
		q.check(err)
		rows, err := csv.NewReader(f).ReadAll()
		q.check(err)
		q.check(f.Close())
		q.check(os.Remove(path))
		header = rows[0]
		for _, row := range rows[1:] {
			key := path + row[0]
			if walks[key] == nil {
				walks[key] = &walk{began: row[1]}
			}
			walks[key].rows = append(walks[key].rows, row)
		}
	}
	var all []*walk
	for _, w := range walks {
		all = append(all, w)
	}
	slices.SortFunc(all, func(a, b *walk) int { return strings.Compare(a.began+a.rows[0][0], b.began+b.rows[0][0]) })
	q.check(os.Mkdir(filepath.Join(q.dir, "later"), 0o755))
	for n := range q.walked {
		out := [][]string{header}
		for _, w := range all[n*len(all)/q.walked : (n+1)*len(all)/q.walked] {
			out = append(out, w.rows...)
		}
		f, err := os.Create(filepath.Join(q.dir, "later", nightFile(n)))
		q.check(err)
		q.check(csv.NewWriter(f).WriteAll(out))
		q.check(f.Close())
	}
}

func nightFile(n int) string { return fmt.Sprintf("night-%02d.csv", n) }

func (q *quarter) check(err error) {
	q.t.Helper()
	if err != nil {
		q.t.Fatal(err)
	}
}

// configure makes the town's config one of a map that is edited: GeoJSON in the
// plane, with a column for the utility.
func (q *quarter) configure() {
	path := filepath.Join(q.dir, "asfound.yaml")
	text, err := os.ReadFile(path)
	q.check(err)
	_, rest, _ := strings.Cut(string(text), "field:\n")
	head := fmt.Sprintf(`job: A quarter
output: out
plane: %q
records:
  - path: map.geojson
    crs: %q
    utility: {column: UTIL}
    conductor: {column: COND}
    columns: {id: ID, sheet: DRAWING, diameter: {name: DIA_M, unit: m}, cover: {name: COVER_M, unit: m}}
field:
`, q.town.Frame.Plane, q.town.Frame.Plane)
	rest = strings.Replace(rest, "apply: proposed", "apply: accepted", 1)
	q.check(os.WriteFile(path, []byte(head+rest), 0o644))
}

// writeMap writes the map as it stands.
func (q *quarter) writeMap() {
	var b strings.Builder
	b.WriteString(`{"type":"FeatureCollection","features":[`)
	s := q.town.Survey()
	for i := range s.Records {
		r := &s.Records[i]
		if i > 0 {
			b.WriteString(",")
		}
		fmt.Fprintf(&b, "\n"+`{"type":"Feature","properties":{"ID":%q,"UTIL":%q,"DRAWING":%q,"COND":%q`, q.ids[i], r.Utility, r.Sheet, r.Conductor)
		for _, c := range []struct {
			name string
			v    float64
		}{{"DIA_M", r.DiameterM}, {"COVER_M", r.CoverM}} {
			if !math.IsNaN(c.v) {
				fmt.Fprintf(&b, ",%q:%.3f", c.name, c.v)
			}
		}
		b.WriteString(`},"geometry":{"type":"LineString","coordinates":[`)
		for k, p := range q.lines[i] {
			if k > 0 {
				b.WriteString(",")
			}
			fmt.Fprintf(&b, "[%.4f,%.4f]", p[0], p[1])
		}
		b.WriteString("]}}")
	}
	b.WriteString("\n]}\n")
	q.check(os.WriteFile(filepath.Join(q.dir, "map.geojson"), []byte(b.String()), 0o644))
}

// pass lets night n pass.
func (q *quarter) pass(n int) *survey.Result {
	if n < q.walked {
		q.check(os.Rename(filepath.Join(q.dir, "later", nightFile(n)), filepath.Join(q.dir, "field", nightFile(n))))
	}
	q.writeMap()
	c, err := config.Load(filepath.Join(q.dir, "asfound.yaml"))
	q.check(err)
	job := c.Job("test", time.Date(2026, 6, 1+n, 2, 0, 0, 0, time.UTC))
	began := processorSeconds()
	out, err := pipeline.Run(context.Background(), job, slog.New(slog.DiscardHandler), nil)
	q.check(err)
	q.book(n, out.Result, processorSeconds()-began)
	if (n+1)%q.week == 0 {
		q.decide()
		q.edit(out.Result)
	}
	q.check(os.RemoveAll(out.Folder)) // sixty of them fill a disk
	if n < q.walked-1 && n%2 == 0 {   // every other file goes, and still counts
		q.check(os.Remove(filepath.Join(q.dir, "field", nightFile(n))))
	}
	return out.Result
}

// book keeps what a night came to.
func (q *quarter) book(n int, r *survey.Result, seconds float64) {
	row := night{seconds: seconds, found: len(r.Findings)}
	for t := range r.Survey.Traces {
		row.readings += len(r.Survey.Traces[t].Readings)
	}
	for i := range r.Judgements {
		j := &r.Judgements[i]
		row.withinM += j.WithinM
		row.surveyedM += j.WithinM + j.OutsideM + j.UndecidedM
		if r.Survey.Records[i].Corrected {
			row.corrected++
		}
	}
	tonight := map[string]bool{}
	for i := range r.Findings {
		f := &r.Findings[i]
		if tonight[f.ID] {
			q.t.Errorf("night %d: two findings go by %s", n+1, f.ID)
		}
		tonight[f.ID] = true
		switch f.Life {
		case survey.LifeAccepted:
			row.accepted++
		case survey.LifeRejected:
			row.rejected++
		}
	}
	q.stand(n)
	for _, e := range r.Model.Effects {
		if e.Kind == survey.EffectSheet {
			if q.sheets[e.Name] == nil {
				q.sheets[e.Name] = make([]survey.Effect, q.nights)
			}
			q.sheets[e.Name][n] = e
		}
	}
	q.rows = append(q.rows, row)
}

// stand keeps where every finding stands in the workbook.
func (q *quarter) stand(n int) {
	f, err := excelize.OpenFile(filepath.Join(q.dir, "out", "decisions.xlsx"))
	q.check(err)
	defer f.Close()
	rows, err := f.GetRows("Decisions")
	q.check(err)
	id, status := slices.Index(rows[0], "Finding"), slices.Index(rows[0], "Status")
	for _, row := range rows[1:] {
		if q.seen[row[id]] == nil {
			q.seen[row[id]] = make([]survey.Life, q.nights)
		}
		q.seen[row[id]][n] = survey.Life(row[status])
	}
}

// chance is a number from 0 to 99 that hangs on a text alone.
func chance(text string) int {
	h := fnv.New32a()
	h.Write([]byte(text))
	return int(h.Sum32()>>8) % 100
}

// decide types into the workbook: of what is outside and open, one in eight is
// rejected, the others are accepted.
func (q *quarter) decide() {
	path := filepath.Join(q.dir, "out", "decisions.xlsx")
	f, err := excelize.OpenFile(path)
	q.check(err)
	defer f.Close()
	rows, err := f.GetRows("Decisions")
	q.check(err)
	at := func(head string) int { return slices.Index(rows[0], head) }
	for n, row := range rows[1:] {
		get := func(head string) string {
			if i := at(head); i < len(row) {
				return row[i]
			}
			return ""
		}
		if get("Kind") != "position" || get("Verdict") != "outside" || get("Attribution") != "record" || get("Decision") != "" || !slices.Contains([]string{"new", "open", "reopened"}, get("Status")) {
			continue
		}
		word := "accepted"
		if chance(get("Finding")) < 12 {
			word = "rejected"
		}
		cell, err := excelize.CoordinatesToCellName(at("Decision")+1, n+2)
		q.check(err)
		q.check(f.SetCellStr("Decisions", cell, word))
	}
	q.check(f.Save())
}

// edit puts the lines that were proposed for accepted findings into the map. One
// in five is drawn by hand: other vertices, the other way round, a decimetre off,
// every third of those under another id.
func (q *quarter) edit(r *survey.Result) {
	for k := range r.Corrections {
		c := &r.Corrections[k]
		if !c.Moved {
			continue
		}
		i := slices.Index(q.ids, r.Survey.Records[k].ID)
		line := slices.Clone(c.Parts[0].Line)
		if k := chance(q.ids[i]); !c.Neighbor && k < 20 && !q.redone[i] {
			q.redone[i] = true
			line = byHand(line)
			if k%3 == 0 {
				q.ids[i] += "-R"
			}
		}
		q.lines[i] = line
	}
}

func byHand(line orb.LineString) orb.LineString {
	var out orb.LineString
	for i := len(line) - 1; i >= 0; i-- {
		at := orb.Point{line[i][0] + 0.07, line[i][1] - 0.07}
		if n := len(out); n > 0 {
			out = append(out, orb.Point{(out[n-1][0] + at[0]) / 2, (out[n-1][1] + at[1]) / 2})
		}
		out = append(out, at)
	}
	return out
}

// TestQuarter lets nights pass over a town, as they do in a utility's office:
// records are corrected on the map from what was accepted, some of it by hand, some
// is rejected, in one town at least. With ASFOUND_SLOW it is sixty nights and
// several towns.
func TestQuarter(t *testing.T) {
	towns, nights, walked, week := []uint64{15301}, 6, 2, 2
	if os.Getenv("ASFOUND_SLOW") != "" {
		towns, nights, walked, week = []uint64{15301, 15302, 15303}, 60, 60, 7
	}
	rejected := false
	for _, seed := range towns {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			q := newQuarter(t, seed, nights, walked, week)
			for n := range nights {
				q.pass(n)
			}
			first := newQuarter(t, seed, 1, 1, 1) // all readings, on the map as it was
			first.pass(0)
			q.table(first)
			q.flickers()
			q.shifts(first)
			rejected = rejected || slices.ContainsFunc(q.rows, func(r night) bool { return r.rejected > 0 })
		})
	}
	if !rejected {
		t.Error("nothing was rejected in any town")
	}
}

func (q *quarter) table(uncorrected *quarter) {
	q.t.Log("night  readings  surveyed m  within %  findings  accepted  rejected  corrected  processor s")
	for n, r := range q.rows {
		if (n+1)%q.week == 0 || n == 0 || n == q.nights-1 {
			q.t.Logf("%5d  %8d  %10.0f  %8.1f  %8d  %8d  %8d  %9d  %11.2f", n+1, r.readings, r.surveyedM, 100*r.withinM/r.surveyedM, r.found, r.accepted, r.rejected, r.corrected, r.seconds)
		}
	}
	first, last := uncorrected.rows[0], q.rows[q.nights-1]
	q.t.Logf("of the surveyed length %.1f %% is within, %.1f %% without any correction", 100*last.withinM/last.surveyedM, 100*first.withinM/first.surveyedM)
	if last.withinM/last.surveyedM <= first.withinM/first.surveyedM || last.corrected == 0 {
		q.t.Error("the share within tolerance did not rise, or nothing was corrected")
	}
}

// flickers counts findings that went and came back, also those of places where the
// map was changed in between, and sees that no decision came undone by itself.
func (q *quarter) flickers() {
	n := 0
	for id, lives := range q.seen {
		for k := 1; k < len(lives); k++ {
			was, is := lives[k-1], lives[k]
			if was == survey.LifeGone && is != survey.LifeGone {
				n++
				q.t.Logf("%s came back on night %d", id, k+1)
			}
			undone := (was == survey.LifeAccepted || was == survey.LifeRejected) && (is == survey.LifeOpen || is == survey.LifeNew)
			if undone || was != "" && is == "" {
				q.t.Errorf("%s was %s and is %s on night %d", id, was, is, k+1)
			}
		}
	}
	q.t.Logf("%d of %d findings went and came back", n, len(q.seen))
	if 20*n > len(q.seen) {
		q.t.Error("more than one in twenty")
	}
}

// shifts holds what is said of sheets at the end, when records of theirs have been
// corrected and have left them, against what all readings would say of the map as
// it was at first.
func (q *quarter) shifts(first *quarter) {
	moved, all, offFirst, offEnd, n := 0.0, 0.0, 0.0, 0.0, 0
	for _, sheet := range q.town.Truth.Sheets {
		as, es := first.sheets[sheet.Name], q.sheets[sheet.Name]
		if as == nil || es == nil || es[q.nights-1].Left == 0 || !as[0].Significant {
			continue
		}
		n++
		was, end := as[0].V, &es[q.nights-1]
		moved += math.Hypot(end.V.East-was.East, end.V.North-was.North)
		all += math.Hypot(was.East, was.North)
		offFirst += math.Hypot(was.East-sheet.East, was.North-sheet.North)
		offEnd += math.Hypot(end.V.East-sheet.East, end.V.North-sheet.North)
		q.t.Logf("sheet %s: uncorrected %+.2f %+.2f m (u %.2f m), at the end %+.2f %+.2f m (u %.2f m), %d of %d left; truth %+.2f %+.2f m", sheet.Name,
			was.East, was.North, math.Sqrt(was.EE+was.NN), end.V.East, end.V.North, math.Sqrt(end.V.EE+end.V.NN), end.Left, as[0].Records, sheet.East, sheet.North)
	}
	q.t.Logf("%d shifted sheets whose records left: moved by %.2f m of %.2f m; off the truth by %.2f m uncorrected, %.2f m at the end", n, moved, all, offFirst, offEnd)
	if n == 0 || offEnd > offFirst+all/4 {
		q.t.Error("sheets lost their shifts, or there were none")
	}
}
