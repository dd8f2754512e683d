package config

import (
	"fmt"
	"path/filepath"
	"strings"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/pipeline/read"
)

// decoder reads a YAML tree by asking for what it knows, and collects what is
// wrong instead of stopping at it. Viper keeps no positions: the tree does.
type decoder struct {
	file     string // the config as messages call it
	folder   string // that relative paths start from
	problems Problems
	inputs   []input
	named    map[string]place // where an input file was named, by fileKey
	comments map[int]string   // beside the values, by line

	patterns      []read.FieldSource // of files of readings, where a path is a pattern
	districtsUsed []*yaml.Node       // where rules name a district
}

func (d *decoder) at(n *yaml.Node) place { return place{d.file, n.Line} }

// ref names a line of the config in what the stages say: without the folder, so
// that outputs do not depend on where the job was started.
func (d *decoder) ref(n *yaml.Node) string {
	return place{filepath.Base(d.file), n.Line}.String()
}

func (d *decoder) problem(n *yaml.Node, what, do string) { d.problems.add(d.at(n), what, do) }

// wrong reports what a parser of values found.
func (d *decoder) wrong(n *yaml.Node, name string, err error) {
	d.problems.wrong(d.at(n), name, err)
}

// follow resolves an alias to what it stands for.
func follow(n *yaml.Node) *yaml.Node {
	for n != nil && n.Kind == yaml.AliasNode {
		n = n.Alias
	}
	return n
}

// kindName is what a person calls a node.
func kindName(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "a group of keys"
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case n.ShortTag() == "!!null":
		return "empty"
	}
	return fmt.Sprintf("%q", n.Value)
}

// section is a mapping that is read key by key. What nobody asked for by the
// time of done is unknown.
type section struct {
	d        *decoder
	node     *yaml.Node // nil where the file does not have it
	name     string     // full name, for messages; "" at the root
	entries  []entry
	asked    []string
	children map[string]*section
}

type entry struct {
	key   *yaml.Node
	value *yaml.Node
	taken bool
}

// section opens a mapping. A node that is none is a problem and reads as empty.
func (d *decoder) section(n *yaml.Node, name string) *section {
	s := &section{d: d, node: n, name: name, children: map[string]*section{}}
	m := follow(n)
	if m == nil || d.undecided(n, name) {
		return s
	}
	if m.Kind != yaml.MappingNode {
		if name == "" {
			name = "the config"
		}
		d.problem(n, fmt.Sprintf("%s is %s", name, kindName(m)), "write keys and values")
		return s
	}
	first := map[string]int{}
	for i := 0; i+1 < len(m.Content); i += 2 {
		key, value := m.Content[i], m.Content[i+1]
		switch line, twice := first[key.Value]; {
		case key.Kind != yaml.ScalarNode:
			d.problem(key, "a key is "+kindName(key), "keys are plain words")
		case key.ShortTag() == "!!merge":
			d.problem(key, "<< merges are not read", "write the keys out, or give an alias as the whole value")
		case twice:
			d.problem(key, fmt.Sprintf("%s is given twice, first in line %d", s.full(key.Value), line), "keep one")
		default:
			first[key.Value] = key.Line
			s.entries = append(s.entries, entry{key: key, value: value})
		}
	}
	return s
}

func (s *section) full(key string) string {
	if s.name == "" {
		return key
	}
	return s.name + "." + key
}

// take hands out the value of a key, nil if the file does not give it. A key
// without a value is a problem and counts as not given.
func (s *section) take(key string) *yaml.Node {
	s.asked = append(s.asked, key)
	e := s.entry(key)
	if e == nil {
		return nil
	}
	e.taken = true
	if v := follow(e.value); v.Kind == yaml.ScalarNode && v.ShortTag() == "!!null" {
		s.d.problem(e.key, s.full(key)+" has no value", "give one, or remove the key")
		return nil
	}
	return e.value
}

func (s *section) entry(key string) *entry {
	for i := range s.entries {
		if s.entries[i].key.Value == key {
			return &s.entries[i]
		}
	}
	return nil
}

// child opens the section below a key, once.
func (s *section) child(key string) *section {
	c, ok := s.children[key]
	if !ok {
		c = s.d.section(s.take(key), s.full(key))
		s.children[key] = c
	}
	return c
}

// done reports the keys that nobody asked for, here and below.
func (s *section) done() {
	for _, e := range s.entries {
		if !e.taken {
			s.d.problem(e.key, fmt.Sprintf("unknown key %s", s.full(e.key.Value)), didYouMean(e.key.Value, s.asked))
		}
	}
	for _, key := range s.asked {
		if c := s.children[key]; c != nil {
			c.done()
		}
	}
}

// text reads a scalar as the file writes it.
func (d *decoder) text(n *yaml.Node, name string) (string, bool) {
	v := follow(n)
	if v == nil || d.undecided(n, name) {
		return "", false
	}
	if v.Kind != yaml.ScalarNode {
		d.problem(n, fmt.Sprintf("%s is %s", name, kindName(v)), "give one value")
		return "", false
	}
	if strings.ContainsRune(v.Value, 0) {
		d.problem(n, name+" holds a NUL character", "remove it")
		return "", false
	}
	return v.Value, true
}

// word reads a scalar that is one of some words.
func (d *decoder) word(n *yaml.Node, name string, words []string) (string, bool) {
	s, ok := d.text(n, name)
	if !ok {
		return "", false
	}
	for _, w := range words {
		if s == w {
			return s, true
		}
	}
	d.problem(n, fmt.Sprintf("%s is %q", name, s), didYouMean(s, words))
	return "", false
}

// list reads a sequence. A node that is none is a problem and reads as empty.
func (d *decoder) list(n *yaml.Node, name string) []*yaml.Node {
	v := follow(n)
	if v == nil || d.undecided(n, name) {
		return nil
	}
	if v.Kind != yaml.SequenceNode {
		d.problem(n, fmt.Sprintf("%s is %s", name, kindName(v)), "write a list: a line with a dash for each")
		return nil
	}
	return v.Content
}

// undecided says whether a value is the bare word TODO, which stands where a
// person has to decide ("TODO" in quotes is a word like any other), and reports
// it with what the comment beside it says.
func (d *decoder) undecided(n *yaml.Node, name string) bool {
	v := follow(n)
	if v.Kind != yaml.ScalarNode || v.Style != 0 || v.Value != "TODO" {
		return false
	}
	do := d.comments[n.Line]
	if do == "" {
		do = "decide, and write it there"
	}
	d.problem(n, name+" is still TODO", do)
	return true
}

// commentsByLine are the comments that stand behind something in its line.
func commentsByLine(n *yaml.Node, into map[int]string) map[int]string {
	if n == nil {
		return into
	}
	if text := strings.TrimSpace(strings.TrimLeft(n.LineComment, "# ")); text != "" {
		into[n.Line] = text
	}
	for _, c := range n.Content {
		commentsByLine(c, into)
	}
	return into
}
