package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/paulmach/orb"
	"github.com/spf13/cobra"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/judge"
	"github.com/asfound/asfound/pipeline/survey"
)

func checkCommand() *cobra.Command {
	var file string
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Read everything a config names and publish nothing",
		Long: `Read everything that a config names, as run would, and say what came in: rows
and what became of them, systems, extents, times, how many readings, marks and
exposures lie near a record, and how many records each rule of tolerance, minimum
cover and tolerance zone catches. Publishes nothing.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			job, err := loadJob(file)
			if err != nil {
				return err
			}
			s, err := pipeline.Check(cmd.Context(), job)
			if err != nil {
				return failed(err)
			}
			describe(cmd.OutOrStdout(), s, &job)
			if s.Warnings() {
				return exit{code: exitSetAside}
			}
			return nil
		},
	}
	cmd.Flags().StringVarP(&file, "config", "c", defaultConfig, "the job's config")
	return cmd
}

// describe says what came in, source by source.
func describe(w io.Writer, s *survey.Survey, job *pipeline.Job) {
	if plane, err := crs.Parse(s.Plane); err == nil {
		fmt.Fprintf(w, "working plane: %s\n\n", plane.Name())
	}
	near := nearRecords(s, job.Match.SearchRadiusM)
	rejects := s.Rejects // they stand in the order of the sources, which may be layers of one file
	for i := range s.Sources {
		src := &s.Sources[i]
		fmt.Fprintf(w, "%s (%s)\n", src.Label(), src.Role)
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		describeSource(t, src, rejects[:src.Rejected])
		rejects = rejects[src.Rejected:]
		if n, ok := near[src.Label()]; ok {
			fmt.Fprintf(t, "  near\t%.1f %% of %s within %g m of a record\n", 100*float64(n.near)/float64(n.all), words.Count(n.all, taken[src.Role]), job.Match.SearchRadiusM)
		}
		for _, note := range src.Notes {
			fmt.Fprintf(t, "  note\t%s\n", note)
		}
		t.Flush()
		fmt.Fprintln(w)
	}
	describeRules(w, s, &job.Judge)
	for _, note := range s.Notes {
		fmt.Fprintf(w, "\nnote: %s\n", note)
	}
}

func describeSource(t io.Writer, src *survey.Source, rejects []survey.Reject) {
	if src.Role == survey.RoleGrid {
		fmt.Fprintf(t, "  sha256\t%s\n", src.SHA256)
		return
	}
	fmt.Fprintf(t, "  rows\t%d: %d used, %d duplicate, %d rejected\n", src.Rows, src.Used, src.Duplicates, src.Rejected)
	for _, r := range rejectReasons(rejects) {
		fmt.Fprintf(t, "  rejected\t%d for %s\n", r.n, r.reason)
	}
	if src.SetAside != "" {
		fmt.Fprintf(t, "  set aside\t%s\n", src.SetAside)
	}
	if src.CRS != "" {
		fmt.Fprintf(t, "  system\t%s\n", src.CRS)
	}
	if src.Operation != "" {
		fmt.Fprintf(t, "  operation\t%s\n", src.Operation)
	}
	if src.Used > 0 {
		fmt.Fprintf(t, "  extent\t%.0f to %.0f east, %.0f to %.0f north in the working plane\n", src.West, src.East, src.South, src.North)
	}
	if !src.First.IsZero() {
		fmt.Fprintf(t, "  time\t%s to %s\n", src.First.UTC().Format(time.RFC3339), src.Last.UTC().Format(time.RFC3339))
	}
}

type reasonCount struct {
	reason string
	n      int
}

// rejectReasons counts rejected rows by field and reason, the most frequent
// first.
func rejectReasons(rejects []survey.Reject) []reasonCount {
	counts := map[string]int{}
	for i := range rejects {
		counts[strings.TrimPrefix(rejects[i].Field+": "+rejects[i].Reason, ": ")]++
	}
	var out []reasonCount
	for reason, n := range counts {
		out = append(out, reasonCount{reason, n})
	}
	slices.SortFunc(out, func(a, b reasonCount) int {
		return cmp.Or(cmp.Compare(b.n, a.n), cmp.Compare(a.reason, b.reason))
	})
	return out
}

type nearCount struct{ near, all int }

// taken are the words for what lies above a line, and so near one.
var taken = map[survey.Role]string{survey.RoleField: "reading", survey.RoleMarks: "mark", survey.RoleExposures: "exposure", survey.RoleFittings: "fitting"}

// nearRecords counts, per source, what lies within a ground distance of some
// record. A share far below one tells of a wrong coordinate system or unit.
func nearRecords(s *survey.Survey, radiusM float64) map[string]nearCount {
	var segments []spatial.Segment
	scale := 1.0 // of the plane; it differs by parts in ten thousand over a job
	for i := range s.Records {
		if r := &s.Records[i]; r.Scale > 0 {
			scale = r.Scale
		}
		for _, part := range s.Records[i].Parts {
			for j := 1; j < len(part); j++ {
				segments = append(segments, spatial.Segment{A: part[j-1], B: part[j]})
			}
		}
	}
	index := spatial.New(segments, 2*radiusM)
	counts := map[string]nearCount{}
	count := func(source string, p orb.Point) {
		c := counts[source]
		c.all++
		if _, _, ok := index.Nearest(p, radiusM*scale); ok {
			c.near++
		}
		counts[source] = c
	}
	for t := range s.Traces {
		for i := range s.Traces[t].Readings {
			count(s.Traces[t].Readings[i].File, s.Traces[t].Readings[i].Point)
		}
	}
	for i := range s.Marks {
		count(s.Marks[i].File, s.Marks[i].Point)
	}
	for i := range s.Exposures {
		count(s.Exposures[i].File, s.Exposures[i].Point)
	}
	for i := range s.Fittings {
		count(s.Fittings[i].Source, s.Fittings[i].Point)
	}
	return counts
}

// describeRules says how many records each rule catches, of each kind of rule.
func describeRules(w io.Writer, s *survey.Survey, o *judge.Options) {
	var rules []string
	for i := range o.Rules {
		rules = append(rules, o.Rules[i].Words)
	}
	countRules(w, "tolerance", append(rules, o.Default.Words), o.Caught(s))
	if n := o.Widthless(s); n > 0 {
		fmt.Fprintf(w, "  note: half the diameter is added to the tolerance, but %s none\n", words.Count(n, "record has", "records have"))
	}
	if len(o.Cover) > 0 {
		rules = nil
		for i := range o.Cover {
			rules = append(rules, o.Cover[i].Words)
		}
		countRules(w, "\nminimum cover (the local code decides)", append(rules, "no rule"), o.CoverCaught(s))
	}
	if len(o.Zones) > 0 {
		rules = nil
		for i := range o.Zones {
			rules = append(rules, o.Zones[i].Words)
		}
		countRules(w, "\ntolerance zone of marks (the local law decides)", append(rules, "no rule"), o.ZoneCaught(s))
	}
}

// countRules lists rules, the one of all that no other catches last, with the
// records that each caught.
func countRules(w io.Writer, title string, rules []string, caught []int) {
	counts := make([]int, len(rules))
	for _, rule := range caught {
		if rule < 0 {
			rule = len(rules) - 1
		}
		counts[rule]++
	}
	fmt.Fprintln(w, title)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for i, rule := range rules {
		fmt.Fprintf(t, "  %s\t%s\n", rule, words.Count(counts[i], "record"))
	}
	t.Flush()
}
