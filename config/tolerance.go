package config

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/pipeline/judge"
)

const noPreset = "none"

// presetName is the key that chooses published classes. A tolerance zone is
// refused: it protects digging and says nothing about a map.
func presetName(key string, target *string) setting {
	check := func(name string) error {
		known := append([]string{noPreset}, tableNames(toleranceTables)...)
		switch {
		case slices.Contains(known, name):
			return nil
		case slices.Contains(tableNames(zoneTables), name):
			return wrong{fmt.Sprintf("%q is a tolerance zone that protects digging, no accuracy of a map", name), "name it under zones, to hold marks against it"}
		}
		return wrong{fmt.Sprintf("%q is not known here", name), didYouMean(name, known)}
	}
	return setting{
		key:     key,
		set:     func(text string) error { *target = text; return check(text) },
		check:   func() error { return check(*target) },
		targets: []any{target},
	}
}

// rules reads the tolerances of some records: first those of the config, then
// the classes of the preset by the records' quality. What a rule leaves out is
// the default's.
func (d *decoder) rules(tolerance *section, base judge.Limits, preset string) (rules []judge.Rule) {
	list := d.list(tolerance.take("rules"), tolerance.full("rules"))
	for i, n := range list {
		s := d.section(n, tolerance.full("rules"))
		rule := judge.Rule{Limits: base}
		var words []string
		rule.Where, words = d.where(s)
		d.hidden(n, words, i == len(list)-1 && preset == noPreset, "a tolerance rule", "use tolerance.default")
		who := saying(words, "every record")
		d.limits(n, s, &rule, &who, preset)
		s.done()
		rule.Words = judge.ToleranceWords(who, rule)
		rules = append(rules, rule)
	}
	return append(rules, presetRules(preset, base)...)
}

// limits reads what a rule sets: numbers, or a class of the preset.
func (d *decoder) limits(n *yaml.Node, s *section, rule *judge.Rule, who *string, preset string) {
	class := s.take("class")
	horizontal := d.lengthAbove0(s, "horizontal", &rule.HorizontalM)
	depth := d.lengthAbove0(s, "depth", &rule.DepthM)
	half := s.entry("half_width") != nil
	if half {
		rule.HalfWidth = d.truth(s, "half_width")
	}
	switch {
	case class == nil && !horizontal && !depth && !half:
		d.problem(n, "a tolerance rule sets nothing", "give horizontal, depth, half_width or, with tolerance.preset, a class")
	case class != nil && (horizontal || depth):
		d.problem(n, "a tolerance rule has a class and numbers of its own", "keep one")
	case class != nil && preset == noPreset:
		d.problem(class, s.full("class")+" names a class, but tolerance.preset is none", "choose one of "+strings.Join(tableNames(toleranceTables), ", "))
	case class != nil:
		name, ok := d.nonEmpty(class, s.full("class"))
		if !ok {
			return
		}
		t := openTable(toleranceTables, preset)
		c, err := t.pick(name)
		if err != nil {
			d.wrong(class, s.full("class"), err)
			return
		}
		c.limits(rule, t)
		*who += ", " + t.name + " class " + c.name
	}
}

// limits are the tolerances of a class. What it does not state stays as it is.
func (c tableClass) limits(rule *judge.Rule, t table) {
	rule.Source = t.source
	c.d.lengthAbove0(c.section, "horizontal", &rule.HorizontalM)
	c.d.lengthAbove0(c.section, "depth", &rule.DepthM)
	c.d.above0(c.section, "horizontal_share", share, &rule.HorizontalShare)
	c.d.above0(c.section, "depth_share", share, &rule.DepthShare)
}

// presetRules are the classes of a preset as rules by the records' quality. A
// class without quality words is there for rules that name it.
func presetRules(preset string, base judge.Limits) (rules []judge.Rule) {
	if preset == noPreset {
		return nil
	}
	t := openTable(toleranceTables, preset)
	for _, c := range t.classes() {
		n := c.take("quality")
		if n == nil {
			continue
		}
		rule := judge.Rule{Limits: base}
		rule.Quality = c.d.texts(n, "quality")
		c.limits(&rule, t)
		rule.Words = judge.ToleranceWords("quality "+strings.Join(rule.Quality, " or ")+", "+t.name+" class "+c.name, rule)
		rules = append(rules, rule)
	}
	return rules
}
