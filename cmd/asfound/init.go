package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"github.com/asfound/asfound/config/starter"
	"github.com/asfound/asfound/pipeline/read"
)

func initCommand() *cobra.Command {
	var out string
	var force bool
	cmd := &cobra.Command{
		Use:   "init FILES...",
		Short: "Look at files and write a starter config for them",
		Long: `Look at files and write a starter config for them: what each looks like, which of
its columns is which quantity, in which unit, and what values were seen. What the
files cannot say stands as TODO, and check and run refuse it, line by line, until
somebody has decided.`,
		Example: "  asfound init -o asfound.yaml gis/*.shp field/*.csv control.csv\n  asfound check",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if out != "" && !force && exists(out) {
				return exit{exitUsage, fmt.Errorf("%s is there already: name another file with --output, or overwrite it with --force", out)}
			}
			files, err := lookAt(args, filepath.Dir(out))
			if err != nil {
				return exit{exitUsage, err}
			}
			text, err := starter.Config(files, starter.Options{Matches: matcher(filepath.Dir(out))})
			switch {
			case err != nil:
				return failed(err)
			case out == "":
				_, err = fmt.Fprint(cmd.OutOrStdout(), text)
			default:
				err = os.WriteFile(out, []byte(text), 0o644)
			}
			if err != nil {
				return failed(err)
			}
			return nil
		},
	}
	cmd.Flags().StringVarP(&out, "output", "o", "", "the config to write; standard output where none is named")
	cmd.Flags().BoolVar(&force, "force", false, "overwrite the config")
	return cmd
}

// lookAt looks at files, which may be given as patterns, layer by layer. Paths
// are named from a folder, as those of a config there.
func lookAt(args []string, folder string) ([]starter.File, error) {
	paths, err := expand(args)
	if err != nil {
		return nil, err
	}
	var files []starter.File
	for _, path := range paths {
		name, err := from(folder, path)
		if err != nil {
			return nil, err
		}
		if strings.EqualFold(filepath.Ext(path), ".nmea") { // a log has no columns to look at
			files = append(files, starter.File{Path: name})
			continue
		}
		layers, err := read.Layers(path)
		if err != nil || len(layers) < 2 {
			layers = []string{""}
		}
		for _, layer := range layers {
			g, err := read.Look(path, layer)
			files = append(files, starter.File{Path: name, Broken: err, Glimpse: g})
		}
	}
	return files, nil
}

// expand lists the files that arguments name, each once. Files that only
// accompany a .shp are left to it.
func expand(args []string) ([]string, error) {
	var paths []string
	for _, arg := range args {
		found := []string{arg}
		if info, err := os.Stat(arg); err == nil && info.IsDir() {
			return nil, fmt.Errorf("%s is a folder: name the files in it, as in %s", arg, filepath.Join(arg, "*.csv"))
		} else if errors.Is(err, fs.ErrNotExist) {
			if found, err = filepath.Glob(arg); err != nil || len(found) == 0 { // for shells that expand no patterns
				return nil, fmt.Errorf("%s: no such file", arg)
			}
		}
		for _, p := range found {
			if !slices.Contains(paths, p) {
				paths = append(paths, p)
			}
		}
	}
	accompanies := func(p string) bool {
		stem := strings.TrimSuffix(p, filepath.Ext(p))
		return slices.Contains([]string{".shx", ".dbf", ".prj", ".cpg"}, strings.ToLower(filepath.Ext(p))) &&
			slices.ContainsFunc(paths, func(q string) bool { return strings.EqualFold(q, stem+".shp") })
	}
	return slices.DeleteFunc(slices.Clone(paths), accompanies), nil
}

// from is a path as a config in a folder names it.
func from(folder, path string) (string, error) {
	base, err := filepath.Abs(folder)
	if err != nil {
		return "", err
	}
	full, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if rel, err := filepath.Rel(base, full); err == nil {
		full = rel
	}
	return filepath.ToSlash(full), nil
}

// matcher lists what a pattern of a config in a folder stands for.
func matcher(folder string) func(string) []string {
	return func(pattern string) []string {
		if !filepath.IsAbs(filepath.FromSlash(pattern)) {
			pattern = filepath.Join(folder, filepath.FromSlash(pattern))
		}
		found, err := filepath.Glob(pattern)
		if err != nil {
			return nil
		}
		for i, f := range found {
			if found[i], err = from(folder, f); err != nil {
				return nil
			}
		}
		return found
	}
}
