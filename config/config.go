// Package config reads a job's YAML file into the options of the stages. It is
// the only package that knows viper.
//
// A config is strict: an unknown key, a value of the wrong type, unit or range,
// a file or column that is not there are all reported at once, each with its
// line and what to do. Names that belong to the user (columns, utilities) are
// always values, never keys.
package config

import (
	"time"

	"github.com/asfound/asfound/pipeline"
)

// Config is one job as its file says it: lengths in metres, currents in
// amperes, frequencies in hertz, paths as they can be opened.
type Config struct {
	file   string // as messages call it
	job    pipeline.Job
	apply  string // correct.apply
	preset string // tolerance.preset
	inputs []input
	said   map[string]place // where the value of a key was said; defaults are not here
}

// Job is the job to run. The stages take the time and the program's version
// from outside, so that a run can be repeated.
func (c *Config) Job(version string, started time.Time) pipeline.Job {
	j := c.job
	j.Version = version
	j.Publish.Started = started
	return j
}

// Validate checks the values, the coordinate systems and the files of a config.
// The error is of type Problems. Load has done it already: call it again where
// files may have come or gone since.
func (c *Config) Validate() error {
	var ps Problems
	for _, s := range c.settings() {
		if err := s.check(); err != nil {
			ps.wrong(c.where(s.key), s.key, err)
		}
	}
	c.checkPlane(&ps)
	c.checkRules(&ps)
	c.checkFiles(&ps)
	return ps.err()
}

// where is the place that a key's value comes from.
func (c *Config) where(key string) place {
	if at, ok := c.said[key]; ok {
		return at
	}
	return place{"default of " + key, 0}
}
