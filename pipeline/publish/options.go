package publish

import (
	"time"

	"github.com/asfound/asfound/internal/crs"
)

// Options say where a run's folder goes and what it is called.
type Options struct {
	Output  string // the folder of all runs
	Started time.Time
	Config  ConfigFile
	// Shapefiles has the updated map written as shapefiles too.
	Shapefiles bool
	Grids      []*crs.Grid // datum shift grids that operations may use, as those that read the inputs
}

// ConfigFile is the config that the run was made with, for the manifest.
type ConfigFile struct {
	Name   string
	SHA256 string
	Bytes  int64
}
