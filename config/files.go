package config

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// input is one input file and the columns that it has to have.
type input struct {
	role    survey.Role
	file    read.File
	at      place
	columns []mapped
}

// formats are the endings of the files that a role may have.
var formats = map[survey.Role][]string{
	survey.RoleRecords:   layers,
	survey.RoleField:     rows,
	survey.RoleMarks:     rows,
	survey.RoleExposures: rows,
	survey.RoleFittings:  layers,
	survey.RoleControl:   rows,
	survey.RoleAreas:     layers,
	survey.RoleDistricts: layers,
}

// Layers of a map are taken whole, rows one by one.
var (
	layers = []string{".shp", ".zip", ".geojson", ".json", ".gpkg"}
	rows   = []string{".csv", ".tsv", ".txt", ".geojson", ".json", ".gpx", ".shp"}
)

func extension(path string) string { return strings.ToLower(filepath.Ext(path)) }

// delimited says whether a file is text in columns, which has a header and no
// coordinate system of its own.
func delimited(path string) bool {
	return slices.Contains([]string{".csv", ".tsv", ".txt"}, extension(path))
}

// fileKey tells the layers of one file apart.
func fileKey(f read.File) string { return f.Path + "\x00" + f.Layer }

// resolve makes a path of the config one that can be opened from anywhere.
func (d *decoder) resolve(path string) string {
	path = filepath.FromSlash(path)
	if filepath.IsAbs(path) {
		return filepath.Clean(path)
	}
	return filepath.Join(d.folder, path)
}

// display is what outputs call a file: its path from the config's folder.
func (d *decoder) display(path string) string {
	if rel, err := filepath.Rel(d.folder, path); err == nil {
		path = rel
	}
	return filepath.ToSlash(path)
}

// files reads the path of a source, which may be a pattern, and its crs.
func (d *decoder) files(s *section, role survey.Role) []read.File {
	def := d.crs(s, "crs")
	frame, epoch := d.frame(s, def)
	layer := ""
	if slices.Contains(formats[role], ".gpkg") {
		if n := s.take("layer"); n != nil {
			layer, _ = d.nonEmpty(n, s.full("layer"))
		}
	}
	n := s.take("path")
	if n == nil {
		if s.entry("path") == nil && s.node != nil {
			d.problem(s.node, s.name+" has no path", "name the file, as in path: field/*.csv")
		}
		return nil
	}
	pattern, ok := d.nonEmpty(n, s.full("path"))
	if !ok {
		return nil
	}
	var files []read.File
	for _, path := range d.expand(n, pattern) {
		if !slices.Contains(formats[role], extension(path)) {
			d.problem(n, fmt.Sprintf("%s is no file that %s are read from", d.display(path), role), "give one that ends in "+strings.Join(formats[role], ", "))
			continue
		}
		if delimited(path) && s.entry("crs") == nil {
			d.problem(n, d.display(path)+" cannot say its coordinate system", "add crs:, as in crs: EPSG:4269")
		}
		f := read.File{Path: path, Name: d.display(path), CRS: def, Layer: layer, Frame: frame, Epoch: epoch, At: d.ref(n)}
		if before, twice := d.named[fileKey(f)]; twice {
			d.problem(n, fmt.Sprintf("%s is read already, by %s", f.Name, before), "name it once")
			continue
		}
		d.named[fileKey(f)] = d.at(n)
		files = append(files, f)
	}
	return files
}

// pattern is the path of a source where it is a pattern; "" where it is not.
func (d *decoder) pattern(s *section) string {
	if e := s.entry("path"); e != nil && strings.ContainsAny(follow(e.value).Value, "*?[") {
		return follow(e.value).Value
	}
	return ""
}

// expand lists the files that a path stands for, by name. A name without
// wildcards stands for itself, whether it is there or not.
func (d *decoder) expand(n *yaml.Node, pattern string) []string {
	full := d.resolve(pattern)
	if _, err := os.Stat(full); err == nil || !strings.ContainsAny(pattern, "*?[") {
		return []string{full}
	}
	found, err := filepath.Glob(full)
	if err != nil {
		d.problem(n, fmt.Sprintf("%q is no pattern", pattern), "use * and ? as wildcards, and close every [")
		return nil
	}
	if len(found) == 0 {
		d.problem(n, fmt.Sprintf("no file matches %q", pattern), "correct the pattern, which starts from the config's folder")
	}
	slices.Sort(found)
	return found
}

// crs reads the definition of a coordinate system: "" where the key is not given.
func (d *decoder) crs(s *section, key string) string {
	n := s.take(key)
	if n == nil {
		return ""
	}
	def, ok := d.nonEmpty(n, s.full(key))
	if !ok {
		return ""
	}
	if _, err := crs.Parse(def); err != nil {
		d.problem(n, s.full(key)+" cannot be used", err.Error())
	}
	return def
}

// frame reads the reference frame that positions are really in, and their epoch
// as a decimal year: "" and 0 where nothing is said.
func (d *decoder) frame(s *section, def string) (name string, epoch float64) {
	n := s.take("frame")
	if n == nil {
		return "", 0
	}
	f := d.section(n, s.full("frame"))
	defer f.done()
	if v := f.take("name"); v == nil {
		d.problem(n, f.name+" has no name", "write {name: ITRF2014, epoch: 2026.4}")
	} else if name, _ = d.nonEmpty(v, f.full("name")); name != "" {
		if system, err := crs.Parse(def); err == nil {
			if _, err := system.InFrame(name); err != nil {
				d.problem(v, f.full("name")+" cannot be used", err.Error())
			}
		}
	}
	if v := f.take("epoch"); v != nil {
		if text, ok := d.text(v, f.full("epoch")); ok {
			year, err := plain.parse(text)
			if err == nil {
				err = satelliteYears.check(plain, text, year)
			}
			if err != nil {
				d.wrong(v, f.full("epoch"), err)
			} else {
				epoch = year
			}
		}
	}
	return name, epoch
}

// checkPlane sees that the working plane is one.
func (c *Config) checkPlane(ps *Problems) {
	plane := c.job.Read.Plane
	if plane == "auto" {
		return
	}
	system, err := crs.Parse(plane)
	switch {
	case err != nil:
		ps.add(c.where("plane"), "plane is neither auto nor usable", err.Error())
	case !system.Projected():
		ps.add(c.where("plane"), "plane: "+system.Name()+" is not projected", "write auto, or the EPSG code of a projected system")
	}
}

// checkFiles sees that every input is there and has the columns mapped. What is
// in the rows is for the read stage.
func (c *Config) checkFiles(ps *Problems) {
	for _, in := range c.inputs {
		info, err := os.Stat(in.file.Path)
		switch {
		case err != nil:
			ps.add(in.at, in.file.Name+": "+cause(err), "correct the path, which starts from the config's folder")
			continue
		case !info.Mode().IsRegular():
			ps.add(in.at, in.file.Name+" is not a file", "name the file itself")
			continue
		}
		c.checkColumns(ps, in)
	}
}
