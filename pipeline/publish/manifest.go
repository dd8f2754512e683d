package publish

import (
	"encoding/json"
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
)

const manifestName = "manifest.json"

// manifest says from what a run was made and what it is made of, so that a third
// party can check both. It is the only file that holds times of the run.
type manifest struct {
	Caution    string            `json:"caution"`
	Banner     string            `json:"banner,omitempty"`
	Job        string            `json:"job"`
	Started    string            `json:"started"`
	Version    string            `json:"version"`
	Go         string            `json:"go"`
	Platform   string            `json:"platform"`
	Modules    map[string]string `json:"modules,omitempty"` // what the program was built from
	Config     configEntry       `json:"config"`
	Operations operationsEntry   `json:"coordinate_operations"`
	Inputs     []inputEntry      `json:"inputs"`
	Outputs    []output          `json:"outputs"` // all files of the folder but this one
}

type configEntry struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// operationsEntry names how positions got from the inputs to the plane and from
// there into the outputs.
type operationsEntry struct {
	Plane           string `json:"plane"`
	PlaneDefinition string `json:"plane_definition"`
	ToWGS84         string `json:"plane_to_wgs84"`
}

type inputEntry struct {
	Name       string      `json:"name"`
	Role       survey.Role `json:"role"`
	Bytes      int64       `json:"bytes"`
	SHA256     string      `json:"sha256"`
	Siblings   []output    `json:"siblings,omitempty"`
	CRS        string      `json:"crs,omitempty"`
	Operation  string      `json:"operation,omitempty"`
	AccuracyM  *float64    `json:"operation_accuracy_m,omitempty"`
	Rows       int         `json:"rows"`
	Used       int         `json:"used"`
	Duplicates int         `json:"duplicates"`
	Rejected   int         `json:"rejected"`
	SetAside   string      `json:"set_aside,omitempty"`
	Notes      []string    `json:"notes,omitempty"`
}

// accuracy is that of a source's operation; nil where there is none, or it is
// not stated.
func accuracy(s *survey.Source) *float64 {
	if s.Operation == "" {
		return nil
	}
	return finite(s.OperationM)
}

func (e *edition) writeManifest(path string, o Options, outputs []output) error {
	slices.SortFunc(outputs, func(a, b output) int { return cmpStrings(a.Name, b.Name) })
	m := manifest{
		Caution: caution(), Banner: e.Banner, Job: e.Job,
		Started: o.Started.UTC().Format(time.RFC3339), Version: e.Version,
		Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH, Modules: modules(),
		Config:     configEntry{o.Config.Name, o.Config.Bytes, o.Config.SHA256},
		Operations: operationsEntry{e.plane.Name(), e.Survey.Plane, e.toWGS84.Name()},
		Inputs:     make([]inputEntry, 0, len(e.Survey.Sources)), Outputs: outputs,
	}
	for i := range e.Survey.Sources {
		s := &e.Survey.Sources[i]
		in := inputEntry{
			Name: s.Name, Role: s.Role, Bytes: s.Bytes, SHA256: s.SHA256, CRS: s.CRS, Operation: s.Operation,
			AccuracyM: accuracy(s), Rows: s.Rows, Used: s.Used, Duplicates: s.Duplicates, Rejected: s.Rejected,
			SetAside: s.SetAside, Notes: s.Notes,
		}
		for _, b := range s.Siblings {
			in.Siblings = append(in.Siblings, output{b.Name, b.Bytes, b.SHA256})
		}
		m.Inputs = append(m.Inputs, in)
	}
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(path, append(text, '\n'), 0o644); err != nil {
		return err
	}
	_, _, err = seal(path)
	return err
}

// modules are the versions of the modules in this program.
func modules() map[string]string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return nil
	}
	m := map[string]string{}
	for _, d := range info.Deps {
		m[d.Path] = d.Version
	}
	return m
}
