package config

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/pipeline/judge"
	"github.com/asfound/asfound/pipeline/rank"
)

// where reads which records a rule is for; words is the same as a report says it.
func (d *decoder) where(s *section) (w judge.Where, words []string) {
	for _, c := range []struct {
		key    string
		target *[]string
	}{{"utility", &w.Utility}, {"quality", &w.Quality}, {"material", &w.Material}, {"sheet", &w.Sheet}} {
		if v := s.take(c.key); v != nil {
			*c.target = d.texts(v, s.full(c.key))
			words = append(words, c.key+" "+strings.Join(*c.target, " or "))
		}
	}
	if v := s.take("district"); v != nil {
		w.District, _ = d.nonEmpty(v, s.full("district"))
		words = append(words, "district "+w.District)
		d.districtsUsed = append(d.districtsUsed, v)
	}
	if v := s.take("diameter"); v != nil {
		span := d.section(v, s.full("diameter"))
		if d.lengthAbove0(span, "from", &w.FromM) {
			words = append(words, fmt.Sprintf("diameter from %g m", w.FromM))
		}
		if d.lengthAbove0(span, "below", &w.BelowM) {
			words = append(words, fmt.Sprintf("diameter below %g m", w.BelowM))
		}
		if span.done(); w.FromM == 0 && w.BelowM == 0 {
			d.problem(v, span.name+" has no limit", "write {from: 300 mm}, {below: 600 mm} or both")
		}
	}
	return w, words
}

// texts reads one text or a list of them.
func (d *decoder) texts(n *yaml.Node, name string) (out []string) {
	items := []*yaml.Node{n}
	if follow(n).Kind == yaml.SequenceNode {
		if items = d.list(n, name); len(items) == 0 {
			d.problem(n, name+" is empty", "write a value, or remove the key")
		}
	}
	for _, item := range items {
		if text, ok := d.nonEmpty(item, name); ok {
			out = append(out, text)
		}
	}
	return out
}

// saying joins the conditions of a rule; all records where it has none.
func saying(words []string, all string) string {
	if len(words) == 0 {
		return all
	}
	return strings.Join(words, ", ")
}

// truth reads a key that is true or false; false where it is not given.
func (d *decoder) truth(s *section, key string) bool {
	n := s.take(key)
	if n == nil {
		return false
	}
	word, _ := d.word(n, s.full(key), []string{"true", "false"})
	return word == "true"
}

// hidden reports a rule without a condition that others follow.
func (d *decoder) hidden(n *yaml.Node, words []string, last bool, what, instead string) {
	if len(words) == 0 && !last {
		d.problem(n, what+" without a condition hides those after it", "give it a utility, quality, material, sheet, district or diameter, or "+instead)
	}
}

// coverRules reads which records are compared with which table of minimum
// covers.
func (d *decoder) coverRules(root *section) (rules []judge.CoverRule) {
	list := d.list(root.take("cover"), "cover")
	for i, n := range list {
		s := d.section(n, "cover")
		var r judge.CoverRule
		var words []string
		r.Where, words = d.where(s)
		d.hidden(n, words, i == len(list)-1, "a cover rule", "put it last")
		tableNode, classNode := s.take("table"), s.take("class")
		if s.done(); tableNode == nil || classNode == nil {
			d.problem(n, "cover lacks its table or class", "write {utility: gas, table: us-49cfr192, class: distribution main}; tables: "+strings.Join(tableNames(coverTables), ", "))
			continue
		}
		name, ok := d.word(tableNode, "cover.table", tableNames(coverTables))
		class, given := d.nonEmpty(classNode, "cover.class")
		if !ok || !given {
			continue
		}
		t := openTable(coverTables, name)
		c, err := t.pick(class)
		if err != nil {
			d.wrong(classNode, "cover.class", err)
			continue
		}
		c.d.lengthAbove0(c.section, "minimum", &r.MinimumM)
		r.Law, r.Source = t.name+", "+c.name, t.source
		r.Words = fmt.Sprintf("%s: %s, %.2f m", saying(words, "every record"), r.Law, r.MinimumM)
		rules = append(rules, r)
	}
	return rules
}

// zoneRules reads whose tolerance zone marks are held against.
func (d *decoder) zoneRules(root *section) (rules []judge.ZoneRule) {
	list := d.list(root.take("zones"), "zones")
	for i, n := range list {
		s := d.section(n, "zones")
		var r judge.ZoneRule
		var words []string
		r.Where, words = d.where(s)
		d.hidden(n, words, i == len(list)-1, "a zone", "put it last")
		r.HalfWidth = d.truth(s, "width_marked")
		law := s.take("law")
		if s.done(); law == nil {
			d.problem(n, "zones names no law", "add law: and one of "+strings.Join(tableNames(zoneTables), ", "))
			continue
		}
		name, ok := d.word(law, "zones.law", tableNames(zoneTables))
		if !ok {
			continue
		}
		t := openTable(zoneTables, name)
		t.d.lengthAbove0(t.section, "each_side", &r.EachSideM)
		r.HalfWidth = r.HalfWidth && t.d.truth(t.section, "half_width")
		r.Law, r.Source = t.name, t.source
		r.Words = fmt.Sprintf("%s: %s, %.3g m on either side of the mark", saying(words, "every record"), r.Law, r.EachSideM)
		if r.HalfWidth {
			r.Words += " and half the line's width"
		}
		rules = append(rules, r)
	}
	return rules
}

// lengthAbove0 reads a length into target, and says whether the key is there.
func (d *decoder) lengthAbove0(s *section, key string, target *float64) bool {
	return d.above0(s, key, length, target)
}

func (d *decoder) above0(s *section, key string, k kind, target *float64) bool {
	n := s.take(key)
	text, ok := d.text(n, s.full(key))
	if !ok {
		return n != nil
	}
	v, err := k.parse(text)
	if err == nil {
		err = positive.check(k, text, v)
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
	if c.job.Correct.Accepted && c.job.Ledger == "" {
		ps.add(c.where("correct.apply"), "correct.apply: accepted needs decisions, and ledger: none keeps none", "write proposed, or remove ledger: none")
	}
}

// checkDistricts sees that there are files of districts where a rule names one.
// Which districts they hold is for the read stage.
func (d *decoder) checkDistricts(given bool) {
	if given {
		return
	}
	for _, n := range d.districtsUsed {
		d.problem(n, "a rule names a district, and no file of districts is given", "add districts: [{path: ..., name: {column: ...}}]")
	}
}
