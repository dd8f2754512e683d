package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"github.com/asfound/asfound/internal/synth"
)

func demoCommand() *cobra.Command {
	var dir string
	var w watch
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Make up a town with a known truth and do a job on it",
		Long: `Write the files of a made-up town into a folder, with the config of a job on
them, do the job, and say what to open. Everything in the town is invented.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := checkDemoFolder(dir); err != nil {
				return exit{exitUsage, err}
			}
			file, err := synth.Demo(dir)
			if err != nil {
				return failed(err)
			}
			return runJob(cmd, file, false, recompute{}, w)
		},
	}
	cmd.Flags().StringVar(&dir, "dir", "demo", "the folder to write into")
	w.flags(cmd)
	return cmd
}

// demoMarker is a file that says that a folder was made by this command.
const demoMarker = ".asfound-demo"

// checkDemoFolder sees that the demo overwrites nothing but an earlier demo, and
// marks the folder.
func checkDemoFolder(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return fmt.Errorf("%s: %w: name another folder with --dir", dir, err)
	case len(entries) > 0 && !exists(filepath.Join(dir, demoMarker)):
		return fmt.Errorf("%s holds other files: name a new folder with --dir", dir)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	text := strings.TrimSpace("asfound demo writes into this folder.") + "\n"
	return os.WriteFile(filepath.Join(dir, demoMarker), []byte(text), 0o644)
}
