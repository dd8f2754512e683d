package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
)

// release is the version of a released binary, set by the linker.
var release string

// version is what outputs call the program that made them.
func version() string {
	if release != "" {
		return release
	}
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" && info.Main.Version != "(devel)" {
		return info.Main.Version
	}
	return "devel"
}

// versionText is all that a report of a fault needs to know of the program.
func versionText() string {
	var b strings.Builder
	fmt.Fprintf(&b, "asfound %s\n%s %s/%s\n", version(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
	revision, modified := "unknown", ""
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			switch {
			case s.Key == "vcs.revision":
				revision = s.Value
			case s.Key == "vcs.modified" && s.Value == "true":
				modified = ", changed since"
			}
		}
	}
	fmt.Fprintf(&b, "revision %s%s\n", revision, modified)
	return b.String()
}

func versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version of asfound, of Go and of the source",
		Args:  cobra.NoArgs,
		Run:   func(cmd *cobra.Command, _ []string) { fmt.Fprint(cmd.OutOrStdout(), versionText()) },
	}
}
