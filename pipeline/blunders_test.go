package pipeline_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// madeTown is a made-up town, of a few streets.
func madeTown(t *testing.T, difficulty string, seed uint64) *synth.Town {
	t.Helper()
	p, err := synth.Preset(difficulty)
	if err != nil {
		t.Fatal(err)
	}
	if difficulty == "hard" {
		p.Network.Avenues, p.Network.CrossStreets = 3, 3
	}
	return synth.Make(seed, p)
}

// written writes a town into a folder and gives the options of its config.
func written(t *testing.T, town *synth.Town) read.Options {
	t.Helper()
	file, err := town.Write(t.TempDir(), synth.WriteOptions{Marks: true, Exposures: true, Fittings: true})
	if err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	return c.Job("test", time.Time{}).Read
}

// townsByFrame are towns in every system that they are made in.
func townsByFrame(t *testing.T, difficulty string) map[string]*synth.Town {
	t.Helper()
	towns := map[string]*synth.Town{}
	for seed := uint64(1); len(towns) < len(synth.Frames); seed++ {
		if town := madeTown(t, difficulty, seed); towns[town.Frame.CRS] == nil {
			towns[town.Frame.CRS] = town
		}
	}
	return towns
}

// rewrite changes the positions of a table: its columns LAT and LON, which are
// then called what they are.
func rewrite(t *testing.T, path string, change func(lonlat orb.Point) orb.Point) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	lat, lon := slices.Index(rows[0], "LAT"), slices.Index(rows[0], "LON")
	for _, row := range rows[1:] {
		var p orb.Point
		for axis, column := range []int{lon, lat} {
			if p[axis], err = strconv.ParseFloat(row[column], 64); err != nil {
				t.Fatal(err)
			}
		}
		p = change(p)
		row[lon], row[lat] = fmt.Sprintf("%.9f", p[0]), fmt.Sprintf("%.9f", p[1])
	}
	var b strings.Builder
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

// projected reads the changed columns as easting and northing of a system.
func projected(system string) func(*read.FieldSource) {
	return func(s *read.FieldSource) {
		s.CRS = system
		s.Easting, s.Northing = s.Longitude, s.Latitude
		s.Latitude, s.Longitude = read.Column{}, read.Column{}
	}
}

// in takes longitude and latitude of NAD83 to a system, times a factor.
func in(t *testing.T, system string, factor float64) func(orb.Point) orb.Point {
	t.Helper()
	from, err := crs.Parse("EPSG:4269")
	if err != nil {
		t.Fatal(err)
	}
	to, err := crs.Parse(system)
	if err != nil {
		t.Fatal(err)
	}
	op, err := crs.NewOperation(from, to)
	if err != nil {
		t.Fatal(err)
	}
	return func(p orb.Point) orb.Point {
		q, err := op.Apply(p)
		if err != nil {
			t.Fatal(err)
		}
		return orb.Point{q[0] * factor, q[1] * factor}
	}
}

func add(x, y float64) func(orb.Point) orb.Point {
	return func(p orb.Point) orb.Point { return orb.Point{p[0] + x, p[1] + y} }
}

func swap(p orb.Point) orb.Point { return orb.Point{p[1], p[0]} }

func same(p orb.Point) orb.Point { return p }

func then(f, g func(orb.Point) orb.Point) func(orb.Point) orb.Point {
	return func(p orb.Point) orb.Point { return g(f(p)) }
}

const surveyFootM = 1200.0 / 3937

// TestBlundersAreNamed makes every gross mistake on a made-up town, in one file
// of readings and in all of them, and sees that just these are named, with the
// right cause.
func TestBlundersAreNamed(t *testing.T) {
	towns := townsByFrame(t, "hard")
	const ohioNorth, floridaEast, utm17 = "EPSG:3734", "EPSG:2236", "EPSG:26917"
	for _, c := range []struct {
		name   string
		frame  string
		change func(orb.Point) orb.Point
		mapped func(*read.FieldSource) // nil: still latitude and longitude
		want   string
	}{
		{"swapped", utm17, swap, nil, "taken as latitude and longitude swapped, "},
		{"swapped in feet", ohioNorth, swap, nil, "taken as latitude and longitude swapped, "},
		{"no sign", ohioNorth, func(p orb.Point) orb.Point { return orb.Point{-p[0], p[1]} }, nil, "taken as longitude without its sign, "},
		{"axes swapped", ohioNorth, then(in(t, ohioNorth, 1), swap), projected(ohioNorth), "taken as easting and northing swapped, "},
		{"degrees as metres", utm17, same, projected(utm17), "taken as degrees, not metre, "},
		{"degrees as feet", floridaEast, same, projected(floridaEast), "taken as degrees, not US survey foot, "},
		{"metres as degrees", utm17, in(t, utm17, 1), nil, "taken as coordinates of NAD83 / UTM zone 17N, not degrees, "},
		{"feet as degrees", ohioNorth, in(t, ohioNorth, 1), nil, "taken as coordinates of NAD83 / Ohio North (ftUS), not degrees, "},
		{"survey feet as metres", ohioNorth, in(t, ohioNorth, 1), projected("EPSG:32122"), "coordinates in the unit US survey foot, not metre"},
		{"feet as metres", utm17, in(t, utm17, 1/0.3048), projected(utm17), "coordinates in the unit foot, not metre"},
		{"metres as survey feet", floridaEast, in(t, floridaEast, surveyFootM), projected(floridaEast), "taken as coordinates in the unit metre, not US survey foot, "},
		{"next UTM zone", utm17, in(t, "EPSG:26916", 1), projected(utm17), "taken as coordinates of NAD83 / UTM zone 16N, "},
		{"next State Plane zone", ohioNorth, in(t, "EPSG:3735", 1), projected(ohioNorth), "taken as coordinates of NAD83 / Ohio South (ftUS), "},
		{"another State Plane zone", floridaEast, in(t, "EPSG:2237", 1), projected(floridaEast), "taken as coordinates of NAD83 / Florida West (ftUS), "},
		{"100 km off, a digit", utm17, then(in(t, utm17, 1), add(0, 100000)), projected(utm17), "taken as northing off by +100000 metre (a wrong or lost digit), "},
		{"a degree off", floridaEast, add(1, 0), nil, "taken as longitude off by +1 degree (a wrong or lost digit), "},
		{"100 km off", utm17, then(in(t, utm17, 1), add(71234, 70345)), projected(utm17), "they lie about 100 km to the north-east, which no usual mistake"},
	} {
		for _, all := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s, all %v", c.name, all), func(t *testing.T) {
				o := written(t, towns[c.frame])
				var wrong []string
				for i := range o.Field {
					if i > 0 && !all {
						break
					}
					rewrite(t, o.Field[i].Path, c.change)
					if c.mapped != nil {
						c.mapped(&o.Field[i])
					}
					wrong = append(wrong, o.Field[i].Name)
				}
				s, err := read.Files(context.Background(), o)
				if err != nil {
					t.Fatal(err)
				}
				named := blunders(s)
				for _, name := range wrong {
					if !strings.Contains(named[name], c.want) {
						t.Errorf("%s: %q, want %q", name, named[name], c.want)
					}
					delete(named, name)
				}
				if len(named) > 0 {
					t.Errorf("others are suspected: %q", named)
				}

				o.Blunders = read.BlundersStop
				if _, err := read.Files(context.Background(), o); err == nil || !strings.Contains(err.Error(), wrong[0]+": ") || !strings.Contains(err.Error(), c.want) {
					t.Errorf("told to stop: %v", err)
				}
			})
		}
	}
}

// The two feet are a metre and more apart where coordinates are large: that
// shows on a map whose own errors are smaller.
func TestTheOtherFoot(t *testing.T) {
	const ohioNorth = "EPSG:3734"
	towns := townsByFrame(t, "easy")
	for _, c := range []struct {
		name, stated, want string
		factor             float64
	}{
		{"international taken as survey", ohioNorth, "taken as coordinates in the unit foot, not US survey foot, which moves them by 1.39 m from where", surveyFootM / 0.3048},
		{"survey taken as metres", "EPSG:32122", "taken as coordinates in the unit US survey foot, not metre", 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := written(t, towns[ohioNorth])
			for i := range o.Field {
				rewrite(t, o.Field[i].Path, in(t, ohioNorth, c.factor))
				projected(c.stated)(&o.Field[i])
			}
			s, err := read.Files(context.Background(), o)
			if err != nil {
				t.Fatal(err)
			}
			named := blunders(s)
			for _, f := range o.Field {
				if !strings.Contains(named[f.Name], c.want) {
					t.Errorf("%s: %q, want %q", f.Name, named[f.Name], c.want)
				}
			}
		})
	}
}

// blunders are what sources are suspected of, by their name; each has to stand
// on the first screen too.
func blunders(s *survey.Survey) map[string]string {
	out := map[string]string{}
	for _, src := range s.Sources {
		for _, n := range src.Notes {
			if slices.Contains(s.Notes, src.Name+": "+n) {
				out[src.Name] = n
			}
		}
	}
	return out
}

// Records that are in another system than their source says are named
// themselves, where no mistake of the readings explains it.
func TestBlundersOfRecords(t *testing.T) {
	towns := townsByFrame(t, "hard")
	for _, c := range []struct{ name, frame, stated, want string }{
		{"feet as metres", "EPSG:3734", "EPSG:32122", "taken as coordinates in the unit US survey foot, not metre"},
		{"metres as feet", "EPSG:26917", "EPSG:3734", "taken as coordinates of NAD83 / UTM zone 17N"},
		{"next zone", "EPSG:26917", "EPSG:26918", "taken as coordinates of NAD83 / UTM zone 17N"},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := written(t, towns[c.frame])
			for i := range o.Records {
				o.Records[i].CRS = c.stated
			}
			o.Control, o.Areas = nil, nil
			s, err := read.Files(context.Background(), o)
			if err != nil {
				t.Fatal(err)
			}
			named := blunders(s)
			for _, r := range o.Records {
				if !strings.Contains(named[r.Name], c.want) {
					t.Errorf("%s: %q, want %q", r.Name, named[r.Name], c.want)
				}
			}
			for _, f := range o.Field {
				if !strings.Contains(named[f.Name], "no usual mistake") {
					t.Errorf("%s: %q, though it is right", f.Name, named[f.Name])
				}
			}
		})
	}
}

// Marks, exposures and fittings of which the system or the axes are wrong are
// named as readings are, and nothing else is.
func TestBlundersOfOtherEvidence(t *testing.T) {
	var town *synth.Town
	for seed := uint64(1); town == nil || len(town.Holes) == 0 || town.Frame.UnitM == 1; seed++ {
		town = madeTown(t, "hard", seed)
	}
	const other = "EPSG:26917" // metres, where the town is in feet of State Plane
	for _, c := range []struct {
		name, file, want string
		change           func(o *read.Options)
	}{
		{"marks swapped", "marks.csv", "taken as latitude and longitude swapped, ", func(o *read.Options) { rewrite(t, o.Marks[0].Path, swap) }},
		{"holes without a sign", "test_holes.csv", "taken as longitude without its sign, ", func(o *read.Options) {
			rewrite(t, o.Exposures[0].Path, func(p orb.Point) orb.Point { return orb.Point{-p[0], p[1]} })
		}},
		{"holes a degree off", "test_holes.csv", "taken as longitude off by +1 degree", func(o *read.Options) { rewrite(t, o.Exposures[0].Path, add(1, 0)) }},
		{"valves in another system", "gis/valves.shp", "% of its positions lie within 100 m of the records; ", func(o *read.Options) { o.Fittings[0].CRS = other }},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := written(t, town)
			c.change(&o)
			s, err := read.Files(context.Background(), o)
			if err != nil {
				t.Fatal(err)
			}
			named := blunders(s)
			if !strings.Contains(named[c.file], c.want) || len(named) != 1 {
				t.Errorf("%q, want %q of %s alone", named, c.want, c.file)
			}
		})
	}
}

// Nothing is suspected in towns whose files are what they say, though sheets,
// sessions and bases in them are off by metres.
func TestNoBlunderIsMadeUp(t *testing.T) {
	seeds := 2
	if os.Getenv("ASFOUND_SLOW") == "1" {
		seeds = 100
	}
	for _, difficulty := range []string{"easy", "hard"} {
		for seed := range seeds {
			town := madeTown(t, difficulty, uint64(1000+seed))
			o := written(t, town)
			asFeet := o
			asFeet.Field = slices.Clone(o.Field)
			s, err := read.Files(context.Background(), o)
			if err != nil {
				t.Fatal(err)
			}
			if len(s.Notes) > 0 || len(blunders(s)) > 0 {
				t.Errorf("%s town %d (%s) is suspected: %q", difficulty, seed, filepath.Base(town.Frame.CRS), s.Notes)
			}
			if town.Frame.UnitM == 1 {
				continue
			}
			// In feet, where the other foot could be suspected.
			for i := range asFeet.Field {
				rewrite(t, asFeet.Field[i].Path, in(t, town.Frame.CRS, 1))
				projected(town.Frame.CRS)(&asFeet.Field[i])
			}
			if s, err = read.Files(context.Background(), asFeet); err != nil {
				t.Fatal(err)
			}
			if len(s.Notes) > 0 || len(blunders(s)) > 0 {
				t.Errorf("%s town %d in feet is suspected: %q", difficulty, seed, s.Notes)
			}
		}
	}
}
