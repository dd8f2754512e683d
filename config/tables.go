package config

import (
	"embed"
	"fmt"
	"path"
	"slices"
	"strings"
)

// Tables of published values are data: each file holds its edition, its source
// and whether its values were read there or recalled.
//
//go:embed tolerance/*.yaml cover/*.yaml zones/*.yaml
var tableFiles embed.FS

const (
	toleranceTables = "tolerance" // classes of accuracy, as tolerances
	coverTables     = "cover"     // minimum covers
	zoneTables      = "zones"     // tolerance zones of laws on digging
)

// tableNames are the tables of a kind, by the names that a config uses.
func tableNames(kind string) []string {
	files, err := tableFiles.ReadDir(kind)
	if err != nil {
		panic(err) // it is embedded
	}
	names := make([]string, len(files))
	for i, f := range files {
		names[i] = strings.TrimSuffix(f.Name(), ".yaml")
	}
	slices.Sort(names)
	return names
}

// table is an open table of published values.
type table struct {
	*section
	name, source string // what it is called, and its citation
}

// openTable opens a table that tableNames has. It is part of the program: an
// error in it is one of ours, and a test reads them all.
func openTable(kind, name string) table {
	file := path.Join(kind, name+".yaml")
	data, err := tableFiles.ReadFile(file)
	if err != nil {
		panic(err)
	}
	root, err := parse(file, data)
	if err != nil {
		panic(err)
	}
	t := table{section: (&decoder{file: file}).section(root, "")}
	t.name = t.text("name")
	t.source = fmt.Sprintf("%s; edition: %s; values: %s.", t.text("source"), t.text("edition"), t.text("status"))
	if t.entry("note") != nil {
		t.source += " " + t.text("note")
	}
	return t
}

func (t table) text(key string) string {
	s, _ := t.d.nonEmpty(t.take(key), t.full(key))
	return s
}

// tableClass is one row of a table of classes.
type tableClass struct {
	*section
	name string
}

// classes are the rows of a table, in its order.
func (t table) classes() []tableClass {
	var out []tableClass
	for _, n := range t.d.list(t.take("classes"), "classes") {
		c := tableClass{section: t.d.section(n, "classes")}
		c.name, _ = t.d.nonEmpty(c.take("class"), "class")
		out = append(out, c)
	}
	return out
}

// pick is the class of a name.
func (t table) pick(name string) (tableClass, error) {
	var names []string
	for _, c := range t.classes() {
		if c.name == name {
			return c, nil
		}
		names = append(names, c.name)
	}
	return tableClass{}, wrong{fmt.Sprintf("%s has no class %q", t.name, name), didYouMean(name, names)}
}
