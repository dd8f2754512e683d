package publish

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// fact is one line of how a result came about.
type fact struct{ Name, Value, Source string }

// cautions are what a reader must know first who has nothing else.
func (e *edition) cautions() []fact {
	var facts []fact
	if e.Banner != "" {
		facts = append(facts, fact{Name: "Banner", Value: e.Banner})
	}
	for _, c := range survey.Cautions() {
		facts = append(facts, fact{Name: "Caution", Value: c})
	}
	return append(facts, fact{Name: "Job", Value: e.Job}, fact{Name: "Version", Value: e.Version})
}

// method says how the result came about: what was compared with what, and by
// which numbers.
func (e *edition) method() []fact {
	facts := []fact{
		{Name: "Working plane", Value: e.plane.Name()},
		{Name: "Working plane to WGS 84", Value: e.toWGS84.Name()},
	}
	for i := range e.layers {
		facts = append(facts, fact{
			Name:  "Records of " + e.Survey.Layers[i].Source,
			Value: e.layers[i].system.Name() + "; corrected vertices by " + e.layers[i].fromPlane.Name(),
		})
	}
	for i := range e.Survey.Sources {
		s := &e.Survey.Sources[i]
		if s.Operation == "" {
			continue
		}
		facts = append(facts, fact{Name: "Positions of " + s.Name, Value: s.CRS + ", by " + s.Operation})
	}
	facts = append(facts, howItWorks...)
	if e.Decision != "" {
		facts = append(facts, fact{Name: "Rule of decision", Value: e.Decision})
	}
	facts = append(facts, e.rules()...)
	for _, b := range e.Bases {
		facts = append(facts, fact{b.Name, b.Words, b.Source})
	}
	facts = append(facts, e.accuracyFacts()...)
	if e.Model != nil {
		for _, t := range e.Model.Budget {
			value := strconv.FormatFloat(t.Value, 'g', -1, 64)
			if t.U > 0 {
				value += " ± " + strconv.FormatFloat(t.U, 'g', -1, 64)
			}
			facts = append(facts, fact{"Error budget: " + t.Name, strings.TrimSpace(value + " " + t.Unit), t.Source})
		}
		facts = append(facts, e.fitFacts()...)
	}
	return facts
}

// howItWorks is the method in words.
var howItWorks = []fact{
	{Name: "Stations", Value: "Distance along a record from its first vertex, ground metres."},
	{Name: "Offsets", Value: "Distance from record to reading or adjusted line, ground metres, + to the right of the record's direction."},
	{Name: "Uncertainty", Value: "One standard deviation unless it says 95 %. Across a line 95 % is 1.96 standard deviations (one dimension)."},
	{Name: "Matching", Value: "Every reading is given the record that its whole trace makes most probable. Readings whose record is not sure are shown and used for nothing."},
	{Name: "Adjustment", Value: "The map is adjusted to the readings by least squares, with the shifts of sheets and records, the errors of sessions and sources of positions and a bias of every trace as unknowns, so that the uncertainty of the map and of the field are both in the sum."},
	{Name: "Verdict", Value: "within: the adjusted line lies inside the tolerance. outside: it lies beyond it over a stretch. undecided: the data cannot tell; the finding says what accuracy would. unsurveyed: no evidence near."},
	{Name: "Attribution", Value: "To what this data attributes a difference: record, field, frame (coordinate system or unit), or inseparable. It assigns no liability."},
	{Name: "Corrected lines", Value: "Proposals: vertices move by the adjusted difference, fading out to nothing beyond the evidence. Nothing else of a record changes."},
	{Name: "Re-survey order", Value: "By the wrong length that a survey is expected to resolve for the money, times its consequence: a stretch's own, and that of its sheet whose shift it settles. One stretch is picked after the other, and what it will tell counts for the next. " + orderCaution},
	{Name: "Not detected", Value: "A record in an area swept for its utility with no reading on it. It does not say that the line is absent."},
	{Name: "Not traceable", Value: "A record in such an area that the map says no signal can be put on: a sweep for signals says nothing of it. It is not among those not detected."},
}

// rules are the tolerance rules that caught records, in words, sorted, with the
// source of those that are a published class.
func (e *edition) rules() []fact {
	seen := map[fact]bool{}
	for i := range e.Judgements {
		t := &e.Judgements[i].Tolerance
		f := fact{"Tolerance", t.Rule, t.Source}
		if t.Rule == "" {
			f.Value = fmt.Sprintf("%g m across the line, %g m in depth", t.HorizontalM, t.DepthM)
		}
		seen[f] = true
	}
	return slices.SortedFunc(maps.Keys(seen), func(a, b fact) int { return cmp.Compare(a.Value, b.Value) })
}
