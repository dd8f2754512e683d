package starter

import (
	"path"
	"slices"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// role is the section of the config that a file goes into.
type role = survey.Role

const (
	records     = survey.RoleRecords
	field       = survey.RoleField
	marks       = survey.RoleMarks
	exposures   = survey.RoleExposures
	fittings    = survey.RoleFittings
	control     = survey.RoleControl
	areas       = survey.RoleAreas
	positionLog = role("log") // a receiver's log, which a field source names
)

// roles are in the order in which the config has them.
var roles = []role{records, field, marks, exposures, fittings, control, areas}

// hints are words of a file's name that tell what is in it.
var hints = []struct {
	role  role
	words string
}{
	{exposures, "hole holes pothole potholes exposure exposures exposed trench trenches excavation excavations vacuum"},
	{marks, "mark marks paint painted flag flags stake stakes"},
	{control, "control check checks benchmark benchmarks monument monuments"},
	{fittings, "fitting fittings valve valves hydrant hydrants manhole manholes chamber chambers meter meters pole poles pedestal pedestals"},
	{field, "field reading readings locate locates trace traces crew walk"},
}

// hint is the first role that the words of a file's name speak for.
func hint(name string) role {
	words := tokens(path.Base(name))
	for _, h := range hints {
		if slices.ContainsFunc(words, func(w string) bool { return slices.Contains(strings.Fields(h.words), w) }) {
			return h.role
		}
	}
	return ""
}

// signal are quantities that only readings with a receiver have.
var signal = []string{"current", "frequency", "mode", "hookup", "trace", "separation"}

// roleOf says what a file looks like, and why; "" and the reason where it looks
// like nothing.
func (s *source) roleOf() (r role, why string) {
	switch s.Shape {
	case "lines":
		return records, "it holds lines"
	case "polygons":
		return areas, "it holds polygons"
	}
	f := assign(columns[field], s.profiles)
	c := assign(columns[control], s.profiles)
	located := s.Shape == "points" || f.hasAny("latitude", "easting")
	named := hint(s.files[0].Path)
	observed := s.Shape == "points" || c.hasAny("latitude", "easting")
	switch {
	case observed && c.hasAny("true_latitude", "true_easting"):
		return control, "it has known positions beside observed ones"
	case f.has("depth") && f.hasAny(signal...):
		r, why = field, "it has depths and "+strings.Join(s.namesOf(f, signal), ", ")
	case f.has("depth") && (named == exposures || slices.ContainsFunc(s.profiles, isHole)):
		r, why = exposures, "it has depths and no signal"
	case f.has("depth"):
		r, why = field, "it has depths"
	case named == marks || named == fittings || named == field:
		r, why = named, "so its name says, and it has no depths"
	case f.hasAny(signal...):
		r, why = field, "it has "+strings.Join(s.namesOf(f, signal), ", ")
	case s.Shape == "points" && !f.has("time"):
		r, why = fittings, "it holds points without times"
	default:
		r, why = marks, "it has positions and neither depths nor a signal"
	}
	if !located && !(r == field && f.has("time")) {
		return "", "no columns look like a position"
	}
	return r, why
}

// isHole says whether a column numbers test holes.
func isHole(p *profile) bool {
	return slices.ContainsFunc(p.words, func(w string) bool { return slices.Contains([]string{"hole", "pothole", "exposure"}, w) })
}

// namesOf are the columns of some quantities, as the file calls them.
func (s *source) namesOf(a assigned, keys []string) (names []string) {
	for _, k := range keys {
		if a[k] != nil && len(names) < 3 {
			names = append(names, a[k].name)
		}
	}
	return names
}
