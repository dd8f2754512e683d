package config

import (
	"fmt"
	"slices"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// source reads what every source says, path and crs, and opens its columns.
// The files are all that the path stands for.
func (d *decoder) source(n *yaml.Node, role survey.Role) (*columns, []read.File) {
	s := &columns{section: d.section(n, string(role))}
	files := d.files(s.section, role)
	return s, files
}

// finish closes a source: keys that nobody asked for are problems, and what was
// mapped is kept for the check of the headers.
func (d *decoder) finish(role survey.Role, files []read.File, groups ...*columns) {
	in := input{role: role}
	for _, g := range groups {
		g.done()
		in.columns = append(in.columns, g.all...)
	}
	for _, f := range files {
		in.file, in.at = f, d.named[fileKey(f)]
		d.inputs = append(d.inputs, in)
	}
}

// below opens the group of column mappings of a source.
func (c *columns) below(key string) *columns {
	return &columns{section: c.d.section(c.take(key), c.full(key))}
}

var conductors = []string{string(survey.ConductorPipe), string(survey.ConductorWire), string(survey.ConductorNone)}

func (d *decoder) records(n *yaml.Node) (out []read.RecordsSource) {
	s, files := d.source(n, survey.RoleRecords)
	src := read.RecordsSource{
		Utility:   s.fixedOrColumn("utility"),
		Conductor: s.fixedOrColumn("conductor", conductors...),
	}
	c := s.below("columns")
	src.ID = c.text("id")
	src.Sheet = c.text("sheet")
	src.Installed = c.number("installed")
	src.Material = c.text("material")
	src.Quality = c.text("quality")
	src.Diameter = c.quantity("diameter", length, nil)
	src.Cover = c.quantity("cover", length, nil)
	src.DepthToCentre = c.quantity("depth_to_centre", length, nil)
	src.DepthToInvert = c.quantity("depth_to_invert", length, nil)
	src.InvertElevation = c.quantity("invert_elevation", length, nil)
	src.CrownElevation = c.quantity("crown_elevation", length, nil)
	src.Ground = c.quantity("ground_elevation", length, nil)
	if !src.Utility.Given() && s.entry("utility") == nil {
		d.problem(n, "records has no utility", "write utility: water, or utility: {column: NAME, values: [...]}")
	}
	d.checkDepth(c, src)
	d.finish(survey.RoleRecords, files, s, c)
	for _, f := range files {
		src.File = f
		out = append(out, src)
	}
	return out
}

// checkDepth sees that a record's depth is said in one way.
func (d *decoder) checkDepth(c *columns, src read.RecordsSource) {
	elevation := src.InvertElevation.Given() || src.CrownElevation.Given()
	ways := 0
	for _, given := range []bool{
		src.Cover.Given(), src.DepthToCentre.Given(), src.DepthToInvert.Given(),
		src.InvertElevation.Given(), src.CrownElevation.Given(),
	} {
		if given {
			ways++
		}
	}
	const oneOf = "keep one of cover, depth_to_centre, depth_to_invert, invert_elevation or crown_elevation with ground_elevation"
	switch {
	case ways > 1:
		d.problem(c.node, "records.columns says how deep in more than one way", oneOf)
	case elevation && !src.Ground.Given():
		d.problem(c.node, "records.columns gives an elevation of the line but not of the ground", "add ground_elevation")
	case !elevation && src.Ground.Given():
		d.problem(c.entry("ground_elevation").key, "ground_elevation alone says no depth", "add invert_elevation or crown_elevation, or remove it")
	}
}

var accuracies = []string{
	string(read.AccuracyRMS2D), string(read.AccuracySigma1D), string(read.Accuracy95R), string(read.Accuracy95L),
}

// positions reads how a source of points says where they are. A file of
// geometries says it itself.
func (d *decoder) positions(n *yaml.Node, s, c *columns, files []read.File) read.Positions {
	p := read.Positions{
		Latitude:  c.number("latitude"),
		Longitude: c.number("longitude"),
		Easting:   c.coordinate("easting"),
		Northing:  c.coordinate("northing"),
	}
	p.Accuracy = c.quantity("accuracy", length, func(s *section) {
		if means := s.take("means"); means != nil {
			word, _ := d.word(means, s.full("means"), accuracies)
			p.AccuracyMeans = read.Accuracy(word)
		} else {
			d.problem(s.node, "accuracy does not say what it means", "add means: rms_2d, sigma_1d, 95_2d or 95_1d")
		}
	})
	if e := c.entry("accuracy"); e != nil && follow(e.value).Kind == yaml.ScalarNode && p.Accuracy.Mapped() {
		d.problem(e.key, "accuracy does not say what it means", "add means: rms_2d, sigma_1d, 95_2d or 95_1d")
	}
	p.Source = c.text("positions")
	if fixed := s.take("positions"); fixed != nil {
		if p.Source.Given() {
			d.problem(fixed, "positions is given for the whole file and as a column", "keep one")
		}
		p.Source.Fixed, _ = d.nonEmpty(fixed, s.full("positions"))
		p.Source.At = d.ref(fixed)
	}
	wanted := s.entry("log") == nil && slices.ContainsFunc(files, func(f read.File) bool { return delimited(f.Path) })
	def := ""
	if len(files) > 0 {
		def = files[0].CRS
	}
	d.pair(n, c, def, "", wanted)
	return p
}

// elevation maps the height of a position. Marks have none that means anything.
func (c *columns) elevation() read.Column { return c.quantity("elevation", length, nil) }

// pair sees that one of two pairs of coordinates is mapped whole, not both, and
// the one that suits the coordinate system. The keys start with a prefix.
func (d *decoder) pair(n *yaml.Node, c *columns, crsDef, prefix string, wanted bool) {
	has := func(key string) bool { return c.entry(prefix+key) != nil }
	either := fmt.Sprintf("%[1]slatitude and %[1]slongitude, or %[1]seasting and %[1]snorthing", prefix)
	geographic, projected := has("latitude"), has("easting")
	switch {
	case geographic != has("longitude") || projected != has("northing"):
		d.problem(c.node, c.name+" maps half a position", "map "+either)
		return
	case geographic && projected:
		d.problem(c.node, c.name+" maps two positions", "keep "+either)
		return
	case wanted && !geographic && !projected:
		d.problem(n, c.name+" maps no position", "add "+either)
		return
	}
	// Degrees may be given with a projected system: they are its datum's.
	if system, err := crs.Parse(crsDef); err == nil && projected && !system.Projected() {
		d.problem(c.node, fmt.Sprintf("%s maps easting and northing, but %s is not projected", c.name, system.Name()),
			"map "+prefix+"latitude and longitude, or name the projected system")
	}
}

var (
	modes   = []string{"active", "passive", "sonde"}
	hookups = []string{"direct", "clamp", "induction"}
	fixes   = []string{"fixed", "float", "dgps", "autonomous", "total_station"}
	depths  = []string{"centre", "sonde", "top"}
)

func (d *decoder) field(n *yaml.Node, depthTo survey.DepthTo) (out []read.FieldSource) {
	s, files := d.source(n, survey.RoleField)
	c := s.below("columns")
	src := read.FieldSource{
		Positions:  d.positions(n, s, c, files),
		Log:        d.log(s, c),
		DepthTo:    d.depthTo(s.section, depthTo, depths...),
		Trace:      c.text("trace"),
		Time:       c.time("time"),
		Fix:        c.text("fix", fixes...),
		Depth:      c.quantity("depth", length, nil),
		Current:    c.quantity("current", current, nil),
		Frequency:  c.quantity("frequency", frequency, nil),
		Mode:       c.text("mode", modes...),
		Hookup:     c.text("hookup", hookups...),
		Utility:    c.text("utility"),
		Crew:       c.text("crew"),
		Receiver:   c.text("receiver"),
		Session:    c.text("session"),
		Separation: c.quantity("separation", length, nil),
		Doubt:      c.text("doubt"),
		Remark:     c.text("remark"),
		Ticket:     c.text("ticket"),
	}
	src.Elevation = c.elevation()
	if len(c.entries) > 0 && c.entry("trace") == nil && c.entry("time") == nil {
		d.problem(c.node, "field.columns maps neither trace nor time", "map one: without trace, traces are formed from crew, ticket, utility, time and distance")
	}
	d.finish(survey.RoleField, files, s, c)
	if pattern := d.pattern(s.section); pattern != "" && len(files) > 0 {
		src.File = files[0]
		src.Path, src.Name = d.resolve(pattern), d.display(d.resolve(pattern))
		d.patterns = append(d.patterns, src)
	}
	for _, f := range files {
		src.File = f
		out = append(out, src)
	}
	return out
}

func (d *decoder) control(n *yaml.Node) (out []read.ControlSource) {
	s, files := d.source(n, survey.RoleControl)
	c := s.below("columns")
	src := read.ControlSource{
		Positions:     d.positions(n, s, c, files),
		TrueCRS:       d.crs(s.section, "true_crs"),
		TrueLatitude:  c.number("true_latitude"),
		TrueLongitude: c.number("true_longitude"),
		TrueEasting:   c.coordinate("true_easting"),
		TrueNorthing:  c.coordinate("true_northing"),
		Mark:          c.text("mark"),
		Time:          c.time("time"),
		Crew:          c.text("crew"),
		Receiver:      c.text("receiver"),
		Session:       c.text("session"),
	}
	src.Elevation = c.elevation()
	trueCRS := src.TrueCRS
	if trueCRS == "" && len(files) > 0 {
		trueCRS = files[0].CRS
	}
	d.pair(n, c, trueCRS, "true_", true)
	d.finish(survey.RoleControl, files, s, c)
	for _, f := range files {
		src.File = f
		out = append(out, src)
	}
	return out
}

func (d *decoder) areas(n *yaml.Node) (out []read.AreasSource) {
	s, files := d.source(n, survey.RoleAreas)
	var src read.AreasSource
	// The utilities swept for are one word, a list of words, or a column.
	if e := s.entry("utility"); e != nil && follow(e.value).Kind == yaml.SequenceNode {
		for _, item := range d.list(s.take("utility"), "areas.utility") {
			if u, ok := d.nonEmpty(item, "areas.utility"); ok {
				src.Utilities = append(src.Utilities, u)
			}
		}
	} else if u := s.fixedOrColumn("utility"); u.Mapped() {
		src.Utility = u
	} else if u.Fixed != "" {
		src.Utilities = []string{u.Fixed}
	}
	if s.entry("utility") == nil {
		d.problem(n, "areas does not say for which utilities it was swept", "add utility: [water, gas], or utility: {column: NAME}")
	}
	c := s.below("columns")
	src.Ticket = c.text("ticket")
	src.Method = c.text("method")
	src.Swept = c.text("swept")
	d.finish(survey.RoleAreas, files, s, c)
	for _, f := range files {
		src.File = f
		out = append(out, src)
	}
	return out
}

// districts reads a file of districts: areas that rules can name.
func (d *decoder) districts(n *yaml.Node) (out []read.DistrictsSource) {
	s, files := d.source(n, survey.RoleDistricts)
	src := read.DistrictsSource{District: s.fixedOrColumn("name")}
	if s.entry("name") == nil {
		d.problem(n, "districts has no name for what is in the file", "add name: centre, or name: {column: NAME}")
	}
	d.finish(survey.RoleDistricts, files, s)
	for _, f := range files {
		src.File = f
		out = append(out, src)
	}
	return out
}
