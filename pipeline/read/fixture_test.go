package read

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares a text with a file of testdata/cases/read.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("../../testdata/cases/read", name+".golden")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(bytes.ReplaceAll(want, []byte("\r\n"), []byte("\n")), []byte(got)) {
		t.Errorf("%s differs; got:\n%s\nwant:\n%s", path, got, want)
	}
}

// system parses a definition that must be known.
func system(t testing.TB, definition string) *crs.System {
	t.Helper()
	s, err := crs.Parse(definition)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// mains writes a shapefile of two water mains in UTM zone 17N near 81 W, 40 N,
// and gives its path.
func mains(t testing.TB, dir string) string {
	t.Helper()
	path := filepath.Join(dir, "mains.shp")
	line := func(number int, id string, points ...orb.Point) shapefile.Row {
		return shapefile.Row{Number: number, Parts: []orb.LineString{points}, Values: []string{id, "D-1"}}
	}
	err := shapefile.Write(path, &shapefile.Layer{
		Name: "mains", Type: shapefile.PolyLine, Projection: system(t, "EPSG:26917").Definition(),
		Fields: []shapefile.Field{{Name: "ID", Type: 'C', Length: 20}, {Name: "SHEET", Type: 'C', Length: 20}},
		Rows: []shapefile.Row{
			line(1, "W1", orb.Point{500000, 4427700}, orb.Point{500100, 4427700}),
			line(2, "W2", orb.Point{500100, 4427700}, orb.Point{500100, 4427900}),
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// columns of the tests' field files, by what they hold.
func mapped(header string) FieldSource {
	has := func(c Column) Column {
		for _, name := range strings.FieldsFunc(header, func(r rune) bool { return strings.ContainsRune(",;\t|\r", r) }) {
			if strings.TrimSpace(name) == c.Name {
				return c
			}
		}
		return Column{}
	}
	var s FieldSource
	s.Latitude, s.Longitude = has(Column{Name: "LAT"}), has(Column{Name: "LON"})
	s.Easting, s.Northing = has(Column{Name: "E"}), has(Column{Name: "N"})
	s.Accuracy, s.AccuracyMeans = has(Column{Name: "ACC", Missing: []float64{99}}), AccuracySigma1D
	s.Elevation, s.Positions.Source = has(Column{Name: "ELEV"}), has(Column{Name: "BASE"})
	s.Trace, s.Time, s.Fix = has(Column{Name: "LINE"}), has(Column{Name: "TIME"}), has(Column{Name: "FIX"})
	s.Depth = has(Column{Name: "DEPTH_IN", Factor: 0.0254, Missing: []float64{-1}})
	s.Current, s.Frequency = has(Column{Name: "MA", Factor: 0.001}), has(Column{Name: "HZ"})
	s.Mode, s.Hookup = has(Column{Name: "MODE"}), has(Column{Name: "HOOKUP"})
	s.Utility = has(Column{Name: "UTIL", Values: map[string]string{"WTR": "water", "GAS": "gas"}})
	s.Crew, s.Receiver, s.Session = has(Column{Name: "CREW"}), has(Column{Name: "RX"}), has(Column{Name: "SESSION"})
	s.Separation, s.Doubt = has(Column{Name: "SEP"}), has(Column{Name: "DOUBT"})
	s.Remark, s.Ticket = has(Column{Name: "REMARK"}), has(Column{Name: "TICKET"})
	return s
}

// Headers of the tests' files of marks and of exposures, of which every column
// is mapped.
const (
	marksHeader = "TIME,LAT,LON,ACC,UTIL,CREW,RX,SESSION,BASE,TICKET,REMARK\n"
	holesHeader = "HOLE,TIME,LAT,LON,ELEV,ACC,DEPTH_IN,DIA_IN,UTIL,FITTING,CREW,RX,SESSION,BASE,TICKET,REMARK\n"
)

func markColumns() (s MarksSource) {
	f := mapped(marksHeader)
	s.Positions, s.Time, s.Utility, s.Crew, s.Receiver, s.Session, s.Ticket, s.Remark = f.Positions, f.Time, f.Utility, f.Crew, f.Receiver, f.Session, f.Ticket, f.Remark
	return s
}

func exposureColumns() (s ExposuresSource) {
	f := mapped(holesHeader)
	s.Positions, s.Time, s.Depth, s.Utility, s.Crew, s.Receiver, s.Session, s.Ticket, s.Remark = f.Positions, f.Time, f.Depth, f.Utility, f.Crew, f.Receiver, f.Session, f.Ticket, f.Remark
	s.ID, s.Fitting, s.Diameter = Column{Name: "HOLE"}, Column{Name: "FITTING"}, Column{Name: "DIA_IN", Factor: 0.0254}
	s.DepthTo = survey.DepthToTop
	return s
}

// input is a job under test: texts of files by name.
type input struct {
	field, control, marks, exposures map[string]string
	change                           func(*Options)
}

// options writes the files of an input and names them.
func (in input) options(t testing.TB) Options {
	t.Helper()
	dir := t.TempDir()
	o := Options{
		Plane: auto, MaxRejectShare: 0.05, Gap: Gap{Seconds: 300, Metres: 30},
		PlaceholderSheets: []string{"unknown", "n/a"},
		Records: []RecordsSource{{
			File: File{Path: mains(t, dir), Name: "gis/mains.shp"}, Utility: Column{Fixed: "water"},
			ID: Column{Name: "ID"}, Sheet: Column{Name: "SHEET"},
		}},
	}
	write := func(name, text string) File {
		path := filepath.Join(dir, filepath.Base(name))
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return File{Path: path, Name: name, CRS: "EPSG:4269"}
	}
	for _, name := range slices.Sorted(maps.Keys(in.field)) {
		text := in.field[name]
		header, _, _ := strings.Cut(strings.TrimPrefix(text, "\ufeff"), "\n")
		s := mapped(header)
		s.File = write(name, text)
		o.Field = append(o.Field, s)
	}
	for name, text := range in.control {
		s := ControlSource{
			File: write(name, text),
			Mark: Column{Name: "MARK"}, Time: Column{Name: "TIME"}, Crew: Column{Name: "CREW"}, Receiver: Column{Name: "RX"},
			TrueLatitude: Column{Name: "TLAT"}, TrueLongitude: Column{Name: "TLON"},
		}
		s.Latitude, s.Longitude = Column{Name: "LAT"}, Column{Name: "LON"}
		o.Control = append(o.Control, s)
	}
	for _, name := range slices.Sorted(maps.Keys(in.marks)) {
		s := markColumns()
		s.File = write(name, in.marks[name])
		o.Marks = append(o.Marks, s)
	}
	for _, name := range slices.Sorted(maps.Keys(in.exposures)) {
		s := exposureColumns()
		s.File = write(name, in.exposures[name])
		o.Exposures = append(o.Exposures, s)
	}
	if in.change != nil {
		in.change(&o)
	}
	return o
}

func (in input) read(t testing.TB) *survey.Survey {
	t.Helper()
	s, err := Files(context.Background(), in.options(t))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// rowsInNote are rows that a note names.
var rowsInNote = regexp.MustCompile(`row \d+`)

// dump shows a survey's account, traces and checks; rows says whether with row
// numbers, the one thing that the order of rows may change.
func dump(s *survey.Survey, rows bool) string {
	var b strings.Builder
	at := func(p survey.Place) string {
		if !rows {
			return p.File
		}
		return fmt.Sprintf("%s row %d line %d", p.File, p.Row, p.Line)
	}
	clock := func(t time.Time) string {
		if t.IsZero() {
			return "-"
		}
		return t.UTC().Format(time.RFC3339Nano)
	}
	for _, n := range s.Notes {
		fmt.Fprintf(&b, "note: %s\n", n)
	}
	for _, src := range s.Sources {
		fmt.Fprintf(&b, "source %s (%s): %d rows = %d used + %d duplicates + %d rejected\n",
			src.Name, src.Role, src.Rows, src.Used, src.Duplicates, src.Rejected)
		if src.SetAside != "" {
			fmt.Fprintf(&b, "  set aside: %s\n", src.SetAside)
		}
		if src.Operation != "" {
			fmt.Fprintf(&b, "  %s; %s\n", src.CRS, src.Operation)
		}
		if src.Used > 0 {
			fmt.Fprintf(&b, "  extent %.3f %.3f %.3f %.3f, time %s to %s\n", src.West, src.South, src.East, src.North, clock(src.First), clock(src.Last))
		}
		for _, n := range src.Notes {
			if !rows {
				n = rowsInNote.ReplaceAllString(n, "row")
			}
			fmt.Fprintf(&b, "  note: %s\n", n)
		}
	}
	if rows {
		for _, r := range s.Rejects {
			fmt.Fprintf(&b, "reject %s %s %q: %s\n", at(r.Place), r.Field, r.Value, r.Reason)
		}
	}
	for i := range s.Records {
		r := &s.Records[i]
		fmt.Fprintf(&b, "record %s: %s sheet %q, year %d, %s %s, diameter %.4g, cover %.4g, scale %.7f, convergence %.6f, parts %.3f\n",
			r.Key(), r.Utility, r.Sheet, r.Installed, r.Material, r.Conductor, r.DiameterM, r.CoverM, r.Scale, r.Convergence, r.Parts)
	}
	for i := range s.Traces {
		t := &s.Traces[i]
		fmt.Fprintf(&b, "trace %s: utility %q, crew %q, receiver %q, session %q, positions %q, ticket %q\n",
			t.ID, t.Utility, t.Crew, t.Receiver, t.Session, t.Positions, t.Ticket)
		for _, m := range t.Readings {
			fmt.Fprintf(&b, "  %s %s (%.3f %.3f %.3g) sigma %.4g fix %d depth %.4g to %d, %.4g A, %.6g Hz, separation %.4g, mode %d, hook-up %d",
				at(m.Place), clock(m.Time), m.Point[0], m.Point[1], m.ElevationM, m.SigmaM, m.Fix, m.DepthM, m.DepthTo,
				m.CurrentA, m.FrequencyHz, m.SeparationM, m.Mode, m.Hookup)
			if m.Doubt {
				b.WriteString(", doubt")
			}
			if m.Remark != "" {
				fmt.Fprintf(&b, ", %q", m.Remark)
			}
			if m.Duplicate != nil {
				fmt.Fprintf(&b, ", duplicate of %s", at(*m.Duplicate))
			}
			b.WriteString("\n")
		}
	}
	for _, m := range s.Marks {
		fmt.Fprintf(&b, "mark %s %s (%.3f %.3f) sigma %.4g %q, crew %q, receiver %q, session %q, positions %q, ticket %q, %q\n",
			at(m.Place), clock(m.Time), m.Point[0], m.Point[1], m.SigmaM, m.Utility, m.Crew, m.Receiver, m.Session, m.Positions, m.Ticket, m.Remark)
	}
	for _, e := range s.Exposures {
		fmt.Fprintf(&b, "exposure %s %s %s (%.3f %.3f %.3f) sigma %.4g, depth %.4g to %d, diameter %.4g, %q, fitting %q, crew %q, receiver %q, session %q, positions %q, ticket %q, %q, scale %.7f, convergence %.6f\n",
			at(e.Place), e.ID, clock(e.Time), e.Point[0], e.Point[1], e.ElevationM, e.SigmaM, e.DepthM, e.DepthTo, e.DiameterM, e.Utility, e.Fitting,
			e.Crew, e.Receiver, e.Session, e.Positions, e.Ticket, e.Remark, e.Scale, e.Convergence)
	}
	for i := range s.Fittings {
		f := &s.Fittings[i]
		fmt.Fprintf(&b, "fitting %s: %s sheet %q (%.3f %.3f), scale %.7f, convergence %.6f", f.Key(), f.Utility, f.Sheet, f.Point[0], f.Point[1], f.Scale, f.Convergence)
		if l := &s.PointLayers[f.Layer]; rows {
			fmt.Fprintf(&b, ", layer %s row %d %v", l.Name, l.Features[f.Feature].Row, l.Features[f.Feature].Values)
		}
		b.WriteString("\n")
	}
	for _, c := range s.Checks {
		fmt.Fprintf(&b, "check %s %s %s: off by %.3f %.3f, session %q, scale %.7f, convergence %.6f\n",
			at(c.Place), c.Mark, clock(c.Time), c.Observed[0]-c.Known[0], c.Observed[1]-c.Known[1], c.Session, c.Scale, c.Convergence)
	}
	for _, a := range s.Areas {
		fmt.Fprintf(&b, "area %s: %q %s %s %s, polygons %.3f\n", at(a.Place), a.Utilities, a.Method, a.Date, a.Ticket, a.Polygon)
	}
	return b.String()
}
