package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/survey"
)

// defaultConfig is the config that commands take where none is named.
const defaultConfig = "asfound.yaml"

func runCommand() *cobra.Command {
	var file, failOn string
	var again recompute
	var w watch
	cmd := &cobra.Command{
		Use:   "run",
		Short: "Do a job and publish its folder",
		Long: `Do the job that a config describes and publish its folder, whole or not at all.

A summary goes to standard output; progress, or log lines where nobody watches,
to standard error.

What was read of files of readings is kept beside the ledger, so that they need
not be read, or be there, again. --full reads every file that is there anew. The
rest of a run is always computed whole.`,
		Example: "  asfound run -c harbour.yaml\n  asfound run --fail-on findings --log json 2>run.log",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if failOn != "" && failOn != "findings" {
				return exit{exitUsage, fmt.Errorf("--fail-on %s is not known: use --fail-on findings", failOn)}
			}
			return runJob(cmd, file, failOn == "findings", again, w)
		},
	}
	cmd.Flags().StringVarP(&file, "config", "c", defaultConfig, "the job's config")
	cmd.Flags().StringVar(&failOn, "fail-on", "", `leave with code 1 on "findings"`)
	cmd.Flags().BoolVar(&again.full, "full", false, "read every file of readings anew")
	cmd.Flags().StringSliceVar(&again.forget, "forget", nil, "a file of readings that is no longer there and is not to count any more, by its name in the job")
	w.flags(cmd)
	return cmd
}

// recompute says what of earlier runs is not to be used.
type recompute struct {
	full   bool
	forget []string
}

// runJob loads a config, does its job and says what came of it.
func runJob(cmd *cobra.Command, file string, failOnFindings bool, again recompute, w watch) error {
	job, err := loadJob(file)
	if err != nil {
		return err
	}
	job.Full, job.Forget = again.full, again.forget
	log, progress, done, err := w.start(cmd.ErrOrStderr())
	if err != nil {
		return err
	}
	outcome, err := pipeline.Run(cmd.Context(), job, log, progress)
	done()
	if err != nil {
		return failure(err)
	}
	if w.quiet {
		fmt.Fprintln(cmd.OutOrStdout(), outcome.Folder)
	} else {
		summarise(cmd.OutOrStdout(), outcome)
	}
	switch {
	case outcome.Result.Survey.Warnings():
		return exit{code: exitSetAside, err: setAside(outcome.Result.Survey)}
	case failOnFindings && slices.ContainsFunc(outcome.Result.Findings, func(f survey.Finding) bool { return !f.Life.Quiet() }):
		return exit{code: exitFindings}
	}
	return nil
}

// loadJob reads a config. What is wrong with it is for its writer to mend.
func loadJob(file string) (pipeline.Job, error) {
	c, err := config.Load(file)
	var problems config.Problems
	switch {
	case errors.As(err, &problems):
		return pipeline.Job{}, exit{exitUsage, fmt.Errorf("the config cannot be used as it is\n%w", problems)}
	case err != nil:
		return pipeline.Job{}, exit{exitUsage, err}
	}
	return c.Job(version(), time.Now()), nil
}

// failure is a run that ended without a folder.
func failure(err error) error {
	if errors.Is(err, context.Canceled) {
		return failed(errors.New("stopped; nothing was published"))
	}
	return failed(fmt.Errorf("%w\nNothing was published", err))
}
