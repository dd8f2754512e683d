package publish

import (
	"bufio"
	"cmp"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// A report is a page for a screen: what it embeds is limited, and it says what
// it leaves out. The files beside it hold everything.
const (
	maxFindings   = 1000   // rows of the findings table
	maxDetails    = 300    // records with a profile
	maxMapRecords = 1500   // records drawn vertex by vertex with their stretches
	maxRest       = 60_000 // vertices of the other records, simplified
	maxMapPoints  = 30_000 // readings drawn
	maxRows       = 200    // rows of any other table
)

var (
	//go:embed assets/report.html
	reportHTML string
	//go:embed assets/report.css
	reportCSS string
	//go:embed assets/report.js
	reportJS string

	reportTemplate = template.Must(template.New("report").Parse(reportHTML))
)

// page is what the report's template shows.
type page struct {
	Job, Banner, Version, Plane, Operation string
	Cautions                               []string
	Policy                                 string
	Style                                  template.CSS
	Script                                 template.JS

	Compared []string
	Headline string
	Bar      []barPart
	Utility  []utilityRow
	Accuracy []fact
	Todo     []todo
	Warnings []string

	Map          mapView
	Findings     []findingRow
	Kinds        []survey.Kind
	Details      []detail
	Marks        []markRow
	Effects      []effectRow
	Sessions     []sessionPage
	Resurvey     []resurveyRow
	Curve        *curve
	OrderCaution string
	Spending     []fact
	Calibration  []calibrationTable
	Inputs       []inputRow
	Rejects      []survey.Reject
	Statuses     []fact
	Method       []fact
	LeftOut      []string
}

// writeReport writes report.html: one file that needs nothing else. Whatever
// comes from the data goes through html/template, and a content security
// policy lets no script run but the report's own and nothing be fetched.
func (e *edition) writeReport(w *bufio.Writer) error {
	digest := sha256.Sum256([]byte(reportJS))
	s := e.summarise()
	p := &page{
		Job: e.Job, Banner: e.Banner, Version: e.Version, Plane: e.plane.Name(), Operation: e.toWGS84.Name(),
		Cautions: survey.Cautions(), Style: template.CSS(reportCSS), Script: template.JS(reportJS),
		Policy: "default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-" +
			base64.StdEncoding.EncodeToString(digest[:]) + "'; base-uri 'none'; form-action 'none'",
		Compared: e.compared(s), Headline: headline(&s.Lengths), Bar: bar(&s.Lengths), Utility: utilityRows(s.Utility),
		Accuracy: e.accuracyFacts(), Todo: e.todo(), Warnings: e.warnings(), Kinds: kinds, Method: e.method(),
	}
	order := e.bySeverity()
	chosen := e.choose(order)
	p.Map = e.drawMap(chosen)
	p.Findings = e.findingRows(order, chosen, &p.Map)
	p.Details = e.details(order, chosen)
	p.Marks = e.markCheckRows(&p.Map)
	p.Effects = e.effectRows()
	p.Sessions = e.sessionPages()
	p.Resurvey = e.resurveyRows(&p.Map)
	p.Curve, p.OrderCaution = e.benefitCurve(), orderCaution
	p.Spending, p.Calibration = e.spending(), e.calibrationTables()
	p.Inputs = e.inputRows()
	p.Rejects = e.Survey.Rejects[:min(len(e.Survey.Rejects), maxRows)]
	for _, st := range statuses {
		p.Statuses = append(p.Statuses, fact{Name: string(st), Value: grouped(s.Readings.Status[st]), Source: statusWords[st]})
	}
	p.LeftOut = e.leftOut(p, chosen)
	return reportTemplate.Execute(w, p)
}

var statusWords = map[survey.Status]string{
	survey.StatusUsed:      "counted in the adjustment",
	survey.StatusAmbiguous: "its record is not sure enough",
	survey.StatusUnmapped:  "fits no record",
	survey.StatusUntrusted: "its signal or position is distrusted",
	survey.StatusForeign:   "lies on a record of another utility than its label",
	survey.StatusSonde:     "kept for depth only",
	survey.StatusDuplicate: "says what an earlier row said",
}

// compared says in sentences what was compared with what.
func (e *edition) compared(s *summary) []string {
	files, aside := 0, 0
	first, last := e.lastReading(), e.lastReading()
	for i := range e.Survey.Sources {
		f := &e.Survey.Sources[i]
		if f.SetAside != "" {
			aside++
		}
		if f.Role != survey.RoleField {
			continue
		}
		files++
		if !f.First.IsZero() && f.First.Before(first) {
			first = f.First
		}
	}
	when := ""
	if !last.IsZero() {
		when = ", taken " + first.UTC().Format("2 Jan 2006")
		if a, b := first.UTC().Format("2 Jan 2006"), last.UTC().Format("2 Jan 2006"); a != b {
			when += " to " + b
		}
		when += " UTC"
	}
	lines := []string{
		fmt.Sprintf("%s in %s from %s%s.", counted(s.Readings.Total, "reading"), counted(s.Readings.Traces, "trace"), counted(files, "field file"), when),
		fmt.Sprintf("%s, %s of line, from %s.", counted(s.Records.Total, "record"), lengthWords(s.Lengths.TotalM), counted(len(e.Survey.Layers), "records source")),
		fmt.Sprintf("%s of the readings counted; %s.", grouped(s.Readings.Status[survey.StatusUsed]), counted(len(e.Findings), "finding")),
	}
	if w := s.Swept; w.Areas > 0 {
		lines = append(lines, sweptWords(&w))
	}
	if aside > 0 {
		lines = append(lines, fmt.Sprintf("%s set aside: see the warnings.", counted(aside, "source")))
	}
	return lines
}

// sweptWords say what sweeps did not show.
func sweptWords(w *sweptCount) string {
	text := fmt.Sprintf("In %s %s of %s not detected", counted(w.Areas, "swept area"), lengthWords(w.NotDetected.LengthM), counted(w.NotDetected.Records, "record was", "records were"))
	if n := w.NotTraceable; n.Records > 0 {
		text += fmt.Sprintf("; apart from them, no signal can be put on %s of %s, so that the sweep says nothing of %s",
			lengthWords(n.LengthM), counted(n.Records, "record"), words.Noun(n.Records, "it", "these"))
	}
	return text + "."
}

// headline is the result as a manager reads it.
func headline(l *lengths) string {
	if l.SurveyedM == 0 {
		return fmt.Sprintf("No record has evidence on it: %s of line remain unsurveyed.", lengthWords(l.TotalM))
	}
	return fmt.Sprintf("Of %s surveyed, %s (%s) lie within tolerance, %s (%s) outside, and for %s (%s) the data cannot tell. %s of %s were not surveyed.",
		lengthWords(l.SurveyedM), lengthWords(l.WithinM), percent(l.WithinM, l.SurveyedM), lengthWords(l.OutsideM), percent(l.OutsideM, l.SurveyedM),
		lengthWords(l.UndecidedM), percent(l.UndecidedM, l.SurveyedM), lengthWords(l.UnsurveyedM), lengthWords(l.TotalM))
}

// barPart is one part of a bar of lengths by verdict, in percent of its width.
type barPart struct {
	Verdict        survey.Verdict
	Length, Share  string
	XPct, WidthPct string
}

func bar(l *lengths) []barPart {
	parts := []struct {
		v survey.Verdict
		m float64
	}{
		{survey.VerdictWithin, l.WithinM},
		{survey.VerdictOutside, l.OutsideM},
		{survey.VerdictUndecided, l.UndecidedM},
		{survey.VerdictUnsurveyed, l.UnsurveyedM},
	}
	var out []barPart
	at := 0.0
	for _, part := range parts {
		share := 0.0
		if l.TotalM > 0 {
			share = 100 * part.m / l.TotalM
		}
		whole, what := l.SurveyedM, " of surveyed"
		if part.v == survey.VerdictUnsurveyed {
			whole, what = l.TotalM, " of all"
		}
		out = append(out, barPart{part.v, lengthWords(part.m), percent(part.m, whole) + what, fixed(at, 3) + "%", fixed(share, 3) + "%"})
		at += share
	}
	return out
}

// utilityRow is one line of the table of lengths by utility.
type utilityRow struct {
	Utility, Class                               string
	Records                                      string
	Length, Surveyed, Within, Outside, Undecided string
	WithinShare, OutsideShare, UndecidedShare    string
}

func utilityRows(all []utilityLengths) []utilityRow {
	var rows []utilityRow
	for i := range all {
		u := &all[i]
		rows = append(rows, utilityRow{
			Utility: orNone(u.Utility), Class: utilityClass(u.Utility), Records: grouped(u.Records),
			Length: lengthWords(u.TotalM), Surveyed: lengthWords(u.SurveyedM),
			Within: lengthWords(u.WithinM), Outside: lengthWords(u.OutsideM), Undecided: lengthWords(u.UndecidedM),
			WithinShare: percent(u.WithinM, u.SurveyedM), OutsideShare: percent(u.OutsideM, u.SurveyedM), UndecidedShare: percent(u.UndecidedM, u.SurveyedM),
		})
	}
	return rows
}

// warnings are what a person must know before trusting the rest.
func (e *edition) warnings() []string {
	var out []string
	for i := range e.Survey.Sources {
		if s := &e.Survey.Sources[i]; s.SetAside != "" {
			out = append(out, s.Name+" was set aside: "+s.SetAside)
		}
	}
	out = append(out, e.notes()...)
	for i := range e.Survey.Sources {
		for _, n := range e.Survey.Sources[i].Notes {
			out = append(out, e.Survey.Sources[i].Name+": "+n)
		}
	}
	said := map[string]bool{} // the survey may say what a source says
	return slices.DeleteFunc(out, func(w string) bool {
		was := said[w]
		said[w] = true
		return was
	})
}

// severity orders verdicts: what needs a person first.
var severity = map[survey.Verdict]int{
	survey.VerdictOutside: 0, survey.VerdictUndecided: 1, survey.VerdictNone: 2, survey.VerdictUnsurveyed: 3, survey.VerdictWithin: 4,
}

// bySeverity are the indices of findings, those first that need a person first:
// by verdict, then by how much area lies between line and tolerance.
func (e *edition) bySeverity() []int {
	order := make([]int, len(e.Findings))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		f, g := &e.Findings[a], &e.Findings[b]
		return cmp.Or(cmp.Compare(severity[f.Verdict], severity[g.Verdict]), cmp.Compare(excess(g), excess(f)), cmp.Compare(f.ID, g.ID))
	})
	return order
}

// excess is by how much and over what length a finding exceeds its tolerance.
func excess(f *survey.Finding) float64 {
	beyond := math.Abs(f.OffsetM) - f.ToleranceM
	if f.Kind == survey.KindCover {
		beyond = -f.OffsetM
	}
	if math.IsNaN(beyond) || beyond < 0 {
		return 0
	}
	return beyond * max(f.ToM-f.FromM, 1)
}

// leftOut says what the page does not show.
func (e *edition) leftOut(p *page, c *choice) []string {
	var out []string
	note := func(shown, all int, what, where string) {
		if shown < all {
			out = append(out, fmt.Sprintf("%s of %s %s are shown; %s has all.", grouped(shown), grouped(all), what, where))
		}
	}
	note(len(p.Findings), len(e.Findings), "findings", "register.xlsx")
	note(min(c.withFindings, maxDetails), c.withFindings, "records with findings have a profile here", "register.xlsx")
	note(len(p.Marks), len(e.MarkChecks), "rows of marks beside exposed lines", "mark_checks.csv")
	note(len(p.Effects), len(e.effects()), "sheets, sessions and sources of positions", "effects.csv")
	note(len(p.Sessions), len(e.Sessions), "sessions", "sessions.csv")
	note(len(p.Resurvey), len(e.Resurvey), "stretches to survey next", "resurvey.csv")
	note(len(p.Rejects), len(e.Survey.Rejects), "rejected values", "rejects.csv")
	note(p.Map.PointsShown, p.Map.Points, "readings that belong on this map", "readings.csv")
	note(p.Map.RestShown, p.Map.RestAll, "records without findings are drawn, simplified;", "records-updated.gpkg")
	return out
}

// Words of numbers. A number and its unit stay on one line.

const nbsp = "\u00a0"

func counted(n int, one string, many ...string) string {
	return grouped(n) + " " + words.Noun(n, one, many...)
}

// grouped writes a count with commas between thousands.
func grouped(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// lengthWords writes a length in metres or kilometres.
func lengthWords(m float64) string {
	switch {
	case m < 999.5:
		return fixed(m, 0) + nbsp + "m"
	case m < 99_950:
		return fixed(m/1000, 2) + nbsp + "km"
	}
	return fixed(m/1000, 0) + nbsp + "km"
}

// percent is a share of a whole; nothing of nothing is a dash.
func percent(part, whole float64) string {
	if whole <= 0 {
		return "–"
	}
	return fixed(100*part/whole, 1) + nbsp + "%"
}

func orNone(s string) string {
	if strings.TrimSpace(s) == "" {
		return "(none)"
	}
	return s
}
