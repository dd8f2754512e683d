package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/survey"
)

// summarise says in a screen what a run found, and what to open.
func summarise(w io.Writer, o *pipeline.Outcome) {
	r := o.Result
	fmt.Fprintf(w, "%s\n\n", r.Job)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "records\t%d in %s\n", len(r.Survey.Records), distance(total(r.Judgements, func(j *survey.Judgement) float64 { return j.LengthM })))
	fmt.Fprintf(t, "readings\t%s\n", readingCounts(r))
	fmt.Fprintf(t, "length\t%s\n", verdictLengths(r.Judgements))
	fmt.Fprintf(t, "findings\t%s\n", findingCounts(r.Findings))
	fmt.Fprintf(t, "corrected\t%s\n", correctionCounts(r.Corrections))
	for _, name := range []string{"report.html", "register.xlsx", "records-updated.gpkg"} {
		if path := filepath.Join(o.Folder, name); exists(path) {
			fmt.Fprintf(t, "open\t%s\n", fromHere(path))
		}
	}
	if o.Read != "" {
		fmt.Fprintf(t, "evidence\t%s\n", o.Read)
	}
	if o.Decisions != "" && len(r.Findings) > 0 {
		fmt.Fprintf(t, "decide\t%s\n", fromHere(o.Decisions))
	}
	t.Flush()
	largest(w, r)
	for _, note := range slices.DeleteFunc(slices.Concat(r.Survey.Notes, r.Model.Notes, []string{o.Note}), func(s string) bool { return s == "" }) {
		fmt.Fprintf(w, "\nnote: %s\n", note)
	}
}

// shown is how many findings a summary words.
const shown = 3

// largest words the findings of the largest wrong length, the worst first.
func largest(w io.Writer, r *survey.Result) {
	var outside []*survey.Finding
	for i := range r.Findings {
		if f := &r.Findings[i]; f.Kind == survey.KindPosition && f.Verdict == survey.VerdictOutside && !f.Life.Quiet() {
			outside = append(outside, f)
		}
	}
	weight := func(f *survey.Finding) float64 { return (f.ToM - f.FromM) * math.Abs(f.OffsetM) }
	slices.SortStableFunc(outside, func(a, b *survey.Finding) int { return cmp.Compare(weight(b), weight(a)) })
	for _, f := range outside[:min(shown, len(outside))] {
		fmt.Fprintf(w, "\n%s, finding %s\n", r.Survey.Records[f.Record].ID, f.ID)
		for _, line := range wrap(f.Sentence, 96) {
			fmt.Fprintf(w, "  %s\n", line)
		}
	}
	if more := len(outside) - shown; more > 0 {
		fmt.Fprintf(w, "\nand %d more outside\n", more)
	}
}

// wrap breaks a text into lines of at most width characters, at spaces.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && len(line)+1+len(word) > width {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// fromHere is a path as seen from the working directory, where it lies below.
func fromHere(path string) string {
	here, err := os.Getwd()
	if err != nil {
		return path
	}
	if rel, err := filepath.Rel(here, path); err == nil && filepath.IsLocal(rel) {
		return rel
	}
	return path
}

func total(js []survey.Judgement, of func(*survey.Judgement) float64) float64 {
	sum := 0.0
	for i := range js {
		sum += of(&js[i])
	}
	return sum
}

// distance says metres up to a kilometre, then kilometres.
func distance(m float64) string {
	if m < 1000 {
		return fmt.Sprintf("%.0f m", m)
	}
	return fmt.Sprintf("%.1f km", m/1000)
}

func readingCounts(r *survey.Result) string {
	n := 0
	counts := map[survey.Status]int{}
	for _, trace := range r.Matches {
		for i := range trace {
			counts[trace[i].Status]++
			n++
		}
	}
	parts := []string{fmt.Sprintf("%d in %s", n, words.Count(len(r.Survey.Traces), "trace"))}
	for _, s := range []survey.Status{
		survey.StatusUsed, survey.StatusAmbiguous, survey.StatusUnmapped, survey.StatusUntrusted,
		survey.StatusForeign, survey.StatusSonde, survey.StatusDuplicate,
	} {
		if counts[s] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", counts[s], s))
		}
	}
	return strings.Join(parts, ", ")
}

// verdictLengths says the length of each verdict: a count of records would let
// one short stretch speak for a long line.
func verdictLengths(js []survey.Judgement) string {
	within := total(js, func(j *survey.Judgement) float64 { return j.WithinM })
	outside := total(js, func(j *survey.Judgement) float64 { return j.OutsideM })
	undecided := total(js, func(j *survey.Judgement) float64 { return j.UndecidedM })
	unsurveyed := total(js, func(j *survey.Judgement) float64 { return j.LengthM - j.WithinM - j.OutsideM - j.UndecidedM })
	return fmt.Sprintf("%s within, %s outside, %s undecided, %s unsurveyed",
		distance(within), distance(outside), distance(undecided), distance(max(unsurveyed, 0)))
}

func findingCounts(fs []survey.Finding) string {
	if len(fs) == 0 {
		return "none"
	}
	decided, undecided, quiet := map[survey.Kind]int{}, map[survey.Kind]int{}, 0
	for i := range fs {
		switch {
		case fs[i].Life.Quiet():
			quiet++
		case fs[i].Verdict == survey.VerdictUndecided:
			undecided[fs[i].Kind]++
		default:
			decided[fs[i].Kind]++
		}
	}
	var parts []string
	for _, k := range []survey.Kind{
		survey.KindPosition, survey.KindDepth, survey.KindCover, survey.KindCoverPattern, survey.KindUnmapped, survey.KindNotDetected, survey.KindNotTraceable,
		survey.KindMark, survey.KindCorrection,
	} {
		words := strings.ReplaceAll(string(k), "_", " ")
		if decided[k] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", decided[k], words))
		}
		if undecided[k] > 0 {
			parts = append(parts, fmt.Sprintf("%d undecided %s", undecided[k], words))
		}
	}
	if quiet > 0 {
		parts = append(parts, fmt.Sprintf("%d rejected or deferred", quiet))
	}
	return strings.Join(parts, ", ")
}

func correctionCounts(cs []survey.Correction) string {
	moved, follow := 0, 0
	for i := range cs {
		switch {
		case cs[i].Moved && cs[i].Neighbor:
			follow++
		case cs[i].Moved:
			moved++
		}
	}
	return fmt.Sprintf("%d proposed, %s", moved, words.Count(follow, "neighbour follows at its end", "neighbours follow at their ends"))
}

// setAside says which input was left out and why.
func setAside(s *survey.Survey) error {
	lines := []string{"some input was set aside; the rest was published"}
	for i := range s.Sources {
		if why := s.Sources[i].SetAside; why != "" {
			lines = append(lines, s.Sources[i].Name+": "+why)
		}
	}
	return errors.New(strings.Join(lines, "\n"))
}
