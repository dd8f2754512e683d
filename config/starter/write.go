package starter

import (
	"fmt"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/read"
)

// writer writes YAML by hand, since its point is the comments.
type writer struct{ strings.Builder }

// line writes a line, indented by so many steps, with a comment behind it.
func (w *writer) line(depth int, text, comment string) {
	w.WriteString(strings.Repeat("  ", depth) + text)
	if comment != "" {
		w.WriteString("  # " + oneLine(comment))
	}
	w.WriteString("\n")
}

func (w *writer) comment(depth int, format string, a ...any) {
	w.WriteString(strings.Repeat("  ", depth) + "# " + oneLine(fmt.Sprintf(format, a...)) + "\n")
}

// oneLine keeps a comment to its line, whatever a file has put into it.
func oneLine(s string) string {
	return strings.Map(func(c rune) rune {
		switch {
		case c == '\n' || c == '\r' || c == '\t':
			return ' '
		case !strconv.IsPrint(c):
			return '?'
		}
		return c
	}, strings.ToValidUTF8(s, "?"))
}

var (
	plainScalar = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_./*-]*( [A-Za-z0-9_./-]+)*$`)
	notPlain    = regexp.MustCompile(`^(?i:todo|y|n|yes|no|on|off|true|false|null)$`)
)

// scalar is a text as YAML reads it back.
func scalar(s string) string {
	if plainScalar.MatchString(s) && !notPlain.MatchString(s) {
		return s
	}
	return strconv.QuoteToASCII(s)
}

func (w *writer) head() {
	w.comment(0, "Written by asfound init from what it saw in the files. Nothing in it is certain:")
	w.comment(0, "read it through, decide what says TODO, and see what asfound check says then.")
	w.line(0, "# job: a name for the reports", "")
	w.line(0, "output: out", "")
}

// section writes the sources of one role.
func (w *writer) section(r role, list []*source, logs []*source) {
	w.line(0, string(r)+":", "")
	for _, s := range list {
		w.source(r, s, logs)
	}
}

func (w *writer) source(r role, s *source, logs []*source) {
	for _, f := range s.files {
		w.comment(1, "%s", s.aboutFile(f))
	}
	w.comment(1, "taken for %s: %s", r, s.why)
	w.line(1, "- path: "+scalar(s.name()), "")
	if s.Layer != "" {
		w.line(2, "layer: "+scalar(s.Layer), "")
	}
	w.crs(s)
	w.sourceKeys(r, s, logs)
	var lines writer
	for _, q := range columns[r] {
		if p := s.columns[q.key]; p != nil {
			lines.mapping(3, q.key, "name", &q, p, s)
		}
	}
	if r == field && lines.Len() > 0 && !s.columns.hasAny("trace", "time") {
		lines.line(3, "trace: TODO", "which column names the line that was walked? Or map time: then traces are formed from crew, utility, time and distance")
	}
	if lines.Len() > 0 {
		w.line(2, "columns:", "")
		w.WriteString(lines.String())
	}
	w.unused(r, s)
}

// aboutFile says how a file is read.
func (s *source) aboutFile(f File) string {
	about := []string{words.Count(f.Rows, "row")}
	switch f.Delimiter {
	case ';':
		about = append(about, "semicolons between values")
	case '\t':
		about = append(about, "tabs between values")
	case '|':
		about = append(about, "bars between values")
	}
	if f.Encoding != "" {
		about = append(about, "text in "+f.Encoding)
	}
	if slices.ContainsFunc(s.profiles, func(p *profile) bool { return s.columns.uses(p) && p.decimalComma() }) {
		about = append(about, "decimal commas")
	}
	if f.Rows > read.SampleRows {
		about = append(about, fmt.Sprintf("of which %d were looked at", len(f.Sample)))
	}
	return f.label() + ": " + strings.Join(about, ", ")
}

func (p *profile) decimalComma() bool {
	return p.numeric() && slices.ContainsFunc(p.distinct, func(v string) bool { return strings.Contains(v, ",") })
}

// crs writes the coordinate system, or what the file says of it.
func (w *writer) crs(s *source) {
	if s.CRS == "" {
		hint := "which system are the positions in? The file cannot say. As in EPSG:4269 or EPSG:4326 for degrees"
		switch {
		case s.columns.has("easting"):
			hint = fmt.Sprintf("which projected system are %s and %s in? The file cannot say. As in EPSG:2264", s.columns["easting"].name, s.columns["northing"].name)
		case s.Shape != "":
			hint = "which system are the coordinates in? The file does not say"
		}
		w.line(2, "crs: TODO", hint)
		return
	}
	system, err := crs.Parse(s.CRS)
	if err != nil {
		w.line(2, "crs: TODO", "which system is it in? What the file says cannot be used: "+err.Error())
		return
	}
	w.comment(2, "crs: %s, as the file says", system.Name())
}

// sourceKeys writes the keys beside the columns.
func (w *writer) sourceKeys(r role, s *source, logs []*source) {
	switch r {
	case records, fittings, areas:
		for _, q := range ofSource[r] {
			if p := s.columns[q.key]; p != nil {
				w.mapping(2, q.key, "column", &q, p, s)
			}
		}
		switch u := utilityIn(path.Base(s.files[0].Path) + " " + s.Layer); {
		case s.columns.has("utility"):
		case r == areas:
			w.line(2, "utility: TODO", "which utilities was it swept for? As in [water, gas]")
		case r == fittings && u == "":
			w.comment(2, "utility: whose they are, as in water, where all are of one")
		case u != "":
			w.line(2, "utility: "+u, "from the file's name")
		default:
			w.line(2, "utility: TODO", "whose lines are these? As in water, gas, electric")
		}
		if r == records && !s.columns.has("conductor") {
			w.comment(2, "conductor: pipe, wire, or none where no signal can be put on the line")
		}
	case field:
		w.comment(2, "depth_to: centre of the signal unless it says sonde, or top (exposed)")
		if s.Shape == "" && !s.columns.hasAny("latitude", "easting") {
			name := "TODO"
			if len(logs) == 1 {
				name = scalar(logs[0].name())
			}
			w.line(2, "log: "+name, "the receiver's log that has the positions, by time")
		}
	case exposures:
		if !s.columns.has("positions") {
			w.comment(2, "positions: what surveyed them, as in total station, where it is not what the readings have")
		}
		w.line(2, "depth_to: top", "")
		w.comment(2, "use: check, where they are to check the result and stay out of the adjustment")
	}
}

// mapping writes which column feeds a quantity, and what was seen in it.
func (w *writer) mapping(depth int, key, nameKey string, q *quantity, p *profile, s *source) {
	parts := []string{nameKey + ": " + scalar(p.name)}
	comment := p.seen()
	if q.measure != "" {
		u := unit(p.name, q.measure)
		if u == "" {
			u = "TODO"
			comment = fmt.Sprintf("in which unit? One of %s; %s%s", strings.Join(unitsOf[q.measure], ", "), comment, q.perhaps(p))
		}
		parts = append(parts, "unit: "+u)
	}
	if q.kind >= number && q.kind <= easting && len(p.missing) > 0 {
		var list []string
		for _, v := range p.missing {
			list = append(list, short(v))
		}
		parts = append(parts, "missing: ["+strings.Join(list, ", ")+"]")
		comment += fmt.Sprintf("; %s in %s taken for no data", strings.Join(list, " and "), words.Count(len(p.numbers)-len(p.data()), "row"))
	}
	if key == "accuracy" {
		parts = append(parts, "means: TODO")
		comment = "what does it mean? rms_2d, sigma_1d, 95_2d or 95_1d; " + comment
	}
	if q.kind == moment {
		more, ask := p.layout.keys(p)
		parts = append(parts, more...)
		if ask != "" {
			comment = ask + "; " + comment
		}
	}
	values, ask := q.values(p)
	switch {
	case len(values) > 0:
		w.line(depth, key+":", comment)
		for _, part := range parts {
			w.line(depth+1, part, "")
		}
		w.line(depth+1, "values:", ask)
		for _, v := range values {
			w.line(depth+2, "- "+v[0], v[1])
		}
	case len(parts) == 1 && nameKey == "name":
		w.line(depth, key+": "+scalar(p.name), comment)
	default:
		w.line(depth, key+": {"+strings.Join(parts, ", ")+"}", comment)
	}
}

// keys are the format and zone of a time, and what a person has to decide.
func (l layout) keys(p *profile) (parts []string, ask string) {
	switch {
	case !l.found: // no values to tell from
		return nil, ""
	case l.ambiguous != "":
		parts = append(parts, "format: TODO")
		ask = fmt.Sprintf("day or month first? %q or %q", l.format, l.ambiguous)
	case l.format != "":
		parts = append(parts, "format: "+strconv.QuoteToASCII(l.format))
	}
	switch name := tokens(p.name); {
	case l.zoned:
	case slices.Contains(name, "utc") || slices.Contains(name, "gmt"):
		parts = append(parts, "zone: UTC")
	default:
		parts = append(parts, "zone: TODO")
		zone := "in which time zone? As in America/Regina or UTC"
		if ask == "" {
			ask = zone
		} else {
			ask += "; " + zone
		}
	}
	return parts, ask
}

// choices are asfound's own words for the quantities that have them.
var choices = map[string]string{
	"mode": "active, passive or sonde", "hookup": "direct, clamp or induction",
	"fix":       "fixed, float, dgps, autonomous or total_station",
	"conductor": "pipe, wire or none",
}

// values are the words of a column that have to be mapped, each with how often
// it stands there, and what is asked of them all.
func (q *quantity) values(p *profile) (list [][2]string, ask string) {
	unknown := func(v string) bool { return choices[q.key] != "" && !read.Known(q.key, v) }
	if q.kind == utility {
		unknown = func(v string) bool { return utilityOf(v) != strings.ToLower(v) && !strings.ContainsAny(v, ",;|/+&") }
	}
	if !p.few() || !slices.ContainsFunc(p.distinct, unknown) {
		return nil, ""
	}
	for _, v := range p.distinct {
		to := "TODO"
		ask, rows := "", words.Count(p.counts[v], "row")
		switch {
		case q.kind == utility && utilityOf(v) != "":
			to, ask = utilityOf(v), "by the word, "
		case q.kind == utility:
			ask = fmt.Sprintf("which utility is %s? It stands in ", example(v))
		case !unknown(v):
			continue
		default:
			ask = fmt.Sprintf("what is %s? One of %s; it stands in ", example(v), choices[q.key])
		}
		list = append(list, [2]string{fmt.Sprintf("{from: %s, to: %s}", scalar(v), to), ask + rows})
	}
	return list, ""
}

// unused lists the columns that feed nothing.
func (w *writer) unused(r role, s *source) {
	for _, p := range s.profiles {
		if s.columns.uses(p) {
			continue
		}
		note := ""
		if r == records && slices.Contains(p.words, "depth") && !s.columns.hasAny("cover", "depth_to_centre", "depth_to_invert", "invert_elevation", "crown_elevation") {
			note = ": how deep, but to what? Map it as cover, depth_to_centre or depth_to_invert"
		}
		w.comment(2, "not used: %s (%s)%s", example(p.name), p.seen(), note)
	}
}

// tail names what is left out.
func (w *writer) tail(useless []string, logs []*source, field bool) {
	for _, l := range logs {
		if !strings.Contains(w.String(), "log: "+scalar(l.name())) {
			w.comment(0, "%s is a receiver's log: name it with log: in a field source whose readings have no positions", l.name())
		}
	}
	for _, u := range useless {
		w.comment(0, "left out: %s", u)
	}
	w.comment(0, "Tolerances, search radius, re-survey costs and the rest have defaults: see the README.")
	w.comment(0, "Nothing is held against a published table until you choose one, as in")
	w.comment(0, "tolerance: {preset: pas128}")
	w.comment(0, "cover: [{utility: gas, table: us-49cfr192, class: distribution main}]")
	w.comment(0, "zones: [{law: us-fl}]")
}
