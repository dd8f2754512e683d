package config

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/pipeline/judge"
	"github.com/asfound/asfound/pipeline/rank"
)

// rules reads the tolerances of some records. What a rule leaves out is the
// default's.
func (d *decoder) rules(tolerance *section, base judge.Rule) (rules []judge.Rule) {
	list := d.list(tolerance.take("rules"), tolerance.full("rules"))
	for i, n := range list {
		s := d.section(n, tolerance.full("rules"))
		rule := base
		var words []string
		for _, c := range []struct {
			key    string
			target *string
		}{{"utility", &rule.Utility}, {"quality", &rule.Quality}, {"material", &rule.Material}, {"sheet", &rule.Sheet}} {
			if v := s.take(c.key); v != nil {
				*c.target, _ = d.nonEmpty(v, s.full(c.key))
				words = append(words, c.key+" "+*c.target)
			}
		}
		horizontal := d.lengthAbove0(s, "horizontal", &rule.HorizontalM)
		depth := d.lengthAbove0(s, "depth", &rule.DepthM)
		s.done()
		if !horizontal && !depth {
			d.problem(n, "a tolerance rule sets nothing", "give horizontal, depth or both")
		}
		if len(words) == 0 && i < len(list)-1 {
			d.problem(n, "a tolerance rule without a condition hides those after it", "give it a utility, quality, material or sheet, or use tolerance.default")
		}
		rule.Words = toleranceWords(words, rule)
		rules = append(rules, rule)
	}
	return rules
}

// toleranceWords say a rule as a report does.
func toleranceWords(conditions []string, r judge.Rule) string {
	who := "default"
	if len(conditions) > 0 {
		who = strings.Join(conditions, ", ")
	}
	return fmt.Sprintf("%s: horizontal %g m, depth %g m", who, r.HorizontalM, r.DepthM)
}

// lengthAbove0 reads a length into target, and says whether the key is there.
func (d *decoder) lengthAbove0(s *section, key string, target *float64) bool {
	n := s.take(key)
	text, ok := d.text(n, s.full(key))
	if !ok {
		return n != nil
	}
	v, err := length.parse(text)
	if err == nil {
		err = positive.check(length, text, v)
	}
	if err != nil {
		d.wrong(n, s.full(key), err)
		return true
	}
	*target = v
	return true
}

// consequences reads the weight of an error on some records.
func (d *decoder) consequences(resurvey *section) (out []rank.Consequence) {
	for _, n := range d.list(resurvey.take("consequence"), resurvey.full("consequence")) {
		out = append(out, d.consequence(n, resurvey.full("consequence")))
	}
	return out
}

func (d *decoder) consequence(n *yaml.Node, name string) (c rank.Consequence) {
	s := d.section(n, name)
	defer s.done()
	utility, weight := s.take("utility"), s.take("weight")
	if utility == nil || weight == nil {
		d.problem(n, name+" lacks utility or weight", "write {utility: gas, weight: 5}")
		return c
	}
	c.Utility, _ = d.nonEmpty(utility, s.full("utility"))
	text, ok := d.text(weight, s.full("weight"))
	if !ok {
		return c
	}
	v, err := plain.parse(text)
	if err == nil {
		err = notNegative.check(plain, text, v)
	}
	if err != nil {
		d.wrong(weight, s.full("weight"), err)
	}
	c.Weight = v
	return c
}

// checkRules sees that nothing is asked for that needs decisions.
func (c *Config) checkRules(ps *Problems) {
	if c.apply == "accepted" {
		ps.add(c.where("correct.apply"), "correct.apply: accepted needs decisions, which are not built yet in this version", "write proposed, or remove it")
	}
}
