//go:build linux

package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/asfound/asfound/internal/synth"
)

// data says which town to make.
type data struct {
	difficulty        string
	seed              uint64
	records, readings int
	root              string // of the folders that are kept
}

// town is one that has been written: what a user would hand in.
type town struct {
	Dir, Config       string // the job's folder, and its config
	Records, Readings int
	Plane, Geographic string // of the records in metres, and of the readings
}

// made is the file in a town's folder that is written when all else is.
const made = "made.json"

// town makes and writes the town, or finds it from an earlier time.
func (d data) town() (*town, error) {
	dir := filepath.Join(d.root, fmt.Sprintf("%s-v%d-seed%d-%d-%d", d.difficulty, synth.Version(), d.seed, d.records, d.readings))
	t := &town{}
	if text, err := os.ReadFile(filepath.Join(dir, made)); err == nil && json.Unmarshal(text, t) == nil {
		return t, nil
	}
	p, err := synth.Preset(d.difficulty)
	if err != nil {
		return nil, err
	}
	made := d.ask(p)
	t.Dir = filepath.Join(dir, "job")
	if t.Config, err = made.Write(t.Dir, synth.WriteOptions{}); err != nil {
		return nil, err
	}
	t.Records, t.Readings = size(made)
	t.Plane, t.Geographic = made.Frame.Plane, made.Frame.Geographic
	return t, t.keep(dir)
}

func (t *town) keep(dir string) error {
	text, err := json.Marshal(t)
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, made), text, 0o644)
}

// ask makes a town. A sample says how many records and readings come of what is
// asked for, roughly: a second town of a tenth more or less comes closer.
func (d data) ask(p synth.Params) *synth.Town {
	first := synth.Make(d.seed, synth.Large(p, d.records, d.readings))
	records, readings := size(first)
	more := func(want, got int) int { return int(float64(want) * float64(want) / float64(got)) }
	return synth.Make(d.seed, synth.Large(p, more(d.records, records), more(d.readings, readings)))
}

func size(t *synth.Town) (records, readings int) {
	s := t.Survey()
	for i := range s.Traces {
		readings += len(s.Traces[i].Readings)
	}
	return len(s.Records), readings
}
