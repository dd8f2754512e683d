// Package starter writes the first config of a job from what its files show:
// which of them are records, readings, control checks and so on, which column
// is which quantity, and what of it only a person can decide. It goes by plain
// words of the trade and of measurement and by the values themselves. What it
// cannot know it does not guess in silence: the value is TODO, and the comment
// beside it says what is asked.
package starter

import (
	"cmp"
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"

	"github.com/asfound/asfound/pipeline/read"
)

// File is one file, or one layer of it, as read.Look saw it.
type File struct {
	Path          string // as the config is to name it, with slashes
	Broken        error  // why it could not be looked at; nil if it could
	*read.Glimpse        // nil if not
}

// label tells the layers of one file apart.
func (f *File) label() string {
	if f.Glimpse == nil || f.Layer == "" {
		return f.Path
	}
	return f.Path + ", layer " + f.Layer
}

// Options say what is known beside the files.
type Options struct {
	// Matches lists the paths that a pattern stands for, so that files which are
	// alike can be named by one. Nil where no patterns are wanted.
	Matches func(pattern string) []string
}

// ErrNothing says that no file can be used.
var ErrNothing = errors.New("none of the files can be used")

// Config is the text of a config for some files. Its error wraps ErrNothing and
// says of each file why it is of no use.
func Config(files []File, o Options) (string, error) {
	var w writer
	byRole := map[role][]*source{}
	var useless []string
	for _, s := range sources(files, o) {
		r, why := s.take()
		if r == "" {
			useless = append(useless, fmt.Sprintf("%s: %s", s.files[0].label(), why))
			continue
		}
		byRole[r] = append(byRole[r], s)
	}
	if len(useless) > 0 && len(byRole) == 0 {
		return "", fmt.Errorf("%w:\n  %s", ErrNothing, strings.Join(useless, "\n  "))
	}
	w.head()
	for _, r := range roles {
		switch list := byRole[r]; {
		case len(list) > 0:
			w.section(r, list, byRole[positionLog])
		case r == records:
			w.line(0, "records: TODO", "no file looks like the utility's map: name a .shp, .zip, .geojson or .gpkg with lines")
		case r == field:
			w.line(0, "field: TODO", "no file looks like readings: name a file with positions, and depths or a signal")
		}
	}
	w.tail(useless, byRole[positionLog], len(byRole[field]) > 0)
	return w.String(), nil
}

// source is one source of the config: a file, or several that are alike.
type source struct {
	*read.Glimpse
	files    []File
	pattern  string // that stands for all files; "" for one
	broken   error
	profiles []*profile
	columns  assigned
	why      string // it has its role
}

func (s *source) name() string { return cmp.Or(s.pattern, s.files[0].Path) }

// sources puts together files of the same columns that one pattern stands for.
// Maps stay apart: each has a utility of its own.
func sources(files []File, o Options) []*source {
	var out []*source
	groups := map[string]int{}
	for _, f := range files {
		alone := f.Glimpse == nil || f.Layer != "" || f.Shape == "lines" || f.Shape == "polygons" || o.Matches == nil
		key := ""
		if !alone {
			key = path.Dir(f.Path) + "\x00" + path.Ext(f.Path) + "\x00" + f.Shape + f.CRS + "\x00" + strings.Join(f.Columns, "\x00")
			if at, met := groups[key]; met {
				out[at].files = append(out[at].files, f)
				continue
			}
			groups[key] = len(out)
		}
		out = append(out, &source{Glimpse: f.Glimpse, files: []File{f}, broken: f.Broken})
	}
	for i := 0; i < len(out); i++ {
		s := out[i]
		if len(s.files) > 1 {
			if s.pattern = pattern(s.files, o); s.pattern == "" {
				for k, f := range s.files[1:] {
					out = slices.Insert(out, i+1+k, &source{Glimpse: f.Glimpse, files: []File{f}})
				}
				s.files = s.files[:1]
			}
		}
		s.look()
	}
	return out
}

// pattern stands for some files of a folder and for no others; "" if there is
// none.
func pattern(files []File, o Options) string {
	dir, first := path.Split(files[0].Path)
	common := strings.TrimSuffix(first, path.Ext(first))
	var want []string
	for _, f := range files {
		want = append(want, f.Path)
		for base := path.Base(f.Path); !strings.HasPrefix(base, common); {
			common = common[:len(common)-1]
		}
	}
	common = strings.ToValidUTF8(common, "") // cut inside a letter
	p := dir + common + "*" + path.Ext(first)
	got := slices.Clone(o.Matches(p))
	slices.Sort(got)
	slices.Sort(want)
	if strings.ContainsAny(dir+common, "*?[\\") || !slices.Equal(got, want) {
		return ""
	}
	return p
}

// look takes the values of all files to profiles of the columns.
func (s *source) look() {
	if s.Glimpse == nil {
		return
	}
	for i, name := range s.Columns {
		var values []string
		for _, f := range s.files {
			for _, row := range f.Sample {
				values = append(values, row[i])
			}
		}
		s.profiles = append(s.profiles, newProfile(name, values, s.Delimiter))
	}
}

// readable are the kinds of file that the config allows in each role.
var readable = map[role][]string{
	records: layers, fittings: layers, areas: layers,
	field: rows, marks: rows, exposures: rows, control: rows,
}

var (
	layers = []string{".shp", ".zip", ".geojson", ".json", ".gpkg"}
	rows   = []string{".csv", ".tsv", ".txt", ".geojson", ".json", ".gpx", ".shp"}
)

// take decides what a source is and which of its columns are used.
func (s *source) take() (r role, why string) {
	switch ext := strings.ToLower(path.Ext(s.files[0].Path)); {
	case ext == ".nmea":
		return positionLog, ""
	case s.broken != nil:
		return "", "it cannot be read: " + strings.ReplaceAll(s.broken.Error(), "\n", "; ")
	case s.Shape != "" && s.Rows == 0:
		return "", "it has no rows"
	default:
		if r, s.why = s.roleOf(); r == "" {
			return "", s.why
		}
		if ok := readable[r]; !slices.Contains(ok, ext) {
			return "", fmt.Sprintf("it looks like %s (%s), which are not read from %s: export it as one of %s", r, s.why, ext, strings.Join(ok, ", "))
		}
	}
	wanted := slices.Concat(ofSource[r], columns[r])
	if s.Shape == "points" { // they have their own
		wanted = slices.DeleteFunc(wanted, func(q quantity) bool {
			return slices.Contains([]string{"latitude", "longitude", "easting", "northing"}, q.key) || q.key == "elevation" && s.TimeColumn != ""
		})
	}
	s.columns = assign(wanted, s.profiles)
	if s.TimeColumn != "" {
		i := slices.Index(s.Columns, s.TimeColumn)
		s.columns["time"] = s.profiles[i]
	}
	return r, s.why
}
