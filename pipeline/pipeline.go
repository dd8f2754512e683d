package pipeline

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"

	"github.com/asfound/asfound/internal/life"
	"github.com/asfound/asfound/internal/mistakes"
	"github.com/asfound/asfound/pipeline/adjust"
	"github.com/asfound/asfound/pipeline/correct"
	"github.com/asfound/asfound/pipeline/judge"
	"github.com/asfound/asfound/pipeline/match"
	"github.com/asfound/asfound/pipeline/publish"
	"github.com/asfound/asfound/pipeline/rank"
	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// Job is one job, whole: what to read and how each stage works.
type Job struct {
	Name    string
	Banner  string // a line for every page
	Version string // of the program
	Names   Names  // of crews, receivers and sessions in what is published
	Ledger  string // file of what earlier runs found and people decided; "" none is kept
	Past    life.Past
	Full    bool     // read every file that is there, whatever earlier runs have read
	Forget  []string // names of files that are no longer there, and are not to count any more

	Read    read.Options
	Match   match.Options
	Matcher Matcher // nil: the match stage's own
	Adjust  adjust.Options
	Judge   judge.Options
	Correct correct.Options
	Rank    rank.Options
	Publish publish.Options
}

// Matcher says which record each reading belongs to, given what the adjustment
// of the last round found (nil in the first).
type Matcher func(*survey.Survey, *survey.Model) [][]survey.Match

// Progress is told of the work done: done of total steps of a stage. It is
// called from one goroutine.
type Progress func(stage string, done, total int)

// Outcome is a published run.
type Outcome struct {
	Folder    string // the run's folder
	Result    *survey.Result
	Decisions string // the workbook in which people decide; "" none is kept
	Note      string // what a person should know of it; "" nothing
	Read      string // which files of readings were read, and why; "" where no earlier run has read any
}

// maxRounds caps the rounds of match and adjust.
const maxRounds = 3

// Run does a job from reading to the published folder. On an error nothing is
// published.
func Run(ctx context.Context, job Job, log *slog.Logger, progress Progress) (out *Outcome, err error) {
	m, err := remember(&job)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, m.close()) }()
	step := steps{ctx, log, progress}
	var s *survey.Survey
	err = step.do("read", func() error {
		if s, err = readAll(ctx, job); err == nil {
			err = m.recall(s, &job)
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read: %w", err)
	}
	result, err := Analyse(ctx, s, job, log, progress)
	if err != nil {
		return nil, err
	}
	out = &Outcome{Result: result}
	err = step.do("publish", func() error { return m.publish(out, &job) })
	if err != nil {
		return nil, fmt.Errorf("publish: %w", err)
	}
	return out, nil
}

// Check reads everything a job names and publishes nothing.
func Check(ctx context.Context, job Job) (*survey.Survey, error) {
	return readAll(ctx, job)
}

// readAll reads what a job names, and sees that its rules can hold there.
func readAll(ctx context.Context, job Job) (*survey.Survey, error) {
	s, err := read.Files(ctx, job.Read)
	if err != nil {
		return nil, err
	}
	if unknown := job.Judge.UnknownDistricts(s); len(unknown) > 0 {
		var known []string
		for i := range s.Districts {
			known = append(known, s.Districts[i].Name)
		}
		return nil, fmt.Errorf("rules of the config name district %s, but the files of districts hold %s",
			strings.Join(unknown, ", "), strings.Join(slices.Compact(slices.Sorted(slices.Values(known))), ", "))
	}
	return s, nil
}

// Analyse does what lies between read and publish: a pure function of the survey
// and the job's options.
func Analyse(ctx context.Context, s *survey.Survey, job Job, log *slog.Logger, progress Progress) (*survey.Result, error) {
	step := steps{ctx, log, progress}
	if job.Names == NamesCodes {
		s = coded(s)
	}
	s = cameBack(s, &job.Past)
	r := &survey.Result{Job: job.Name, Version: job.Version, Banner: job.Banner, Decision: job.Judge.DecisionRule(), Survey: s, ResurveyBudget: job.Rank.Budget}
	ground := sync.OnceValue(func() *match.Ground { return match.Prepare(s, job.Match) })
	traces := job.Matcher
	if traces == nil {
		traces = func(_ *survey.Survey, prior *survey.Model) [][]survey.Match { return ground().Traces(prior) }
	}
	var err error
	for round := range maxRounds {
		before := r.Matches
		err = step.do("match", func() error {
			r.Matches = traces(s, r.Model)
			r.ExposureMatches = match.Exposures(s, r.Model, job.Match)
			return nil
		})
		if err != nil {
			return nil, err
		}
		if round > 0 && settled(before, r.Matches) {
			break
		}
		if round == maxRounds-1 {
			holdBack(before, r.Matches)
		}
		err = step.do("adjust", func() (err error) {
			before := r.Model
			r.Model = nil // two of a city would be in memory
			r.Model, err = adjust.Network(r.Survey, r.Matches, r.ExposureMatches, before, job.Adjust)
			return err
		})
		if err != nil {
			return nil, fmt.Errorf("adjust: %w", err)
		}
	}
	err = step.do("match", func() error {
		r.MarkMatches = ground().Marks(r.Model)
		return nil
	})
	if err != nil {
		return nil, err
	}
	err = step.do("judge", func() error {
		job.Judge.Mistakes = judge.Mistakes{
			Layers: mistakes.OfRecords(s, mistakes.Epoch), Positions: mistakes.OfPositions(s, mistakes.Epoch),
		}
		r.Judgements, r.Findings = judge.Records(r.Survey, r.Matches, r.Model, job.Judge)
		checks, marks := judge.Marks(r.Survey, r.Matches, r.MarkMatches, r.ExposureMatches, r.Model, job.Judge)
		r.MarkChecks, r.Findings = checks, life.Continue(s, r.Model, append(r.Findings, marks...), &job.Past)
		r.Bases = job.Judge.Bases()
		r.Model.Effects, r.Sessions = judge.Effects(r.Survey, r.Matches, r.Model, r.Findings, job.Judge)
		return nil
	})
	if err != nil {
		return nil, err
	}
	err = step.do("correct", func() error {
		c := correct.Lines(r.Survey, r.Judgements, r.Findings, r.Model, job.Correct)
		r.Corrections, r.FittingMoves, r.Findings = c.Lines, c.Fittings, append(r.Findings, life.Continue(s, r.Model, c.Findings, &job.Past)...)
		return nil
	})
	if err != nil {
		return nil, err
	}
	err = step.do("check", func() error { return holdOut(r, job) })
	if err != nil {
		return nil, fmt.Errorf("check: %w", err)
	}
	err = step.do("rank", func() error {
		r.Resurvey, r.Calibration = rank.Stretches(r.Survey, r.Judgements, r.Model, job.Rank)
		return nil
	})
	return r, err
}

// settled says whether two rounds use the same readings for the same records.
func settled(before, after [][]survey.Match) bool {
	for t := range after {
		for i := range after[t] {
			a, b := &before[t][i], &after[t][i]
			if a.Status != b.Status || a.Record != b.Record {
				return false
			}
		}
	}
	return true
}

// holdBack calls readings ambiguous whose record still changes in the last round.
func holdBack(before, after [][]survey.Match) {
	for t := range after {
		for i := range after[t] {
			a, b := &before[t][i], &after[t][i]
			if b.Status == survey.StatusUsed && a.Record != b.Record {
				b.Status = survey.StatusAmbiguous
				b.Reason = "its record still changed in the last round of matching"
			}
		}
	}
}
