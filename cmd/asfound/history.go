package main

import (
	"bufio"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"github.com/asfound/asfound/internal/ledger"
	"github.com/asfound/asfound/internal/life"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/survey"
)

func historyCommand() *cobra.Command {
	var file, record, asOf string
	cmd := &cobra.Command{
		Use:   "history",
		Short: "Say what was found, decided and changed, by date",
		Long: `Say what was found, decided and changed on the map, by date, and how the share of
the surveyed length that is within tolerance went on. All of it comes from the
job's ledger; nothing is read or computed anew.

With --as-of, write the map as it stood on a day as GeoJSON instead.`,
		Example: "  asfound history --record WM-1042\n  asfound history --as-of 2026-06-30 >map.geojson",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			job, err := loadJob(file)
			if err != nil {
				return err
			}
			if job.Ledger == "" {
				return exit{exitUsage, fmt.Errorf("%s says ledger: none, so nothing of earlier runs is known", file)}
			}
			l, err := ledger.OpenExisting(job.Ledger, job.Publish.Output)
			if err != nil {
				return failed(err)
			}
			defer l.Close()
			if asOf != "" {
				err = writeAsOf(cmd.OutOrStdout(), l, &job, asOf)
			} else {
				err = tellHistory(cmd.OutOrStdout(), l, &job, record)
			}
			return err
		},
	}
	cmd.Flags().StringVarP(&file, "config", "c", defaultConfig, "the job's config")
	cmd.Flags().StringVar(&record, "record", "", "of one record, by its id or source#id")
	cmd.Flags().StringVar(&asOf, "as-of", "", "the map as of a day, 2026-06-30, as GeoJSON")
	cmd.MarkFlagsMutuallyExclusive("record", "as-of")
	return cmd
}

// told is one line of a history.
type told struct {
	run  int64
	when time.Time
	text string
}

// tellHistory writes what happened, the trend and the caution.
func tellHistory(w io.Writer, l *ledger.Ledger, job *pipeline.Job, record string) error {
	runs, err := l.Runs()
	if err != nil {
		return failed(err)
	}
	lines, err := happened(l, record)
	if err != nil {
		return failed(err)
	}
	fmt.Fprintf(w, "%s: %s\n", job.Name, words.Count(len(runs), "run"))
	if record != "" && len(lines) == 0 {
		fmt.Fprintf(w, "\nnothing was found, decided or changed of record %s\n", record)
	}
	last := ""
	for _, line := range lines {
		day := line.when.UTC().Format(time.DateOnly)
		if day != last {
			fmt.Fprintf(w, "\n%s\n", day)
			last = day
		}
		fmt.Fprintf(w, "  %s\n", line.text)
	}
	if record == "" {
		trend(w, runs)
	}
	fmt.Fprintf(w, "\n%s\n", survey.Caution)
	return nil
}

// happened puts what was found, decided and changed in the order in which it
// happened: a map changes and people decide before a run finds.
func happened(l *ledger.Ledger, record string) (lines []told, err error) {
	changes, err := l.Changes(record)
	if err != nil {
		return nil, err
	}
	for i := range changes {
		lines = append(lines, told{changes[i].Run, changes[i].When, "changed   " + changeWords(&changes[i])})
	}
	decisions, err := l.Decisions(record)
	if err != nil {
		return nil, err
	}
	for i := range decisions {
		lines = append(lines, told{decisions[i].Run, decisions[i].When, "decided   " + decisionWords(&decisions[i])})
	}
	findings, err := l.Findings(record)
	if err != nil {
		return nil, err
	}
	before := map[string]*life.Finding{}
	for i := range findings {
		f := &findings[i]
		if text := findingWords(&f.Finding, before[f.ID]); text != "" {
			lines = append(lines, told{f.Run, f.When, "found     " + text})
		}
		before[f.ID] = &f.Finding
	}
	slices.SortStableFunc(lines, func(a, b told) int { return cmp.Compare(a.run, b.run) })
	return lines, nil
}

func changeWords(c *ledger.Change) string {
	switch {
	case c.Gone:
		return "record " + c.ID + " is no longer on the map"
	case c.First:
		return "record " + c.ID + " is new on the map"
	case c.Corrected:
		return "record " + c.ID + " is on the map as proposed, and has left its sheet"
	}
	return "record " + c.ID + " is not as it was"
}

func decisionWords(d *ledger.Decided) string {
	text := d.Finding + " " + cmp.Or(d.Word, "no decision any more")
	if d.Word == string(survey.LifeDeferred) {
		text += " until " + d.Until
	}
	if d.Who != "" {
		text += " by " + d.Who
	}
	if d.Remark != "" {
		text += ": " + d.Remark
	}
	return text
}

// findingWords says a finding where more than its numbers changed, or those by a
// centimetre; "" where they did not.
func findingWords(f, before *life.Finding) string {
	const worthM = 0.01
	if before != nil && f.Life == before.Life && f.Verdict == before.Verdict && f.Record == before.Record && math.Abs(f.OffsetM-before.OffsetM) < worthM {
		return ""
	}
	if before != nil && before.Life == survey.LifeNew && f.Life == survey.LifeOpen && f.Verdict == before.Verdict && math.Abs(f.OffsetM-before.OffsetM) < worthM {
		return "" // open since it was new
	}
	text := fmt.Sprintf("%s %s", f.ID, f.Life)
	if f.Label != "" {
		text += ", record " + f.Label
	}
	if f.Life != survey.LifeGone && f.Life != survey.LifeCorrected {
		text += ", " + strings.TrimSpace(fmt.Sprintf("%s %s", strings.ReplaceAll(string(f.Kind), "_", " "), f.Verdict))
		if f.Kind == survey.KindPosition || f.Kind == survey.KindDepth {
			text += fmt.Sprintf(" %+.2f m (u %.2f m)", f.OffsetM, f.OffsetU)
		}
	}
	if f.Reason != "" {
		text += ": " + f.Reason
	}
	return text
}

// trend is a line a run: how much is surveyed, and what share of it is within.
func trend(w io.Writer, runs []ledger.Run) {
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "run\tsurveyed\twithin\toutside\tundecided\tof the surveyed length within")
	for i := range runs {
		r := &runs[i]
		surveyed := r.WithinM + r.OutsideM + r.UndecidedM
		share := "-"
		if surveyed > 0 {
			share = fmt.Sprintf("%.1f %%", 100*r.WithinM/surveyed)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\n", r.Started.UTC().Format("2006-01-02 15:04"),
			distance(surveyed), distance(r.WithinM), distance(r.OutsideM), distance(r.UndecidedM), share)
	}
	t.Flush()
}

// writeAsOf writes the map as of a day as GeoJSON (RFC 7946).
func writeAsOf(out io.Writer, l *ledger.Ledger, job *pipeline.Job, asOf string) error {
	day, err := time.Parse(time.DateOnly, asOf)
	if err != nil {
		return exit{exitUsage, fmt.Errorf("--as-of %s is no date: write it as 2026-06-30", asOf)}
	}
	run, records, err := l.AsOf(day, job.Publish.Grids...)
	if err != nil {
		return failed(err)
	}
	w := bufio.NewWriter(out)
	head, err := json.Marshal(map[string]string{
		"caution": survey.Caution, "job": job.Name, "as_of": asOf, "run": run.Folder, "started": run.Started.UTC().Format(time.RFC3339),
	})
	if err != nil {
		return failed(err)
	}
	fmt.Fprintf(w, "{\"type\":\"FeatureCollection\",\"name\":\"map-as-of-%s\",\n\"asfound\":%s,\n\"features\":[", asOf, head)
	for i := range records {
		text, err := json.Marshal(featureOf(&records[i]))
		if err != nil {
			return failed(err)
		}
		if i > 0 {
			w.WriteByte(',')
		}
		fmt.Fprintf(w, "\n%s", text)
	}
	fmt.Fprintf(w, "\n]}\n")
	return w.Flush()
}

type feature struct {
	Type       string         `json:"type"`
	Properties map[string]any `json:"properties"`
	Geometry   geometry       `json:"geometry"`
}

type geometry struct {
	Type        string         `json:"type"`
	Coordinates [][][2]float64 `json:"coordinates"`
}

// featureOf is a record with 9 decimals of a degree, as every GeoJSON of a run has.
func featureOf(s *ledger.Standing) feature {
	f := feature{Type: "Feature", Geometry: geometry{Type: "MultiLineString"}, Properties: map[string]any{
		"record": s.ID, "source_and_id": s.Key, "utility": s.Utility, "sheet": s.Sheet, "corrected": s.Corrected, "attributes": s.Attributes, "cover_m": nil,
	}}
	if !math.IsNaN(s.CoverM) {
		f.Properties["cover_m"] = s.CoverM
	}
	for _, part := range s.Line {
		line := make([][2]float64, len(part))
		for i, at := range part {
			line[i] = [2]float64{math.Round(at[0]*1e9) / 1e9, math.Round(at[1]*1e9) / 1e9}
		}
		f.Geometry.Coordinates = append(f.Geometry.Coordinates, line)
	}
	return f
}
