package config

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/read"
)

// grid reads a datum shift grid in NTv2 form. It is read here, not by the
// stages: like every value of the config it has to be right before a job starts.
func (d *decoder) grid(n *yaml.Node) (g read.Grid, ok bool) {
	s := d.section(n, "grids")
	defer s.done()
	from, to := d.system(s, "from"), d.system(s, "to")
	path := s.take("path")
	if path == nil {
		if s.entry("path") == nil && len(s.entries) > 0 {
			d.problem(n, "grids has no path", "name the file, as in path: grids/shift.gsb")
		}
		return g, false
	}
	name, ok := d.nonEmpty(path, s.full("path"))
	if !ok {
		return g, false
	}
	file := d.resolve(name)
	info, err := os.Stat(file)
	if err == nil && !info.Mode().IsRegular() {
		d.problem(path, d.display(file)+" is not a file", "name the file itself")
		return g, false
	}
	data, err := os.ReadFile(file)
	if err != nil {
		d.problem(path, d.display(file)+": "+cause(err), "correct the path, which starts from the config's folder")
		return g, false
	}
	g.Grid, err = crs.ReadNTv2(bytes.NewReader(data), d.display(file), from, to)
	if err != nil {
		d.problem(path, fmt.Sprintf("%s cannot be used", d.display(file)), err.Error())
		return g, false
	}
	sum := sha256.Sum256(data)
	g.SHA256, g.Bytes = hex.EncodeToString(sum[:]), int64(len(data))
	return g, true
}

// system reads the definition of a coordinate system; nil where the key is not
// given or wrong.
func (d *decoder) system(s *section, key string) *crs.System {
	system, err := crs.Parse(d.crs(s, key))
	if err != nil {
		return nil
	}
	return system
}
