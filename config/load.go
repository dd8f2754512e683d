package config

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/viper"
	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/judge"
	"github.com/asfound/asfound/pipeline/survey"
)

//go:embed default.yaml
var defaults []byte

// maxBytes bounds a config: nobody writes a longer one, and memory has an end.
const maxBytes = 4 << 20

// Load reads the config at path, with every default and with what the
// environment overrides (ASFOUND_MATCH_SEARCH_RADIUS for match.search_radius).
// Relative paths in it start from its folder. The error holds all problems at
// once and is of type Problems.
func Load(path string) (*Config, error) {
	data, err := readFile(path)
	if err != nil {
		return nil, err
	}
	root, err := parse(path, data)
	if err != nil {
		return nil, err
	}
	folder, err := filepath.Abs(filepath.Dir(path))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	d := &decoder{file: path, folder: folder, named: map[string]place{}, comments: commentsByLine(root, map[int]string{})}
	c := &Config{file: path}
	c.decode(d, root)

	sum := sha256.Sum256(data)
	c.job.Publish.Config.Name = filepath.Base(path)
	c.job.Publish.Config.SHA256 = hex.EncodeToString(sum[:])
	c.job.Publish.Config.Bytes = int64(len(data))

	problems := d.problems
	var more Problems
	if errors.As(c.Validate(), &more) {
		problems = append(problems, more...)
	}
	if err := problems.err(); err != nil {
		return nil, err
	}
	return c, nil
}

func readFile(path string) ([]byte, error) {
	var ps Problems
	at := place{path, 0}
	f, err := os.Open(path)
	if err != nil {
		do := "see that it can be opened"
		if errors.Is(err, fs.ErrNotExist) {
			do = "name the config with --config, or see one made by: asfound demo"
		}
		ps.add(at, cause(err), do)
		return nil, ps
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		ps.add(at, "not a file", "name a config in YAML")
		return nil, ps
	}
	data, err := io.ReadAll(io.LimitReader(f, maxBytes+1))
	if err == nil && len(data) > maxBytes {
		err = fmt.Errorf("longer than %d MB", maxBytes>>20)
	}
	if err != nil {
		ps.add(at, cause(err), "name a config in YAML")
		return nil, ps
	}
	return data, nil
}

// cause is an error of the file system without the path, which the message has
// already.
func cause(err error) string {
	if errors.Is(err, fs.ErrNotExist) {
		return "no such file"
	}
	var pathErr *fs.PathError
	if errors.As(err, &pathErr) {
		return pathErr.Err.Error()
	}
	return err.Error()
}

var yamlLine = regexp.MustCompile(`^(?:yaml: )?(?:line (\d+): )?(.*)`)

// parse reads the one document of a YAML file; nil for an empty file.
func parse(path string, data []byte) (*yaml.Node, error) {
	var doc, second yaml.Node
	dec := yaml.NewDecoder(bytes.NewReader(data))
	err := dec.Decode(&doc)
	if err == nil {
		switch err = dec.Decode(&second); {
		case errors.Is(err, io.EOF):
			err = nil
		case err == nil:
			err = fmt.Errorf("line %d: a second document starts here", second.Line)
		}
	} else if errors.Is(err, io.EOF) {
		err = nil
	}
	if err != nil {
		var ps Problems
		m := yamlLine.FindStringSubmatch(strings.TrimSpace(err.Error()))
		line, _ := strconv.Atoi(m[1])
		ps.add(place{path, line}, "not one YAML document: "+m[2], "correct it there or just after")
		return nil, ps
	}
	if doc.Kind != yaml.DocumentNode || len(doc.Content) == 0 {
		return nil, nil
	}
	if root := doc.Content[0]; root.ShortTag() != "!!null" {
		return root, nil
	}
	return nil, nil
}

// decode reads a whole config. What is wrong gathers in d.
func (c *Config) decode(d *decoder, node *yaml.Node) {
	root := d.section(node, "")
	base := defaultTree()
	c.scalars(d, root, base)

	j := &c.job
	j.Read.PlaceholderSheets = d.placeholders(root, base)
	j.Correct.Fixed, j.Correct.FixedQuality = d.words(root, base, "correct", "fixed"), d.words(root, base, "correct", "fixed_quality")
	j.Publish.Output = d.resolve(j.Publish.Output)
	j.Ledger = d.ledger(j.Ledger, j.Publish.Output)
	j.Correct.Accepted = c.apply == "accepted"
	depthTo := d.defaultDepthTo(root, base)
	for _, n := range d.list(root.take("grids"), "grids") {
		if g, ok := d.grid(n); ok {
			j.Read.Grids = append(j.Read.Grids, g)
			j.Publish.Grids = append(j.Publish.Grids, g.Grid)
		}
	}
	for _, n := range d.list(root.take("records"), "records") {
		j.Read.Records = append(j.Read.Records, d.records(n)...)
	}
	for _, n := range d.list(root.take("field"), "field") {
		j.Read.Field = append(j.Read.Field, d.field(n, depthTo)...)
	}
	j.Read.FieldPatterns = d.patterns
	for _, n := range d.list(root.take("marks"), "marks") {
		j.Read.Marks = append(j.Read.Marks, d.marks(n)...)
	}
	for _, n := range d.list(root.take("exposures"), "exposures") {
		j.Read.Exposures = append(j.Read.Exposures, d.exposures(n)...)
	}
	for _, n := range d.list(root.take("fittings"), "fittings") {
		j.Read.Fittings = append(j.Read.Fittings, d.fittings(n)...)
	}
	for _, n := range d.list(root.take("control"), "control") {
		j.Read.Control = append(j.Read.Control, d.control(n)...)
	}
	for _, n := range d.list(root.take("areas"), "areas") {
		j.Read.Areas = append(j.Read.Areas, d.areas(n)...)
	}
	for _, n := range d.list(root.take("districts"), "districts") {
		j.Read.Districts = append(j.Read.Districts, d.districts(n)...)
	}
	j.Judge.Rules = d.rules(root.child("tolerance"), j.Judge.Default, c.preset)
	j.Judge.Cover = d.coverRules(root)
	j.Judge.Zones = d.zoneRules(root)
	d.checkDistricts(len(j.Read.Districts) > 0 || root.entry("districts") != nil)
	j.Rank.Consequences = d.consequences(root.child("resurvey"))

	for _, key := range []string{"records", "field"} {
		if root.entry(key) == nil {
			d.problems.add(place{d.file, 1}, "no "+key, "list at least one file below "+key+":")
		}
	}
	root.done()
	c.inputs = d.inputs
}

// ledger is the file of the ledger; "" where none is to be kept.
func (d *decoder) ledger(said, output string) string {
	switch said {
	case "":
		return filepath.Join(output, "asfound.db")
	case noLedger:
		return ""
	}
	return d.resolve(said)
}

const noLedger = "none"

// Default is a job that says nothing of its own: the defaults and what the
// environment overrides, without a file.
func Default() pipeline.Job {
	c := &Config{}
	d := &decoder{file: "default.yaml"}
	c.scalars(d, d.section(nil, ""), defaultTree())
	return c.job
}

// defaultTree is default.yaml. It is part of the program: an error in it is one
// of ours, and a test reads it.
func defaultTree() *section {
	root, err := parse("default.yaml", defaults)
	if err != nil {
		panic(err)
	}
	return (&decoder{file: "default.yaml"}).section(root, "")
}

// scalars settles every scalar key: the environment before the file before the
// default. Viper keeps that order; it is handed texts as they stand, since its
// own reading of YAML would turn a drawing number 0123 into 83.
func (c *Config) scalars(d *decoder, root, base *section) {
	v := viper.New()
	v.SetEnvPrefix("asfound")
	v.SetEnvKeyReplacer(strings.NewReplacer(".", "_"))
	v.AutomaticEnv()

	settings := c.settings()
	c.said = map[string]place{}
	file := map[string]any{}
	for _, s := range settings {
		def, _ := lookup(base, s.key)
		v.SetDefault(s.key, def)
		if text, n := lookup(root, s.key); n != nil {
			put(file, s.key, text)
			c.said[s.key] = d.at(n)
		}
		if name := envName(s.key); os.Getenv(name) != "" {
			c.said[s.key] = place{"environment variable " + name, 0}
		}
	}
	if err := v.MergeConfigMap(file); err != nil {
		panic(err) // a map of maps and strings merges
	}
	for _, s := range settings {
		if err := s.set(v.GetString(s.key)); err != nil {
			d.problems.wrong(c.where(s.key), s.key, err)
			def, _ := lookup(base, s.key)
			_ = s.set(def) // so that one mistake is reported once
		}
	}
	checkEnvironment(d, settings)
	def := &c.job.Judge.Default
	def.Words = judge.ToleranceWords("default", judge.Rule{Limits: *def})
}

// lookup finds the text of a scalar key, and its node if the tree has it.
func lookup(root *section, key string) (string, *yaml.Node) {
	path, name := parent(key)
	s := root
	if path != "" {
		for _, part := range strings.Split(path, ".") {
			s = s.child(part)
		}
	}
	n := s.take(name)
	text, ok := s.d.text(n, key)
	if !ok {
		return "", nil
	}
	return text, n
}

// put sets a dotted key in a map of maps.
func put(m map[string]any, key, value string) {
	parts := strings.Split(key, ".")
	for _, part := range parts[:len(parts)-1] {
		next, ok := m[part].(map[string]any)
		if !ok {
			next = map[string]any{}
			m[part] = next
		}
		m = next
	}
	m[parts[len(parts)-1]] = value
}

func envName(key string) string {
	return "ASFOUND_" + strings.ToUpper(strings.ReplaceAll(key, ".", "_"))
}

// checkEnvironment refuses variables that start like a key of ours and are
// none: a typo there would be ignored in silence.
func checkEnvironment(d *decoder, settings []setting) {
	var names, sections []string
	for _, s := range settings {
		names = append(names, envName(s.key))
		if top, _, nested := strings.Cut(s.key, "."); nested {
			sections = append(sections, envName(top)+"_")
		}
	}
	for _, variable := range os.Environ() {
		name, _, _ := strings.Cut(variable, "=")
		ours := slices.ContainsFunc(sections, func(s string) bool { return strings.HasPrefix(name, s) })
		if ours && !slices.Contains(names, name) {
			d.problems.add(place{"environment variable " + name, 0}, "no such key", didYouMean(name, names))
		}
	}
}

// placeholders are the sheet values that say nothing.
func (d *decoder) placeholders(root, base *section) []string {
	return d.words(root, base, "read", "placeholder_sheets")
}

// words is a list of texts, of the config or, where it has none, of the defaults.
func (d *decoder) words(root, base *section, in, key string) []string {
	s := root.child(in)
	n := s.take(key)
	if n == nil {
		s = base.child(in)
		n = s.take(key)
	}
	var words []string
	for _, item := range s.d.list(n, s.full(key)) {
		if word, ok := s.d.text(item, s.full(key)); ok {
			words = append(words, word)
		}
	}
	return words
}

// defaultDepthTo is what a depth is to where a field source does not say.
func (d *decoder) defaultDepthTo(root, base *section) survey.DepthTo {
	s := root.child("read")
	n := s.take("depth_to")
	if n == nil {
		s = base.child("read")
		n = s.take("depth_to")
	}
	word, _ := s.d.word(n, s.full("depth_to"), depths)
	return survey.DepthTo(max(0, slices.Index(depths, word)))
}
