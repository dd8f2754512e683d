// Package publish writes a run: every file of one result, whole or not at all.
//
//	Result ──▶ prepare ──▶ edition ──▶ a writer per file, side by side ──▶ manifest ──▶ rename
//
// Most files are a table (tables.go) written in some format: csv.go, geojson.go,
// gpkg.go, xlsx.go. The records go out in their own coordinate system with what
// was not corrected bit for bit (updated.go). The report is a page of its own
// (report*.go).
//
// The same result makes the same bytes in every file but the manifest, which
// is the only one that holds times.
package publish

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// file is one file of a run and how to write it.
type file struct {
	name  string
	write func(e *edition, path string) error
}

// files are the files of a run but the manifest, those that take long first.
var files = []file{
	{"records-updated.gpkg", (*edition).writeGeoPackage},
	{"register.xlsx", stream((*edition).writeRegister)},
	{"report.html", stream((*edition).writeReport)},
	{"readings.csv", csvOf((*edition).readings)},
	{"records-updated.geojson", stream((*edition).writeUpdatedGeoJSON)},
	{"fittings-updated.geojson", stream((*edition).writeFittingsGeoJSON)},
	{"changes.csv", csvOf((*edition).changes)},
	{"records.csv", csvOf((*edition).records)},
	{"profiles.csv", csvOf((*edition).profiles)},
	{"shares.csv", csvOf((*edition).shares)},
	{"findings.geojson", geojsonOf(func(e *edition) table { return e.findings("findings") })},
	{"effects.csv", csvOf((*edition).effectsTable)},
	{"sessions.csv", csvOf((*edition).sessionsTable)},
	{"resurvey.csv", csvOf((*edition).resurvey)},
	{"resurvey.geojson", geojsonOf((*edition).resurvey)},
	{"rejects.csv", csvOf((*edition).rejects)},
	{"marks.csv", csvOf((*edition).marks)},
	{"mark_checks.csv", csvOf((*edition).markChecks)},
	{"summary.json", stream((*edition).writeSummary)},
	{"caution.txt", stream((*edition).writeCaution)},
}

// Run writes every file of a result into a folder of its own below o.Output and
// names that folder. The folder appears whole or not at all: it is written
// aside, put on the disk and then renamed; latest and latest.txt point to it
// only after that. What dead runs left half-written is cleaned up.
//
// A result whose rows do not add up is not published.
func Run(r *survey.Result, o Options) (folder string, err error) {
	if o.Shapefiles {
		return publish(r, o, append(slices.Clone(files), file{shapefilesName, (*edition).writeShapefiles}))
	}
	return publish(r, o, files)
}

func publish(r *survey.Result, o Options, files []file) (folder string, err error) {
	e, err := prepare(r, o.Grids...)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(o.Output, 0o755); err != nil {
		return "", err
	}
	if err := checkLatest(o.Output); err != nil {
		return "", err
	}
	cleanPartials(o.Output)
	run := runName(o.Started)
	partial, err := newPartial(o.Output, run)
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(partial) // nothing is left of it once it is renamed
	outputs, err := e.writeAll(partial, files)
	if err != nil {
		return "", err
	}
	if err := e.writeManifest(filepath.Join(partial, manifestName), o, outputs); err != nil {
		return "", err
	}
	if folder, err = reveal(partial, o.Output, run); err != nil {
		return "", err
	}
	if err := pointLatest(o.Output, filepath.Base(folder)); err != nil {
		return folder, fmt.Errorf("%s is published, but latest does not point to it: %w", folder, err)
	}
	return folder, nil
}

// output is a written file, for the manifest.
type output struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// writeAll writes files side by side, as many as there are cores, and puts each
// on the disk. The outputs are in the order of the files.
func (e *edition) writeAll(folder string, files []file) ([]output, error) {
	outputs := make([]output, len(files))
	errs := make([]error, len(files))
	parallel.Each(len(files), 0, func() func(int) {
		return func(i int) { outputs[i], errs[i] = e.writeFile(folder, files[i]) }
	})
	return outputs, errors.Join(errs...)
}

func (e *edition) writeFile(folder string, f file) (out output, err error) {
	path := filepath.Join(folder, f.name)
	out.Name = f.name
	if err = f.write(e, path); err == nil {
		out.Bytes, out.SHA256, err = seal(path)
	}
	if err != nil {
		err = fmt.Errorf("%s: %w", f.name, err)
	}
	return out, err
}

// stream makes a file of what writes to a buffered writer.
func stream(write func(*edition, *bufio.Writer) error) func(*edition, string) error {
	return func(e *edition, path string) error {
		f, err := os.Create(path)
		if err != nil {
			return err
		}
		w := bufio.NewWriterSize(f, 1<<16)
		err = write(e, w)
		return errors.Join(err, w.Flush(), f.Close())
	}
}

func csvOf(t func(*edition) table) func(*edition, string) error {
	return stream(func(e *edition, w *bufio.Writer) error { return writeCSV(w, t(e)) })
}

func geojsonOf(t func(*edition) table) func(*edition, string) error {
	return stream(func(e *edition, w *bufio.Writer) error { return e.writeGeoJSON(w, t(e)) })
}
