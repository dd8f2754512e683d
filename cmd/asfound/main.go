// Command asfound matches field readings of buried lines to a utility's map
// records and says where the map is outside tolerance.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"github.com/asfound/asfound/pipeline/survey"
)

func main() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(garbagePercent)
	}
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

// garbagePercent is how much garbage, against what is in use, may gather before it is
// collected (Go's own 100): on a million readings it takes a fifth off the most
// memory, for one in forty of the processor's time.
const garbagePercent = 50

// run is the program: arguments in, exit code out.
func run(args []string, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second interrupt ends the program at once

	root := rootCommand()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	return guard(stderr, func() error { return root.ExecuteContext(ctx) })
}

// guard does some work and turns how it ends into an exit code. A fault of the
// program, a panic, is told apart from what a user can mend.
func guard(stderr io.Writer, work func() error) (code int) {
	defer func() {
		if cause := recover(); cause != nil {
			reportPanic(stderr, cause, debug.Stack())
			code = exitFailed
		}
	}()
	err := work()
	if err == nil {
		return exitPublished
	}
	var e exit
	if !errors.As(err, &e) { // what cobra says of the arguments
		e = exit{exitUsage, fmt.Errorf("%w\nRun 'asfound --help' for usage", err)}
	}
	if e.err != nil {
		fmt.Fprintln(stderr, "asfound:", e.err)
	}
	return e.code
}

func rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "asfound",
		Short: "Find where a utility's map of buried lines is wrong, from the readings crews take anyway",
		Long: `asfound matches field readings of buried lines to a utility's map records, says
where the map is outside tolerance with the uncertainty of both sides, to what
the data attributes each difference, proposes corrected lines, and ranks what to
survey next.

` + strings.Join(survey.Cautions(), "\n"),
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(runCommand(), checkCommand(), historyCommand(), initCommand(), demoCommand(), versionCommand())
	root.SetHelpTemplate(root.HelpTemplate() + exitHelp)
	return root
}

// reportPanic tells a user what to do about a fault of the program, and the
// developers what they need.
func reportPanic(w io.Writer, cause any, stack []byte) {
	fmt.Fprintf(w, `asfound: a fault in the program, not in your data. Nothing was published.
Please report it at https://github.com/asfound/asfound/issues with the lines
below and, if you may share them, the config and the input that it names.

%s
panic: %v

%s`, strings.TrimSpace(versionText()), cause, stack)
}
