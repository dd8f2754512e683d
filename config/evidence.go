package config

import (
	"slices"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// marks reads a source of paint marks, flags or stakes.
func (d *decoder) marks(n *yaml.Node) (out []read.MarksSource) {
	s, files := d.source(n, survey.RoleMarks)
	c := s.below("columns")
	src := read.MarksSource{
		Positions: d.positions(n, s, c, files),
		Time:      c.time("time"),
		Utility:   c.text("utility"),
		Crew:      c.text("crew"),
		Receiver:  c.text("receiver"),
		Session:   c.text("session"),
		Ticket:    c.text("ticket"),
		Remark:    c.text("remark"),
	}
	d.finish(survey.RoleMarks, files, s, c)
	for _, f := range files {
		src.File = f
		out = append(out, src)
	}
	return out
}

// exposures reads a source of exposed lines. A depth is to the top of the line
// unless the source says that it is to the centre: an exposed line is seen.
func (d *decoder) exposures(n *yaml.Node) (out []read.ExposuresSource) {
	s, files := d.source(n, survey.RoleExposures)
	c := s.below("columns")
	src := read.ExposuresSource{
		Positions:     d.positions(n, s, c, files),
		DepthTo:       d.depthTo(s.section, survey.DepthToTop, "centre", "top"),
		Check:         d.heldOut(s.section),
		ID:            c.text("id"),
		Time:          c.time("time"),
		Depth:         c.quantity("depth", length, nil),
		DepthAccuracy: c.quantity("depth_accuracy", length, nil),
		Diameter:      c.quantity("diameter", length, nil),
		Utility:       c.text("utility"),
		Fitting:       c.text("fitting"),
		Crew:          c.text("crew"),
		Receiver:      c.text("receiver"),
		Session:       c.text("session"),
		Ticket:        c.text("ticket"),
		Remark:        c.text("remark"),
	}
	src.Elevation = c.elevation()
	d.finish(survey.RoleExposures, files, s, c)
	for _, f := range files {
		src.File = f
		out = append(out, src)
	}
	return out
}

// heldOut says whether a source's exposures are check points: they stay out of
// the adjustment, so that its result can be checked with them.
func (d *decoder) heldOut(s *section) bool {
	n := s.take("use")
	if n == nil {
		return false
	}
	word, _ := d.word(n, s.full("use"), []string{"evidence", "check"})
	return word == "check"
}

// depthTo reads what a source's depths are to; instead where it does not say.
func (d *decoder) depthTo(s *section, instead survey.DepthTo, words ...string) survey.DepthTo {
	n := s.take("depth_to")
	if n == nil {
		return instead
	}
	if word, ok := d.word(n, s.full("depth_to"), words); ok {
		return survey.DepthTo(slices.Index(depths, word))
	}
	return instead
}

// fittings reads a source of the map's point assets.
func (d *decoder) fittings(n *yaml.Node) (out []read.FittingsSource) {
	s, files := d.source(n, survey.RoleFittings)
	src := read.FittingsSource{Utility: s.fixedOrColumn("utility")}
	c := s.below("columns")
	src.ID = c.text("id")
	src.Sheet = c.text("sheet")
	d.finish(survey.RoleFittings, files, s, c)
	for _, f := range files {
		src.File = f
		out = append(out, src)
	}
	return out
}
