package publish

import (
	"bufio"
	"cmp"
	"encoding/json"
	"math"
	"slices"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
)

func cmpStrings(a, b string) int { return cmp.Compare(a, b) }

// finite is a number for JSON, which has no word for one that is not known.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = rounded(v, 4)
	return &v
}

// lengths are ground metres of records by verdict.
type lengths struct {
	TotalM      float64 `json:"total_m"`
	SurveyedM   float64 `json:"surveyed_m"`
	WithinM     float64 `json:"within_m"`
	OutsideM    float64 `json:"outside_m"`
	UndecidedM  float64 `json:"undecided_m"`
	UnsurveyedM float64 `json:"unsurveyed_m"`
	// Shares of the surveyed length; null where nothing is surveyed.
	WithinShare    *float64 `json:"within_share"`
	OutsideShare   *float64 `json:"outside_share"`
	UndecidedShare *float64 `json:"undecided_share"`
	SurveyedShare  *float64 `json:"surveyed_share"` // of the total
}

func (l *lengths) add(lengthM, withinM, outsideM, undecidedM float64) {
	l.TotalM += lengthM
	l.WithinM += withinM
	l.OutsideM += outsideM
	l.UndecidedM += undecidedM
}

// done works out what follows from the sums.
func (l *lengths) done() {
	l.SurveyedM = l.WithinM + l.OutsideM + l.UndecidedM
	l.UnsurveyedM = max(l.TotalM-l.SurveyedM, 0)
	l.WithinShare, l.OutsideShare = finite(l.WithinM/l.SurveyedM), finite(l.OutsideM/l.SurveyedM)
	l.UndecidedShare, l.SurveyedShare = finite(l.UndecidedM/l.SurveyedM), finite(l.SurveyedM/l.TotalM)
	for _, v := range []*float64{&l.TotalM, &l.SurveyedM, &l.WithinM, &l.OutsideM, &l.UndecidedM, &l.UnsurveyedM} {
		*v = rounded(*v, 3)
	}
}

// summary is summary.json: what a run found, in numbers.
type summary struct {
	Caution             string `json:"caution"`
	Banner              string `json:"banner,omitempty"`
	Job                 string `json:"job"`
	Version             string `json:"version"`
	Plane               string `json:"plane"`
	CoordinateOperation string `json:"coordinate_operation"`
	Decision            string `json:"decision,omitempty"`

	Sources  []sourceCount         `json:"sources"`
	Records  recordCount           `json:"records"`
	Readings readingCount          `json:"readings"`
	Lengths  lengths               `json:"lengths"`
	Utility  []utilityLengths      `json:"lengths_by_utility"`
	Findings map[survey.Kind]tally `json:"findings"`
	Swept    sweptCount            `json:"swept"`
	Marks    markCount             `json:"mark_checks"`
	Accuracy []statement           `json:"accuracy"`
	Across   string                `json:"accuracy_across_lines,omitempty"`
	HeldOut  *heldOut              `json:"held_out_traces,omitempty"`
	Effects  effectCount           `json:"effects"`
	Resurvey resurveyCount         `json:"resurvey"`
	Rejects  int                   `json:"rejects"`
	Notes    []string              `json:"notes"`
	Fit      *fit                  `json:"fit"`
	Budget   []term                `json:"error_budget"`
}

type sourceCount struct {
	Name       string      `json:"name"`
	Role       survey.Role `json:"role"`
	Rows       int         `json:"rows"`
	Used       int         `json:"used"`
	Duplicates int         `json:"duplicates"`
	Rejected   int         `json:"rejected"`
	SetAside   string      `json:"set_aside,omitempty"`
	Operation  string      `json:"operation,omitempty"`
	AccuracyM  *float64    `json:"operation_accuracy_m,omitempty"`
}

type recordCount struct {
	Total     int                    `json:"total"`
	Corrected int                    `json:"corrected"`
	Position  map[survey.Verdict]int `json:"position"`
	Depth     map[survey.Verdict]int `json:"depth"`
}

type readingCount struct {
	Total  int                   `json:"total"`
	Traces int                   `json:"traces"`
	Status map[survey.Status]int `json:"status"`
}

type utilityLengths struct {
	Utility string `json:"utility"`
	Records int    `json:"records"`
	lengths
}

// tally counts the findings of one kind.
type tally struct {
	Total    int                    `json:"total"`
	Verdicts map[survey.Verdict]int `json:"verdicts"`
}

// sweptCount counts what areas swept for a utility say of its records.
type sweptCount struct {
	Areas        int         `json:"areas"`
	NotDetected  recordsLong `json:"not_detected"`
	NotTraceable recordsLong `json:"not_traceable"` // no signal can be put on them: not among those not detected
}

type recordsLong struct {
	Records int     `json:"records"`
	LengthM float64 `json:"length_m"` // inside the swept areas
}

// heldOut is what traces say that lines were proposed without.
type heldOut struct {
	Traces   int      `json:"traces"`
	Readings int      `json:"readings"`
	Records  int      `json:"records"`
	LengthM  float64  `json:"length_m"`
	Before   *float64 `json:"within_share_as_handed_in"`
	After    *float64 `json:"within_share_as_proposed"`
}

// markCount counts the marks held against exposed lines.
type markCount struct {
	Compared    int                    `json:"compared"`
	NotCompared int                    `json:"not_compared"`
	Verdicts    map[survey.Verdict]int `json:"verdicts"`
}

type effectCount struct {
	Total       int                       `json:"total"`
	Significant map[survey.EffectKind]int `json:"significant"`
	Named       []effectName              `json:"significant_effects"`
}

type effectName struct {
	Effect survey.EffectKind `json:"effect"`
	Name   string            `json:"name"`
	EastM  *float64          `json:"east_m"`
	NorthM *float64          `json:"north_m"`
}

type fit struct {
	Readings       int           `json:"readings"`
	Unknowns       int           `json:"unknowns"`
	Redundancy     *float64      `json:"redundancy"`
	VarianceFactor *float64      `json:"variance_factor"`
	Iterations     int           `json:"iterations"`
	Worst          []worstFitted `json:"worst"`
}

// term is one line of the error budget.
type term struct {
	Name   string   `json:"name"`
	Unit   string   `json:"unit"`
	Value  *float64 `json:"value"`
	U      float64  `json:"u,omitempty"` // one standard deviation, where it was estimated
	Source string   `json:"source"`
}

// summarise counts. Every count that can be asked for is there, zeros too, so
// that a reader need not know whether a missing one is zero.
func (e *edition) summarise() *summary {
	s := &summary{
		Caution: caution(), Banner: e.Banner, Job: e.Job, Version: e.Version,
		Plane: e.plane.Name(), CoordinateOperation: e.toWGS84.Name(), Decision: e.Decision,
		Sources: []sourceCount{}, Rejects: len(e.Survey.Rejects), Notes: e.notes(), Budget: []term{},
	}
	for i := range e.Survey.Sources {
		f := &e.Survey.Sources[i]
		s.Sources = append(s.Sources, sourceCount{f.Name, f.Role, f.Rows, f.Used, f.Duplicates, f.Rejected, f.SetAside, f.Operation, accuracy(f)})
	}
	s.countRecords(e)
	s.Readings = e.countReadings()
	s.Findings = e.countFindings()
	if h := e.HeldOut; h != nil {
		s.HeldOut = &heldOut{h.Traces, h.Readings, h.Records, rounded(h.LengthM, 3), finite(h.BeforeM / h.LengthM), finite(h.AfterM / h.LengthM)}
	}
	s.Swept, s.Marks = e.countSwept(), e.countMarkChecks()
	s.Accuracy, s.Across = append([]statement{}, e.accuracy...), e.across
	s.countEffects(e)
	s.Resurvey = e.countResurvey()
	if e.Model != nil {
		s.Fit = e.fit()
		for _, t := range e.Model.Budget {
			s.Budget = append(s.Budget, term{t.Name, t.Unit, finite(t.Value), t.U, t.Source})
		}
	}
	return s
}

func (s *summary) countRecords(e *edition) {
	s.Records = recordCount{
		Total:    len(e.Survey.Records),
		Position: map[survey.Verdict]int{survey.VerdictWithin: 0, survey.VerdictOutside: 0, survey.VerdictUndecided: 0, survey.VerdictUnsurveyed: 0},
		Depth:    map[survey.Verdict]int{survey.VerdictWithin: 0, survey.VerdictOutside: 0, survey.VerdictUndecided: 0, survey.VerdictUnsurveyed: 0},
	}
	byUtility := map[string]*utilityLengths{}
	for i := range e.Survey.Records {
		rec := &e.Survey.Records[i]
		u := byUtility[rec.Utility]
		if u == nil {
			u = &utilityLengths{Utility: rec.Utility}
			byUtility[rec.Utility] = u
		}
		u.Records++
		j := survey.Judgement{LengthM: groundLength(rec), Position: survey.VerdictUnsurveyed}
		if judged := e.judgement(i); judged != nil {
			j = *judged
		}
		for _, l := range []*lengths{&s.Lengths, &u.lengths} {
			l.add(j.LengthM, j.WithinM, j.OutsideM, j.UndecidedM)
		}
		if j.Position != survey.VerdictNone {
			s.Records.Position[j.Position]++
		}
		if j.Depth != survey.VerdictNone {
			s.Records.Depth[j.Depth]++
		}
		if e.correction(i) != nil {
			s.Records.Corrected++
		}
	}
	s.Utility = make([]utilityLengths, 0, len(byUtility))
	for _, u := range byUtility {
		u.done()
		s.Utility = append(s.Utility, *u)
	}
	slices.SortFunc(s.Utility, func(a, b utilityLengths) int { return cmpStrings(a.Utility, b.Utility) })
	s.Lengths.done()
}

func (e *edition) countReadings() readingCount {
	n := readingCount{Traces: len(e.Survey.Traces), Status: map[survey.Status]int{}}
	for _, st := range statuses {
		n.Status[st] = 0
	}
	for t := range e.Survey.Traces {
		for i := range e.Survey.Traces[t].Readings {
			n.Total++
			if m := e.match(t, i); m.Status != "" {
				n.Status[m.Status]++
			}
		}
	}
	return n
}

// statuses are what can become of a reading, in the order in which a person
// wants to read them.
var statuses = []survey.Status{
	survey.StatusUsed, survey.StatusAmbiguous, survey.StatusUnmapped, survey.StatusUntrusted,
	survey.StatusForeign, survey.StatusSonde, survey.StatusDuplicate,
}

// kinds are the kinds of findings, in the order in which a person wants to read
// them.
var kinds = []survey.Kind{
	survey.KindPosition, survey.KindDepth, survey.KindCover, survey.KindCoverPattern, survey.KindUnmapped, survey.KindNotDetected, survey.KindNotTraceable, survey.KindMark, survey.KindCorrection,
}

func (e *edition) countFindings() map[survey.Kind]tally {
	n := map[survey.Kind]tally{}
	for _, k := range kinds {
		n[k] = tally{Verdicts: map[survey.Verdict]int{}}
	}
	for i := range e.Findings {
		f := &e.Findings[i]
		t, ok := n[f.Kind]
		if !ok {
			t.Verdicts = map[survey.Verdict]int{}
		}
		t.Total++
		if f.Verdict != survey.VerdictNone {
			t.Verdicts[f.Verdict]++
		}
		n[f.Kind] = t
	}
	return n
}

// countSwept counts the records that sweeps did not show: each has one finding.
func (e *edition) countSwept() sweptCount {
	n := sweptCount{Areas: len(e.Survey.Areas)}
	of := map[survey.Kind]*recordsLong{survey.KindNotDetected: &n.NotDetected, survey.KindNotTraceable: &n.NotTraceable}
	for i := range e.Findings {
		if f := &e.Findings[i]; of[f.Kind] != nil {
			of[f.Kind].Records++
			of[f.Kind].LengthM += f.ToM - f.FromM
		}
	}
	n.NotDetected.LengthM, n.NotTraceable.LengthM = rounded(n.NotDetected.LengthM, 3), rounded(n.NotTraceable.LengthM, 3)
	return n
}

func (e *edition) countMarkChecks() markCount {
	n := markCount{Verdicts: map[survey.Verdict]int{survey.VerdictWithin: 0, survey.VerdictOutside: 0, survey.VerdictUndecided: 0}}
	for i := range e.MarkChecks {
		c := &e.MarkChecks[i]
		if c.Reason != "" {
			n.NotCompared++
			continue
		}
		n.Compared++
		n.Verdicts[c.Verdict]++
	}
	return n
}

func (s *summary) countEffects(e *edition) {
	s.Effects = effectCount{
		Significant: map[survey.EffectKind]int{survey.EffectSheet: 0, survey.EffectSession: 0, survey.EffectSource: 0},
		Named:       []effectName{},
	}
	for _, f := range e.effects() {
		s.Effects.Total++
		if f.Significant {
			s.Effects.Significant[f.Kind]++
			s.Effects.Named = append(s.Effects.Named, effectName{f.Kind, f.Name, finite(f.V.East), finite(f.V.North)})
		}
	}
}

// lastReading is the time of the newest reading; zero if none has a time.
func (e *edition) lastReading() time.Time {
	newest := time.Time{}
	for i := range e.Survey.Sources {
		if s := &e.Survey.Sources[i]; s.Role == survey.RoleField && s.Last.After(newest) {
			newest = s.Last
		}
	}
	return newest
}

func (e *edition) writeSummary(w *bufio.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(e.summarise())
}
