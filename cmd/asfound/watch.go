package main

import (
	"fmt"
	"io"
	"log/slog"
	"os"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"github.com/asfound/asfound/pipeline"
)

// watch is how a long command tells how far it is: a bar for a person at a
// terminal, log lines otherwise.
type watch struct {
	log   string
	quiet bool
}

func (w *watch) flags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&w.log, "log", "", `log lines as "text" or "json" instead of a progress bar`)
	cmd.Flags().BoolVar(&w.quiet, "quiet", false, "say nothing but errors and the result's folder")
}

// start opens the log and the progress. Call done when the work has ended.
func (w *watch) start(stderr io.Writer) (log *slog.Logger, progress pipeline.Progress, done func(), err error) {
	options := &slog.HandlerOptions{}
	if w.quiet {
		options.Level = slog.LevelWarn
	}
	switch {
	case w.log == "json":
		return slog.New(slog.NewJSONHandler(stderr, options)), nil, func() {}, nil
	case w.log != "" && w.log != "text":
		return nil, nil, nil, exit{exitUsage, fmt.Errorf("--log %s is not known: use --log text or --log json", w.log)}
	case w.log == "" && !w.quiet && isTerminal(stderr):
		b := bar{out: stderr}
		return slog.New(slog.DiscardHandler), b.step, b.done, nil
	}
	return slog.New(slog.NewTextHandler(stderr, options)), nil, func() {}, nil
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// bar shows the stage and how many are done.
type bar struct {
	out     io.Writer
	p       *progressbar.ProgressBar
	reached int
}

func (b *bar) step(stage string, done, total int) {
	if b.p == nil {
		b.p = progressbar.NewOptions(total,
			progressbar.OptionSetWriter(b.out),
			progressbar.OptionSetWidth(30),
			progressbar.OptionShowCount(),
			progressbar.OptionSetPredictTime(false),
			progressbar.OptionClearOnFinish())
	}
	b.p.ChangeMax(total)
	b.p.Describe(fmt.Sprintf("%-8s", stage))
	b.reached = max(b.reached, done) // a second round of matching is no step back
	_ = b.p.Set(b.reached)           // a bar that cannot be drawn stops no run
}

func (b *bar) done() {
	if b.p != nil {
		_ = b.p.Finish()
	}
}
