package synth

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

var nan = math.NaN()

// townMap is the map before it is put into the survey's words.
type townMap struct {
	sheets  []sheet
	missing []bool // per true line
	records []drawn
}

// drawMap makes the records of a town: sheets, missing lines, drafting, then
// what is drawn twice and what is drawn though nothing is there.
func drawMap(seed uint64, p Map, f Frame, topo *topology, areas []sweep) *townMap {
	m := &townMap{sheets: sheets(seed, p, topo), missing: make([]bool, len(topo.lines))}
	d := roll(seed, phaseExtras, 0)
	if possible := f.blunders(); len(possible) > 0 && len(m.sheets) > 0 {
		for range d.count(p.FrameBlunders) {
			b := possible[d.IntN(len(possible))]
			s := &m.sheets[d.IntN(len(m.sheets))]
			s.blunder, s.shift = b, b.shift(f).plus(d.vector(0.05))
		}
	}
	for l := range m.missing {
		m.missing[l] = d.chance(p.Missing)
	}
	s := &draftsman{p: p, topo: topo, sheets: m.sheets, seed: seed, nodes: map[int]orb.Point{}, ends: map[place]orb.Point{}, lines: map[int]orb.LineString{}}
	s.draft(m.missing)
	s.duplicate(d)
	s.invent(d, areas)
	m.records = s.out
	return m
}

// duplicate draws some lines a second time, on another sheet of the utility: the
// older project's drawing that nobody took off the map.
func (m *draftsman) duplicate(d dice) {
	byUtility := map[string][]int{}
	for i := range m.sheets {
		byUtility[m.sheets[i].utility] = append(byUtility[m.sheets[i].utility], i)
	}
	for i := range len(m.out) {
		if !d.chance(m.p.Duplicated) {
			continue
		}
		r := m.out[i]
		others := byUtility[m.sheets[r.sheet].utility]
		m.record(r.line, others[d.IntN(len(others))], roll(m.seed, phaseExtras, i+1), false)
		m.out[len(m.out)-1].duplicate = i
	}
}

// invent draws lines that are no longer there (or never were): beside a line of
// the same street, as long as it. Some of them lie where somebody swept for just
// that.
func (m *draftsman) invent(d dice, areas []sweep) {
	for l := range m.topo.lines {
		if !m.topo.lines[l].Service && d.chance(m.p.Abandoned) {
			m.ghost(d, l, d.IntN(len(m.sheets)))
		}
	}
	for i := range areas {
		if len(areas[i].lines) == 0 || !d.chance(m.p.AbandonedSwept) {
			continue
		}
		l := areas[i].lines[d.IntN(len(areas[i].lines))]
		for s := range m.sheets {
			if slices.Contains(m.sheets[s].lines, l) {
				m.ghost(d, l, s)
			}
		}
	}
}

// ghost draws a line beside a true one on a sheet.
func (m *draftsman) ghost(d dice, l, s int) {
	offsets := make([]float64, len(m.topo.lines[l].Points))
	aside := d.sign() * d.between([2]float64{0.7, 3})
	for i := range offsets {
		offsets[i] = aside
	}
	r := drawn{line: -1, sheet: s, duplicate: -1, abandoned: true}
	for _, p := range beside(m.topo.lines[l].Points, offsets) {
		r.points = append(r.points, m.sheets[s].draw(moved(p, d.vector(m.p.VertexSigmaM))))
	}
	m.out = append(m.out, r)
}

// publishMap puts the map into the survey's words and the truth beside it.
func (t *Town) publishMap(topo *topology, m *townMap) {
	f := t.Frame
	t.Truth = Truth{Difficulty: Version(), Seed: t.Seed, Frame: f, Lines: make([]Line, len(topo.lines))}
	for i := range topo.lines {
		l := &topo.lines[i]
		t.Truth.Lines[i] = Line{
			Utility: l.Utility, Conductor: l.Conductor, DiameterM: l.DiameterM, Service: l.Service,
			Missing: m.missing[i], Points: f.lineToPlane(l.Points), CoverM: l.CoverM,
		}
	}
	layers := t.layers(m)
	t.Truth.Records = make([]Record, 0, len(m.records))
	t.survey.Records = make([]survey.Record, 0, len(m.records))
	for i := range m.records {
		t.publishRecord(i, m, topo.lines, layers)
	}
	perSheet := make([]int, len(m.sheets))
	for i := range m.records {
		perSheet[m.records[i].sheet]++
	}
	for i := range m.sheets {
		s := &m.sheets[i]
		ts := Sheet{
			Name: s.name, Utility: s.utility, East: -s.shift[0], North: -s.shift[1], Turn: s.turn, Scale: s.scale,
			Middle: f.toPlane(s.middle), CoverUnit: s.unit, Invert: s.invert, Records: perSheet[i],
		}
		if s.blunder != nil {
			ts.Blunder = s.blunder.name
		}
		t.Truth.Sheets = append(t.Truth.Sheets, ts)
	}
}

// placeholders are what people write where a sheet is not known.
var placeholders = []string{"", "", "UNKNOWN", "N/A", "-", "TBD"}

func (t *Town) publishRecord(i int, m *townMap, lines []TrueLine, layers map[string]int) {
	r, f, p := &m.records[i], t.Frame, t.Params.Map
	d := roll(t.Seed, phaseCovers, i)
	s := &m.sheets[r.sheet]
	like := TrueLine{Utility: s.utility, Material: habitOf(s.utility).metal, Conductor: survey.ConductorPipe, DiameterM: habitOf(s.utility).diametersM[0], Installed: 1931}
	tr := Record{Sheet: s.name, Line: r.line, Reversed: r.reversed, Abandoned: r.abandoned, Faults: r.faults}
	trueCover := 0.9
	if r.line >= 0 {
		line := &t.Truth.Lines[r.line]
		like = lines[r.line]
		tr.Points, tr.CoverM = line.Points, line.CoverM
		if r.reversed {
			tr.Points = reversed(line.Points)
			tr.CoverM = make([]float64, len(line.CoverM))
			for k, c := range line.CoverM {
				tr.CoverM[len(line.CoverM)-1-k] = c
			}
		}
		trueCover = mean(line.CoverM)
	}
	layer := layers[like.Utility]
	l := &t.survey.Layers[layer]
	feature := len(l.Features)
	rec := survey.Record{
		Source: l.Source, ID: fmt.Sprintf("%s%06d", strings.ToUpper(like.Utility[:1]), feature*3+d.IntN(3)+1),
		Utility: like.Utility, Sheet: s.name, Installed: like.Installed, Material: like.Material, DiameterM: like.DiameterM,
		Conductor: like.Conductor, Scale: f.Scale, Convergence: f.Convergence, Layer: layer, Feature: feature,
		Parts: orb.MultiLineString{f.lineToPlane(r.points)}, CoverM: nan,
	}
	sheetText := s.name
	if d.chance(p.BlankSheets) {
		rec.Sheet, sheetText = "", placeholders[d.IntN(len(placeholders))]
	}
	rec.CoverM, tr.Faults = recordedCover(d, p, s, like.DiameterM, trueCover, tr.Faults)
	tr.Source, tr.ID = rec.Source, rec.ID
	if r.duplicate >= 0 {
		tr.DuplicateOf = t.Truth.Records[r.duplicate].ID
	}
	t.Truth.Records = append(t.Truth.Records, tr)
	t.survey.Records = append(t.survey.Records, rec)
	t.sheetTexts = append(t.sheetTexts, sheetText)
	l.Features = append(l.Features, t.feature(feature+1, &rec, sheetText))
}

// recordedCover is what the map says of a cover: nothing, the truth with a
// drafter's error, another number, a number in another unit, or a depth to
// another point.
func recordedCover(d dice, p Map, s *sheet, diameterM, trueM float64, faults []Fault) (float64, []Fault) {
	if d.chance(p.CoverBlank) {
		return nan, faults
	}
	cover := trueM + d.normal(p.CoverSigmaM)
	if d.chance(p.CoverWrong) {
		cover += d.sign() * d.between(p.CoverWrongM)
		faults = append(faults, FaultCover)
	}
	cover = max(cover, 0.15)
	switch {
	case s.unit: // feet where the map keeps metres, or the other way
		cover, faults = cover/0.3048, append(faults, FaultCoverUnit)
	case s.invert:
		cover, faults = cover+diameterM, append(faults, FaultCoverPoint)
	}
	return math.Round(cover*100) / 100, faults
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}
