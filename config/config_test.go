package config

import (
	"errors"
	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"go.yaml.in/yaml/v3"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

var update = flag.Bool("update", false, "write the golden files anew")

// TestProblems loads every broken config and compares all that Load says of it
// with the text beside it.
func TestProblems(t *testing.T) {
	problems, err := filepath.Abs("testdata/problems")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(problems)); err != nil {
		t.Fatal(err)
	}
	err = shapefile.Write(filepath.Join(dir, "swept.shp"), &shapefile.Layer{
		Type:   shapefile.Polygon,
		Fields: []shapefile.Field{{Name: "TICKET", Type: 'C', Length: 10}, {Name: "SWEPT", Type: 'D', Length: 8}},
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	configs, err := filepath.Glob("*.yaml")
	if err != nil || len(configs) == 0 {
		t.Fatal("no broken configs", err)
	}
	for _, name := range configs {
		t.Run(name, func(t *testing.T) {
			_, err := Load(name)
			var ps Problems
			if !errors.As(err, &ps) {
				t.Fatalf("Load(%s) = %v, want Problems", name, err)
			}
			golden(t, filepath.Join(problems, strings.TrimSuffix(name, ".yaml")+".txt"), ps.Error()+"\n")
			for _, p := range ps {
				if p.What == "" || p.Do == "" || !strings.HasPrefix(p.Place, name+":") {
					t.Errorf("%#v lacks its place, what is wrong or what to do", p)
				}
			}
		})
	}
}

func golden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs (go test -update writes it anew)\ngot:\n%swant:\n%s", path, got, want)
	}
}

// writeFiles makes a job's folder from names and texts.
func writeFiles(t testing.TB, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

const (
	fieldHeader   = "TRACE,TIME,LATITUDE,LONGITUDE,HEIGHT,ACCURACY,FIX,DEPTH,CURRENT,FREQUENCY,MODE,HOOKUP,UTILITY,CREW,RECEIVER,SESSION,SEPARATION,DOUBT,REMARK,TICKET\n"
	marksHeader   = "TIME,LATITUDE,LONGITUDE,ACCURACY,UTILITY,CREW,RECEIVER,SESSION,REMARK,TICKET\n"
	holesHeader   = "HOLE,TIME,LATITUDE,LONGITUDE,HEIGHT,ACCURACY,DEPTH,DEPTH_SD,DIAMETER,UTILITY,FITTING,CREW,RECEIVER,SESSION,REMARK,TICKET\n"
	controlHeader = "MARK,TIME,LATITUDE,LONGITUDE,TRUE_LATITUDE,TRUE_LONGITUDE,CREW,RECEIVER\n"
)

func TestExample(t *testing.T) {
	example, err := os.ReadFile("example.yaml")
	if err != nil {
		t.Fatal(err)
	}
	dir := writeFiles(t, map[string]string{
		"asfound.yaml":        string(example),
		"field/b.csv":         fieldHeader,
		"field/a.csv":         "\ufeff" + strings.ReplaceAll(fieldHeader, ",", ";"),
		"field_control.csv":   controlHeader,
		"field_marks.csv":     marksHeader,
		"test_holes.csv":      holesHeader,
		"map/water_lines.shp": "", "map/gas_lines.shp": "", "map/swept.shp": "", "map/valves.shp": "", "map/districts.shp": "",
	})
	c, err := Load(filepath.Join(dir, "asfound.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	started := time.Date(2026, 5, 4, 3, 2, 1, 0, time.UTC)
	job := c.Job("v1.2.3", started)
	if job.Version != "v1.2.3" || !job.Publish.Started.Equal(started) {
		t.Error("the job does not know its version or when it started")
	}
	if job.Name != "North district, spring" || job.Publish.Output != filepath.Join(dir, "out") {
		t.Errorf("name %q, output %q", job.Name, job.Publish.Output)
	}
	if len(job.Read.Records) != 2 || len(job.Read.Field) != 2 || len(job.Read.Control) != 1 || len(job.Read.Areas) != 1 {
		t.Fatalf("sources: %d records, %d field, %d control, %d areas", len(job.Read.Records), len(job.Read.Field), len(job.Read.Control), len(job.Read.Areas))
	}
	water, gas, field := job.Read.Records[0], job.Read.Records[1], job.Read.Field[0]
	if want := (read.Column{Name: "COVER", Factor: 0.3048, Missing: []float64{9999, -1}, At: "asfound.yaml:24"}); !reflect.DeepEqual(water.Cover, want) {
		t.Errorf("cover is %+v, want %+v", water.Cover, want)
	}
	if water.Utility.Fixed != "water" || gas.Utility.Name != "KIND" || gas.Utility.Values["GS"] != "gas" {
		t.Errorf("utilities %+v and %+v", water.Utility, gas.Utility)
	}
	if field.Name != "field/a.csv" || field.At != "asfound.yaml:29" || field.CRS != "EPSG:4269" || field.Path != filepath.Join(dir, "field", "a.csv") {
		t.Errorf("field source is %+v", field.File)
	}
	if field.DepthTo != survey.DepthToCentre || field.AccuracyMeans != read.AccuracyRMS2D || field.Source.Fixed != "correction service" {
		t.Errorf("depth to %v, accuracy %q, positions %q", field.DepthTo, field.AccuracyMeans, field.Source.Fixed)
	}
	if len(job.Read.Marks) != 1 || len(job.Read.Exposures) != 1 || len(job.Read.Fittings) != 1 {
		t.Fatalf("sources: %d marks, %d exposures, %d fittings", len(job.Read.Marks), len(job.Read.Exposures), len(job.Read.Fittings))
	}
	marks, holes, valves := job.Read.Marks[0], job.Read.Exposures[0], job.Read.Fittings[0]
	if marks.CRS != "EPSG:4269" || marks.Accuracy.Factor != 0.3048 || marks.AccuracyMeans != read.AccuracyRMS2D || marks.Utility.Values["G"] != "gas" ||
		marks.Receiver.Name != "RECEIVER" || marks.Positions.Source.Fixed != "correction service" {
		t.Errorf("marks source is %+v", marks)
	}
	if holes.ID.Name != "HOLE" || holes.DepthTo != survey.DepthToTop || holes.Diameter.Factor != 0.0254 || holes.Fitting.Name != "FITTING" || holes.Elevation.Name != "HEIGHT" {
		t.Errorf("exposures source is %+v", holes)
	}
	if valves.ID.Name != "VALVE_NO" || valves.Sheet.Name != "PLAN" || valves.Utility.Name != "KIND" || valves.Path != filepath.Join(dir, "map", "valves.shp") {
		t.Errorf("fittings source is %+v", valves)
	}
	// Two rules of the config, then the four classes of the preset.
	if r := job.Judge.Rules; len(r) != 6 || !slices.Equal(r[0].Utility, []string{"gas"}) || r[0].HorizontalM != 0.3 || r[0].Words != "utility gas: horizontal 0.3 m, depth 0.2 m" ||
		r[1].District != "centre" || !slices.Equal(r[1].Material, []string{"DI", "CI"}) || r[1].FromM != 0.3 || r[1].BelowM != 0.9 || !r[1].HalfWidth || r[1].DepthM != 0.3 ||
		r[3].HorizontalM != 0.15 || r[3].HorizontalShare != 0.15 || !strings.Contains(r[3].Source, "PAS 128") {
		t.Errorf("rules are %+v", r)
	}
	if d := job.Read.Districts; len(d) != 1 || d[0].District.Name != "DISTRICT" || d[0].Path != filepath.Join(dir, "map", "districts.shp") {
		t.Errorf("districts are %+v", d)
	}
	if c, z := job.Judge.Cover, job.Judge.Zones; len(c) != 2 || c[0].Law != "49 CFR 192.327, distribution main" || math.Abs(c[0].MinimumM-0.6096) > 1e-12 || len(z) != 1 || math.Abs(z[0].EachSideM-0.6096) > 1e-12 || z[0].HalfWidth {
		t.Errorf("minimum covers %+v, zones %+v", c, z)
	}
	if job.Read.Exposures[0].Check {
		t.Error("evidence is held out")
	}
	if a := job.Read.Exposures[0].DepthAccuracy; a.Name != "DEPTH_SD" || a.Factor != 0.0254 {
		t.Errorf("the depths' accuracy is %+v", a)
	}
	if q := job.Rank.Consequences; len(q) != 2 || q[0].Weight != 5 || job.Rank.Budget != 25000 {
		t.Errorf("consequences are %+v, budget %g", q, job.Rank.Budget)
	}
	if err := c.Validate(); err != nil {
		t.Error("Validate:", err)
	}
	if err := os.Remove(filepath.Join(dir, "field", "b.csv")); err != nil {
		t.Fatal(err)
	}
	if err := c.Validate(); err == nil || !strings.Contains(err.Error(), "field/b.csv: no such file") {
		t.Errorf("Validate after a file went: %v", err)
	}
}

const minimal = `
records: [{path: map.geojson, utility: water}]
field: [{path: field.csv, crs: "EPSG:4269", columns: {trace: TRACE, latitude: LATITUDE, longitude: LONGITUDE}}]
`

func load(t testing.TB, yaml string) (*Config, error) {
	t.Helper()
	return Load(filepath.Join(writeFiles(t, map[string]string{"asfound.yaml": yaml, "map.geojson": "{}", "field.csv": fieldHeader}), "asfound.yaml"))
}

func TestEnvironment(t *testing.T) {
	t.Setenv("ASFOUND_MATCH_SEARCH_RADIUS", "30 ft")
	t.Setenv("ASFOUND_TOLERANCE_DEFAULT_DEPTH", "")
	t.Setenv("ASFOUND_BANNER", "internal")
	c, err := load(t, minimal+"match: {search_radius: 4 m}\njob: 0123\n")
	if err != nil {
		t.Fatal(err)
	}
	if got := c.job.Match.SearchRadiusM; got != 30*0.3048 {
		t.Errorf("search radius is %g m, want 30 ft", got)
	}
	if c.job.Banner != "internal" || c.job.Name != "0123" || c.job.Judge.Default.DepthM != 0.3 {
		t.Errorf("banner %q, job %q, depth %g", c.job.Banner, c.job.Name, c.job.Judge.Default.DepthM)
	}

	t.Setenv("ASFOUND_MATCH_SEARCH_RADIUS", "30")
	t.Setenv("ASFOUND_MATCH_SERCH_RADIUS", "30 ft")
	_, err = load(t, minimal)
	want := `environment variable ASFOUND_MATCH_SEARCH_RADIUS: match.search_radius: "30" has no unit: write it as "30 m"
environment variable ASFOUND_MATCH_SERCH_RADIUS: no such key: did you mean ASFOUND_MATCH_SEARCH_RADIUS?`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

func TestUnknownSystem(t *testing.T) {
	_, err := load(t, strings.Replace(minimal, "EPSG:4269", "EPSG:nonsense", 1)+"plane: EPSG:nothing\n")
	for _, want := range []string{
		"asfound.yaml:3: field.crs cannot be used: ", // and what package crs says of it
		"asfound.yaml:4: plane is neither auto nor usable: ",
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v lacks %q", err, want)
		}
	}
}

func TestAliases(t *testing.T) {
	dir := writeFiles(t, map[string]string{"map.geojson": "{}", "a.csv": fieldHeader, "b.csv": fieldHeader, "c.yaml": `
records: [{path: map.geojson, utility: water}]
field:
  - {path: a.csv, crs: &crs "EPSG:4269", frame: {name: ITRF2014, epoch: 2026.4}, columns: &crew {trace: TRACE, latitude: LATITUDE, longitude: LONGITUDE}}
  - {path: b.csv, crs: *crs, columns: *crew}
`})
	c, err := Load(filepath.Join(dir, "c.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if f := c.job.Read.Field; len(f) != 2 || f[1].Trace.Name != "TRACE" || f[1].CRS != "EPSG:4269" {
		t.Errorf("field is %+v", f)
	}
	if f := c.job.Read.Field[0]; f.Frame != "ITRF2014" || f.Epoch != 2026.4 {
		t.Errorf("frame %q, epoch %g", f.Frame, f.Epoch)
	}
}

// What a depth is to is said by a source: readings go by the default of
// read.depth_to, exposed lines are seen at the top.
func TestDepthTo(t *testing.T) {
	for _, c := range []struct {
		said           string
		field, exposed survey.DepthTo
	}{
		{"", survey.DepthToCentre, survey.DepthToTop},
		{"depth_to: centre, ", survey.DepthToCentre, survey.DepthToCentre},
		{"depth_to: top, ", survey.DepthToTop, survey.DepthToTop},
	} {
		yaml := strings.ReplaceAll(minimal, "{path: field.csv, ", "{path: field.csv, "+c.said)
		yaml += `exposures: [{path: holes.geojson, ` + c.said + `columns: {depth: {name: DEPTH, unit: in}}}]` + "\n"
		dir := writeFiles(t, map[string]string{"asfound.yaml": yaml, "map.geojson": "{}", "holes.geojson": "{}", "field.csv": fieldHeader})
		cfg, err := Load(filepath.Join(dir, "asfound.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		if f, e := cfg.job.Read.Field[0].DepthTo, cfg.job.Read.Exposures[0].DepthTo; f != c.field || e != c.exposed {
			t.Errorf("%q: field %v and exposures %v, want %v and %v", c.said, f, e, c.field, c.exposed)
		}
	}
}

// TestEveryOptionHasAKey sees that no number of the stages is left without a
// key, and that the defaults fill all of them.
func TestEveryOptionHasAKey(t *testing.T) {
	c, err := load(t, minimal)
	if err != nil {
		t.Fatal(err)
	}
	keyed := map[any]bool{}
	for _, s := range c.settings() {
		for _, target := range s.targets {
			keyed[target] = true
		}
	}
	var walk func(name string, v reflect.Value)
	walk = func(name string, v reflect.Value) {
		for i := range v.NumField() {
			f, field := v.Field(i), name+"."+v.Type().Field(i).Name
			switch f.Kind() {
			case reflect.Struct:
				walk(field, f)
			case reflect.Int, reflect.Int64, reflect.Float64:
				// How many cores work changes no result: it is no setting of a job.
				if !keyed[f.Addr().Interface()] && v.Type().Field(i).Name != "Workers" {
					t.Errorf("%s has no key in settings", field)
				}
			}
		}
	}
	j := &c.job
	for name, o := range map[string]any{"match": &j.Match, "adjust": &j.Adjust, "judge": &j.Judge, "correct": &j.Correct, "rank": &j.Rank} {
		walk(name, reflect.ValueOf(o).Elem())
	}
}

// TestDefaults sees that default.yaml has every scalar key and no other, and
// that behind each number stands its unit and where it comes from.
func TestDefaults(t *testing.T) {
	root, err := parse("default.yaml", defaults)
	if err != nil {
		t.Fatal(err)
	}
	var keys []string
	digits, inBrackets := regexp.MustCompile(`\d`), regexp.MustCompile(`^# \[\S+\] `)
	var walk func(prefix string, n *yaml.Node)
	walk = func(prefix string, n *yaml.Node) {
		for i := 0; i+1 < len(n.Content); i += 2 {
			key, v := prefix+n.Content[i].Value, n.Content[i+1]
			if v.Kind == yaml.MappingNode {
				walk(key+".", v)
				continue
			}
			if v.Kind != yaml.ScalarNode {
				continue
			}
			keys = append(keys, key)
			if !digits.MatchString(v.Value) {
				continue
			}
			_, err := plain.parse(v.Value)
			if unitless := err == nil; unitless && !inBrackets.MatchString(v.LineComment) {
				t.Errorf("default.yaml:%d: %s: no unit in the value, and none in [] first in its comment", v.Line, key)
			}
			if !strings.Contains(v.LineComment, "practice") && !strings.Contains(v.LineComment, "source: ") {
				t.Errorf("default.yaml:%d: %s: its comment names no source and not practice", v.Line, key)
			}
		}
	}
	walk("", root)

	want := []string{"read.depth_to"}
	for _, s := range new(Config).settings() {
		want = append(want, s.key)
	}
	slices.Sort(keys)
	slices.Sort(want)
	if !slices.Equal(keys, want) {
		t.Errorf("default.yaml has\n%q\nwant\n%q", keys, want)
	}
}

func FuzzLoad(f *testing.F) {
	example, err := os.ReadFile("example.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(example)
	f.Add([]byte(minimal))
	broken, err := filepath.Glob("testdata/problems/*.yaml")
	if err != nil {
		f.Fatal(err)
	}
	for _, name := range broken {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	dir := writeFiles(f, map[string]string{"map.geojson": "{}", "field.csv": fieldHeader})
	path := filepath.Join(dir, "asfound.yaml")
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		c, err := Load(path)
		var ps Problems
		switch {
		case err == nil && c.Validate() != nil:
			t.Errorf("Load accepts what Validate refuses: %v", c.Validate())
		case err != nil && (!errors.As(err, &ps) || len(ps) == 0):
			t.Errorf("the error holds no problems: %v", err)
		}
	})
}
