package publish

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/simplify"
)

// choice is what of the survey the report draws in detail.
type choice struct {
	records      []int // records drawn with their stretches, worst first
	detailed     map[int]bool
	withFindings int
}

// choose takes the records with findings, worst first, then those with other
// evidence.
func (e *edition) choose(order []int) *choice {
	c := &choice{detailed: map[int]bool{}}
	take := func(rec int) {
		if rec >= 0 && !c.detailed[rec] && len(c.records) < maxMapRecords {
			c.detailed[rec] = true
			c.records = append(c.records, rec)
		}
	}
	has := e.hasFinding()
	for i := range e.Survey.Records {
		if has(i) {
			c.withFindings++
		}
	}
	for _, f := range order {
		take(e.Findings[f].Record)
	}
	for i := range e.Judgements {
		if e.Judgements[i].CoveredM > 0 {
			take(i)
		}
	}
	return c
}

// mapView is the map: y down, metres of the working plane from its upper left
// corner.
type mapView struct {
	Box       string       // viewBox
	Pixel     template.CSS // metres a pixel at the start, as a custom property
	Rest      []pathView   // records without findings or evidence, by utility
	Records   []recordView
	Corrected []pathView
	Unmapped  []pathView
	Vectors   string // offset vectors
	Used      string // readings
	Unused    string
	Labels    []labelView
	Utilities []utilityKey
	Empty     bool

	Points, PointsShown, RestAll, RestShown int

	west, north float64
}

// pathView is one path with what a pointer over it says.
type pathView struct{ Class, D, Title string }

// recordView is one record with its stretches.
type recordView struct {
	Anchor    string // of its details
	Title     string
	Line      pathView
	Stretches []pathView
}

// labelView is a word on the map.
type labelView struct{ Of, X, Y, Text, Class string }

// utilityKey is one line of the key.
type utilityKey struct{ Class, Name string }

// drawMap draws the chosen records in detail and the rest simplified.
func (e *edition) drawMap(c *choice) mapView {
	var m mapView
	if !m.frame(e) {
		m.Empty = true
		return m
	}
	for _, rec := range c.records {
		m.record(e, rec)
	}
	m.rest(e, c)
	m.readings(e, c)
	for i := range e.Findings {
		if f := &e.Findings[i]; f.Record < 0 && len(f.Line) > 0 {
			m.Unmapped = append(m.Unmapped, pathView{"unmapped", m.path(f.Line), "unmapped " + f.Utility + " line: finding " + f.ID})
		}
	}
	m.key(e)
	return m
}

// frame lays the map's corner and size over everything that has a place.
func (m *mapView) frame(e *edition) bool {
	bound, any := orb.Bound{}, false
	extend := func(b orb.Bound) {
		if any {
			b = bound.Union(b)
		}
		bound, any = b, true
	}
	for i := range e.Survey.Records {
		if len(e.Survey.Records[i].Parts) > 0 {
			extend(e.Survey.Records[i].Parts.Bound())
		}
	}
	for t := range e.Survey.Traces {
		for i := range e.Survey.Traces[t].Readings {
			extend(e.Survey.Traces[t].Readings[i].Point.Bound())
		}
	}
	if !any {
		return false
	}
	margin := 0.04*max(bound.Max[0]-bound.Min[0], bound.Max[1]-bound.Min[1]) + 2
	m.west, m.north = bound.Min[0]-margin, bound.Max[1]+margin
	w, h := bound.Max[0]-bound.Min[0]+2*margin, bound.Max[1]-bound.Min[1]+2*margin
	m.Box = fmt.Sprintf("0 0 %s %s", fixed(w, 2), fixed(h, 2))
	m.Pixel = template.CSS("--px:" + fixed(max(w/1100, h/620), 4))
	return true
}

// appendPath writes a line as path data.
func (m *mapView) appendPath(b []byte, line orb.LineString) []byte {
	for i, p := range line {
		b = append(b, "ML"[min(i, 1)])
		b = m.appendPoint(b, p)
	}
	return b
}

func (m *mapView) appendPoint(b []byte, p orb.Point) []byte {
	b = append(appendFixed(b, p[0]-m.west, 2), ' ')
	return appendFixed(b, m.north-p[1], 2)
}

func (m *mapView) path(lines orb.MultiLineString) string {
	var b []byte
	for _, line := range lines {
		if len(line) == 1 { // a point: a line of no length with a round end
			line = orb.LineString{line[0], line[0]}
		}
		b = m.appendPath(b, line)
	}
	return string(b)
}

// record draws one record, its stretches, its corrected line and its labels.
func (m *mapView) record(e *edition, i int) {
	rec := &e.Survey.Records[i]
	line := lineref.New(rec.Parts, rec.Scale)
	view := recordView{Anchor: detailAnchor(i), Line: pathView{Class: utilityClass(rec.Utility), D: m.path(rec.Parts)}}
	view.Title = strings.TrimSpace(rec.Utility + " " + e.labels[i])
	if j := e.judgement(i); j != nil {
		if j.Position != survey.VerdictNone {
			view.Title += ": " + string(j.Position)
		}
		for _, s := range j.Stretches {
			if s.Verdict == survey.VerdictUnsurveyed || s.Verdict == survey.VerdictNone {
				continue
			}
			title := fmt.Sprintf("%s %s, %s to %s m: %s, worst %s m ± %s m", rec.Utility, e.labels[i],
				fixed(s.FromM, 1), fixed(s.ToM, 1), s.Verdict, signed(s.WorstM, 2), fixed(1.96*s.WorstU, 2))
			view.Stretches = append(view.Stretches, pathView{"v-" + string(s.Verdict), m.path(line.Between(s.FromM, s.ToM)), title})
			if s.Verdict != survey.VerdictWithin {
				m.label(view.Anchor, line.At((s.FromM+s.ToM)/2), strings.TrimSpace(rec.Utility+" "+e.labels[i])+" "+symbols[s.Verdict]+" "+signed(s.WorstM, 2)+" m", "l-"+string(s.Verdict))
			}
		}
	}
	if len(view.Stretches) == 0 {
		view.Line.Class += " bare"
	}
	m.Records = append(m.Records, view)
	if c := e.correction(i); c != nil {
		var lines orb.MultiLineString
		for p := range c.Parts {
			lines = append(lines, c.Parts[p].Line)
		}
		m.Corrected = append(m.Corrected, pathView{"corrected", m.path(lines), "proposed line of " + e.labels[i]})
	}
}

// symbols mark verdicts beside their colour and line style.
var symbols = map[survey.Verdict]string{
	survey.VerdictOutside: "▲", survey.VerdictUndecided: "?", survey.VerdictWithin: "✓", survey.VerdictUnsurveyed: "·",
}

func (m *mapView) label(of string, at orb.Point, text, class string) {
	m.Labels = append(m.Labels, labelView{of, fixed(at[0]-m.west, 2), fixed(m.north-at[1], 2), text, class})
}

// rest draws the other records by utility, simplified to what a screen shows,
// every n-th where there are more vertices than a page should hold.
func (m *mapView) rest(e *edition, c *choice) {
	var others []int
	vertices := 0
	for i := range e.Survey.Records {
		if !c.detailed[i] {
			others = append(others, i)
			for _, part := range e.Survey.Records[i].Parts {
				vertices += len(part)
			}
		}
	}
	m.RestAll = len(others)
	if vertices > maxRest { // count again as they will be drawn: two or three vertices each
		vertices = 2 * len(others)
	}
	step := max(1, int(math.Ceil(float64(vertices)/maxRest)))
	var width, height float64
	fmt.Sscanf(m.Box, "0 0 %g %g", &width, &height)
	douglas := simplify.DouglasPeucker(max(width, height) / 3000)
	paths := map[string][]byte{}
	drawn := 0
	for k := 0; k < len(others) && drawn < maxRest; k += step {
		rec := &e.Survey.Records[others[k]]
		class := utilityClass(rec.Utility)
		for _, part := range rec.Parts {
			line := douglas.LineString(part.Clone())
			drawn += len(line)
			paths[class] = m.appendPath(paths[class], line)
		}
		m.RestShown++
	}
	for _, u := range utilityColours {
		if d := paths[u.class]; len(d) > 0 {
			m.Rest = append(m.Rest, pathView{u.class + " rest", string(d), u.words + ": no finding, no evidence"})
		}
	}
}

// readings draws the readings on the chosen records and those that fit none.
func (m *mapView) readings(e *edition, c *choice) {
	lines := map[int]lineref.Line{}
	var used, unused, vectors []byte
	for t := range e.Survey.Traces {
		for i := range e.Survey.Traces[t].Readings {
			match := e.match(t, i)
			if match.Record >= 0 && !c.detailed[match.Record] || match.Status == survey.StatusDuplicate {
				continue
			}
			m.Points++
			if m.PointsShown == maxMapPoints {
				continue
			}
			m.PointsShown++
			p := e.Survey.Traces[t].Readings[i].Point
			dot := &unused
			if match.Status == survey.StatusUsed {
				dot = &used
			}
			*dot = append(m.appendPoint(append(*dot, 'M'), p), "h0"...)
			if match.Record < 0 {
				continue
			}
			line, ok := lines[match.Record]
			if !ok {
				line = lineref.New(e.Survey.Records[match.Record].Parts, e.Survey.Records[match.Record].Scale)
				lines[match.Record] = line
			}
			vectors = m.appendPath(vectors, orb.LineString{line.At(match.StationM), p})
		}
	}
	m.Used, m.Unused, m.Vectors = string(used), string(unused), string(vectors)
}

// utilityColours are the utilities in the uniform colour code of the trade
// (APWA uniform color code, ANSI Z535.1): the class that carries the colour,
// what the code says of it, and words by which a utility is known.
var utilityColours = []struct {
	class, words string
	known        []string
}{
	{"u-electric", "electric power, lighting (red)", []string{"electric", "power", "light", "traffic"}},
	{"u-gas", "gas, oil, steam (yellow)", []string{"gas", "oil", "steam", "petrol"}},
	{"u-reclaimed", "reclaimed water, irrigation, slurry (purple)", []string{"reclaim", "recycl", "irrigation", "slurry", "raw water"}},
	{"u-communication", "communication (orange)", []string{"comm", "tele", "fibre", "fiber", "cable", "catv", "alarm", "signal"}},
	{"u-sewer", "sewer, drain (green)", []string{"sewer", "drain", "storm", "sanitary", "waste"}},
	{"u-water", "potable water (blue)", []string{"water", "hydrant"}},
	{"u-other", "other (no colour in the code)", nil},
}

// utilityClass is the class of a utility's colour.
func utilityClass(utility string) string {
	utility = strings.ToLower(utility)
	for _, u := range utilityColours {
		if slices.ContainsFunc(u.known, func(word string) bool { return strings.Contains(utility, word) }) {
			return u.class
		}
	}
	return "u-other"
}

// key lists the utilities that the map shows.
func (m *mapView) key(e *edition) {
	present := map[string]bool{}
	for i := range e.Survey.Records {
		present[utilityClass(e.Survey.Records[i].Utility)] = true
	}
	for _, u := range utilityColours {
		if present[u.class] {
			m.Utilities = append(m.Utilities, utilityKey{u.class, u.words})
		}
	}
}

// focus is the part of the map around lines, as a viewBox.
func (m *mapView) focus(lines orb.MultiLineString) string {
	if m.Empty || len(lines) == 0 {
		return ""
	}
	b := lines.Bound()
	size := max(b.Max[0]-b.Min[0], b.Max[1]-b.Min[1], 10) * 1.4
	x, y := (b.Min[0]+b.Max[0])/2-m.west-size/2, m.north-(b.Min[1]+b.Max[1])/2-size/2
	return fmt.Sprintf("%s %s %s %s", fixed(x, 2), fixed(y, 2), fixed(size, 2), fixed(size, 2))
}
