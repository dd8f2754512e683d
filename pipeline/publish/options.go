package publish

import "time"

// Options say where a run's folder goes and what it is called.
type Options struct {
	Output  string // the folder of all runs
	Started time.Time
	Config  ConfigFile
}

// ConfigFile is the config that the run was made with, for the manifest.
type ConfigFile struct {
	Name   string
	SHA256 string
	Bytes  int64
}
