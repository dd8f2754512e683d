package starter

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
	"pgregory.net/rapid"

	"github.com/asfound/asfound/pipeline/read"
)

var update = flag.Bool("update", false, "write the golden files anew")

// seen is a file of rows as text: a header and values, with bars between them.
func seen(path string, lines ...string) File {
	f := File{Path: path, Glimpse: &read.Glimpse{Columns: strings.Split(lines[0], "|"), Delimiter: ',', Rows: len(lines) - 1}}
	for _, l := range lines[1:] {
		f.Sample = append(f.Sample, strings.Split(l, "|"))
	}
	return f
}

// with changes what else is known of a file.
func (f File) with(change func(*read.Glimpse)) File {
	change(f.Glimpse)
	return f
}

func shaped(shape, crs string) func(*read.Glimpse) {
	return func(g *read.Glimpse) { g.Shape, g.CRS, g.Delimiter = shape, crs, 0 }
}

var mains = seen("map/water_mains.geojson", "ID|Drawing No|Year Laid|Mat|Bore (mm)|Depth|COND",
	"W1|D-1|1972|DI|150|1.1|P", "W2|D-1|1985|PVC|100|0.9|P", "W3|D-2||DI|9999|1.4|T").with(shaped("lines", "EPSG:4326"))

var cases = map[string][]File{
	// Feet and inches, units in the names, codes for utilities.
	"feet": {mains, seen(
		"field/day1.csv", "RunID|Local Time|Latitude|Longitude|PosAcc_FT|Fix|Depth_IN|Sig mA|Freq Hz|Locate Mode|Hook-up|Util|Crew|Remarks|Battery",
		"1|2026-06-12 09:00:00|40.1|-81.1|0.05|4|36.5|12.1|8192|A|direct|WTR|North||80",
		"1|2026-06-12 09:00:09|40.1001|-81.1|0.05|4|-1|12.0|8192|A|direct|WTR|North|\"odd\"\n# x|79",
		"2|2026-06-12 09:20:00|40.1002|-81.1|0.06|5|37.0|8.0|8192|P||G|North||78",
		"2|2026-06-12 09:20:09|40.1003|-81.1001|0.06|5|37.5|7.9|8192|P||X|North||77",
	)},
	// Metres in a plane, decimal commas, days before months.
	"metres": {mains, seen(
		"messung.csv", "Linie;Trace|Datum|Easting|Northing|Elevation m|Depth|Mode",
		"1|13.06.2026 09:00:00|412345,12|5712345,50|101,5|1,20|active",
		"1|13.06.2026 09:00:10|412346,12|5712346,50|101,4|1,25|passive",
		"1|14.06.2026 09:00:20|412347,12|5712347,50|101,4|1,30|passive",
	).with(func(g *read.Glimpse) { g.Delimiter, g.Encoding = ';', "Windows-1252, since it is no UTF-8" })},
	// What only a person can tell: day or month, which unit, which of two.
	"doubtful": {seen("pipes.shp", "KIND|TAG", "W|1", "G|2").with(shaped("lines", "")), seen(
		"readings.csv", "when|y|x|depth|current|frequency|direct?|flag",
		"01/02/2026 10:00|40.1|-81.1|3|40|33|clamp|n",
		"02/03/2026 10:05|40.1|-81.1|3.5|41|33|clamp|y",
	)},
	// Every other role, and files that are alike or of no use.
	"roles": {
		mains,
		seen("field/crew_1.csv", "LINE|LAT|LON|DEPTH_M", "1|40|-81|1.2"),
		seen("field/crew_2.csv", "LINE|LAT|LON|DEPTH_M", "2|40|-81|1.3"),
		seen("paint marks.csv", "UTC|LAT|LON|UTIL", "2026-06-12T14:00:00Z|40|-81|gas"),
		seen("potholes.csv", "HOLE|LAT|LON|DEPTH_CM|DIAMETER_MM", "TH1|40|-81|99|110"),
		seen("valves.shp", "VALVE|KIND|DRAWING", "V1|WTR|D-1").with(shaped("points", "EPSG:26917")),
		seen("checks.csv", "POINT|UTC|E|N|KNOWN_E|KNOWN_N", "CP1|2026-06-12T14:00:00Z|500000|4427700|500000.1|4427700"),
		seen("swept.gpkg", "TICKET|DAY", "T1|2026-06-12").with(shaped("polygons", "EPSG:26917")).with(func(g *read.Glimpse) { g.Layer = "june" }),
		seen("walk.gpx", "point|time|ele", "trkpt|2026-06-12T14:00:00Z|101").with(shaped("points", "EPSG:4326")).with(func(g *read.Glimpse) { g.TimeColumn = "time" }),
		seen("readings.gpkg", "LINE|DEPTH_M|MODE", "1|1.2|active").with(shaped("points", "EPSG:26917")),
		seen("list.csv", "NAME|PHONE", "x|1"),
		{Path: "cut.shp", Broken: errors.New("it is cut short")},
		{Path: "receiver.nmea"},
	},
	"log": {mains, seen("depths.csv", "RUN|TIME|DEPTH_M", "1|2026-06-12T14:00:00Z|1.2"), {Path: "receiver.nmea"}},
}

// TestConfig compares the whole text for files as they may come.
func TestConfig(t *testing.T) {
	matches := func(pattern string) []string {
		return map[string][]string{"field/crew_*.csv": {"field/crew_1.csv", "field/crew_2.csv"}}[pattern]
	}
	for name, files := range cases {
		t.Run(name, func(t *testing.T) {
			got, err := Config(files, Options{Matches: matches})
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join("testdata", name+".yaml")
			if *update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if got != strings.ReplaceAll(string(want), "\r\n", "\n") {
				t.Errorf("%s differs (go test -update writes it anew); got:\n%s", path, got)
			}
			parse(t, got)
		})
	}
}

func TestNothingToUse(t *testing.T) {
	_, err := Config([]File{seen("list.csv", "NAME|PHONE", "x|1"), {Path: "a.shp", Broken: errors.New("gone")}}, Options{})
	if !errors.Is(err, ErrNothing) || !strings.Contains(err.Error(), "list.csv: no columns look like a position") || !strings.Contains(err.Error(), "a.shp: it cannot be read: gone") {
		t.Errorf("got %v", err)
	}
}

// TestPatternOfOthers names files one by one where a pattern would take in more.
func TestPatternOfOthers(t *testing.T) {
	files := []File{mains, seen("a1.csv", "LINE|LAT|LON|DEPTH_M", "1|40|-81|1"), seen("a2.csv", "LINE|LAT|LON|DEPTH_M", "1|40|-81|1")}
	got, err := Config(files, Options{Matches: func(string) []string { return []string{"a1.csv", "a2.csv", "a3.csv"} }})
	if err != nil || !strings.Contains(got, "- path: a1.csv\n") || !strings.Contains(got, "- path: a2.csv\n") {
		t.Errorf("got %v\n%s", err, got)
	}
}

func TestTokens(t *testing.T) {
	for name, want := range map[string]string{
		"POS_ACC_FT": "pos acc ft", "posAccFt": "pos acc ft", "Pos. acc (ft)": "pos acc ft", "": "", "--": "", "Tiefe über": "tiefe über",
	} {
		if got := strings.Join(tokens(name), " "); got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

func TestUnit(t *testing.T) {
	for _, c := range []struct {
		name string
		of   measure
		want string
	}{
		{"DEPTH_IN", length, "in"},
		{"depth (feet)", length, "ft"},
		{"Elev US ft", length, "ftUS"},
		{"DIA_MM", length, "mm"},
		{"DEPTH", length, ""},
		{"MA", current, "mA"},
		{"FREQ_KHZ", frequency, "kHz"},
		{"M", length, "m"},
		{"DEPTH_MA", length, ""},
		{"CURRENT_FT", current, ""},
		{"", length, ""},
	} {
		if got := unit(c.name, c.of); got != c.want {
			t.Errorf("unit of %q as a %s: %q, want %q", c.name, c.of, got, c.want)
		}
	}
}

func TestLayouts(t *testing.T) {
	for _, c := range []struct {
		values            []string
		format, ambiguous string
		zoned, found      bool
	}{
		{[]string{"2026-06-12T14:00:00Z", "2026-06-12T16:00:00+02:00"}, "", "", true, true},
		{[]string{"2026-06-12 14:00"}, "", "", false, true},
		{[]string{"20260612"}, "", "", false, true},
		{[]string{"46185.5833"}, "", "", false, true},
		{[]string{"13/06/2026 14:00", "01/06/2026 14:00"}, "2/1/2006 15:04", "", false, true},
		{[]string{"6/13/2026 2:00:05 PM"}, "1/2/2006 3:04:05 PM", "", false, true},
		{[]string{"01/02/2026"}, "1/2/2006", "2/1/2006", false, true},
		{[]string{"13.06.2026 14:00:00"}, "2.1.2006 15:04:05", "", false, true},
		{[]string{"13-Jun-2026 14:00:00 +02:00"}, "2-Jan-2006 15:04:05 -07:00", "", true, true},
		{[]string{"1781272800"}, "unix", "", true, true},
		{[]string{"1781272800000"}, "unix_milli", "", true, true},
		{[]string{"36.5", "37"}, "", "", false, false},
		{[]string{"46185"}, "", "", false, false}, // may be any number
		{[]string{"noon"}, "", "", false, false},
		{nil, "", "", false, false},
	} {
		got := layoutOf(c.values)
		if want := (layout{c.found, c.format, c.zoned, c.ambiguous}); got != want {
			t.Errorf("%q: %+v, want %+v", c.values, got, want)
		}
	}
}

func TestNoData(t *testing.T) {
	for _, c := range []struct{ sorted, want []float64 }{
		{[]float64{-1, 1, 2, 3}, []float64{-1}},
		{[]float64{-999, -1, 0, 2}, []float64{-999, -1}},
		{[]float64{-3, -1, 0, 2}, nil}, // others are negative too
		{[]float64{1, 2, 9999}, []float64{9999}},
		{[]float64{1, 2, 999, 9999}, []float64{999, 9999}},
		{[]float64{900, 950, 999}, nil},
		{[]float64{9999}, nil},
		{nil, nil},
	} {
		if got := noData(slices.Clone(c.sorted)); !slices.Equal(got, c.want) {
			t.Errorf("of %v: %v, want %v", c.sorted, got, c.want)
		}
	}
}

func parse(t interface{ Fatalf(string, ...any) }, text string) map[string]any {
	var tree map[string]any
	if err := yaml.Unmarshal([]byte(text), &tree); err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return tree
}

// TestAnyNames puts what it likes into names and values: the text stays YAML
// with the names as they are.
func TestAnyNames(t *testing.T) {
	value := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "1", "-1", "9999", "40.1", "TODO", "null", "#", ": ", "a\nb", "\"", "{", "2026-06-12", "clamp", "gas", "G", "\ufeff", "\u2028", "\x7f", "*.csv"}))
	name := rapid.OneOf(value, rapid.SampledFrom([]string{"LAT", "LON", "DEPTH", "MODE", "UTIL", "TIME", "ID", "TRUE_LAT", "TRUE_LON", "ACC", "E", "N"}))
	rapid.Check(t, func(t *rapid.T) {
		var files []File
		for range rapid.IntRange(1, 3).Draw(t, "files") {
			f := File{Path: name.Draw(t, "path") + rapid.SampledFrom([]string{".csv", ".shp", ".gpx", ".nmea"}).Draw(t, "ending"), Glimpse: &read.Glimpse{
				Columns: rapid.SliceOfN(name, 0, 8).Draw(t, "columns"), Shape: rapid.SampledFrom([]string{"", "lines", "points", "polygons"}).Draw(t, "shape"),
				CRS: rapid.SampledFrom([]string{"", "EPSG:4326", "EPSG:1", "junk\n\""}).Draw(t, "crs"), Layer: rapid.SampledFrom([]string{"", "a b", "TODO", "#"}).Draw(t, "layer"),
			}}
			for range rapid.IntRange(0, 4).Draw(t, "rows") {
				f.Sample = append(f.Sample, rapid.SliceOfN(value, len(f.Columns), len(f.Columns)).Draw(t, "row"))
			}
			f.Rows = len(f.Sample)
			files = append(files, f)
		}
		text, err := Config(files, Options{})
		if err != nil {
			return
		}
		paths := map[string]bool{}
		for _, f := range files {
			paths[f.Path] = true
		}
		for key, list := range parse(t, text) {
			sources, isList := list.([]any)
			if !isList {
				continue
			}
			for _, s := range sources {
				if path := s.(map[string]any)["path"].(string); !paths[path] {
					t.Fatalf("%s names %q, which is none of %v:\n%s", key, path, paths, text)
				}
			}
		}
	})
}
