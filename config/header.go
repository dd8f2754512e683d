package config

import (
	"fmt"
	"slices"
	"strings"

	"github.com/asfound/asfound/pipeline/read"
)

// checkColumns compares what is mapped with the columns of a file. A file whose
// columns cannot be told is broken: reading it says what is wrong with it, and
// may set it aside while the rest goes on.
func (c *Config) checkColumns(ps *Problems, in input) {
	if len(in.columns) == 0 {
		return
	}
	wanted := make([]string, len(in.columns))
	for i, m := range in.columns {
		wanted[i] = m.name
	}
	names, err := read.Columns(in.file, wanted)
	if err != nil || len(names) == 0 { // GeoJSON without a feature
		return
	}
	missing := func(m mapped) bool {
		return !slices.ContainsFunc(names, func(name string) bool { return strings.EqualFold(name, m.name) })
	}
	// Anything can be read as text with a header. One that has none of the columns
	// is another kind of file, not a config with as many mistakes.
	if delimited(in.file.Path) && !slices.ContainsFunc(in.columns, func(m mapped) bool { return !missing(m) }) {
		return
	}
	for _, m := range in.columns {
		if missing(m) {
			ps.add(m.at, fmt.Sprintf("%s has no column %q", in.file.Name, m.name), didYouMean(m.name, names))
		}
	}
}
