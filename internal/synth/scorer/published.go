package scorer

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/synth"
)

// Published reads a run's folder. Positions go into the town's plane by the
// operation that wrote them, the other way. A reading or a record that stands
// there twice is an error: it would have two chances.
func Published(folder string, f synth.Frame) (*Outcome, error) {
	o := newOutcome()
	op, err := fromLonLat(f)
	if err != nil {
		return nil, err
	}
	for _, read := range []func(string, *crs.Operation) error{
		o.readReadings, o.readRecords, o.readProfiles, o.readEffects, o.readResurvey, o.readFindings, o.readLines, o.readFittings, o.readChanges,
	} {
		if err := read(folder, op); err != nil {
			return nil, err
		}
	}
	return o, nil
}

func fromLonLat(f synth.Frame) (*crs.Operation, error) {
	wgs84, err := crs.Parse("EPSG:4326")
	if err != nil {
		return nil, err
	}
	plane, err := crs.Parse(f.Plane)
	if err != nil {
		return nil, err
	}
	return crs.NewOperation(wgs84, plane)
}

// cells are one row of a CSV file; the first thing wrong with it is in err.
type cells struct {
	column map[string]int
	row    []string
	err    error
}

func (c *cells) text(name string) string {
	i, ok := c.column[name]
	if !ok {
		c.err = errors.Join(c.err, fmt.Errorf("no column %s", name))
		return ""
	}
	return c.row[i]
}

// number is a cell's number; NaN where it is empty.
func (c *cells) number(name string) float64 {
	t := c.text(name)
	if t == "" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil {
		c.err = errors.Join(c.err, fmt.Errorf("%s: %q is no number", name, t))
	}
	return v
}

func (c *cells) integer(name string) int {
	v := c.number(name)
	if v != math.Trunc(v) { // NaN too
		c.err = errors.Join(c.err, fmt.Errorf("%s: %v is no whole number", name, v))
		return 0
	}
	return int(v)
}

// table reads a CSV file row by row.
func table(folder, name string, do func(*cells) error) error {
	file, err := os.Open(filepath.Join(folder, name))
	if err != nil {
		return err
	}
	defer file.Close()
	r := csv.NewReader(file)
	head, err := r.Read()
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	c := cells{column: map[string]int{}}
	for i, h := range head {
		c.column[h] = i
	}
	for n := 1; ; n++ {
		if c.row, err = r.Read(); err == io.EOF {
			return nil
		}
		if err == nil {
			err = errors.Join(do(&c), c.err)
		}
		if err != nil {
			return fmt.Errorf("%s: row %d: %w", name, n, err)
		}
	}
}

func (o *Outcome) readReadings(folder string, _ *crs.Operation) error {
	return table(folder, "readings.csv", func(c *cells) error {
		at := At{c.text("source"), c.integer("row")}
		if _, twice := o.Readings[at]; twice {
			return fmt.Errorf("%s row %d stands here twice", at.Source, at.Row)
		}
		o.Readings[at] = Reading{c.text("record"), c.text("status"), c.number("match_probability")}
		return nil
	})
}

func (o *Outcome) readRecords(folder string, _ *crs.Operation) error {
	return table(folder, "records.csv", func(c *cells) error {
		name := c.text("record")
		if _, twice := o.Records[name]; twice {
			return fmt.Errorf("%s stands here twice", name)
		}
		o.Records[name] = Record{
			Position: c.text("position"), Depth: c.text("depth"), Attribution: c.text("attribution"),
			CoverM: c.number("cover_difference_m"), CoverU: c.number("cover_difference_u_m"),
		}
		return nil
	})
}

func (o *Outcome) readProfiles(folder string, _ *crs.Operation) error {
	return table(folder, "profiles.csv", func(c *cells) error {
		name := c.text("record")
		n := Node{c.number("station_m"), c.number("offset_m"), c.number("offset_u_m"), c.integer("readings")}
		if k := len(o.Profiles[name]); k > 0 && o.Profiles[name][k-1].StationM > n.StationM {
			return fmt.Errorf("%s: station %v after %v", name, n.StationM, o.Profiles[name][k-1].StationM)
		}
		o.Profiles[name] = append(o.Profiles[name], n)
		return nil
	})
}

func (o *Outcome) readEffects(folder string, _ *crs.Operation) error {
	seen := map[[2]string]bool{}
	return table(folder, "effects.csv", func(c *cells) error {
		key := [2]string{c.text("effect"), c.text("name")}
		if seen[key] {
			return fmt.Errorf("%s %s stands here twice", key[0], key[1])
		}
		seen[key] = true
		o.Effects = append(o.Effects, Effect{
			c.text("effect"), c.text("name"), c.number("east_m"), c.number("north_m"),
			c.number("east_u_m"), c.number("north_u_m"), c.text("significant") == "true",
		})
		return nil
	})
}

func (o *Outcome) readResurvey(folder string, _ *crs.Operation) error {
	return table(folder, "resurvey.csv", func(c *cells) error {
		o.Resurvey = append(o.Resurvey, Resurvey{
			c.text("record"), c.integer("package"), c.number("from_m"), c.number("to_m"), c.number("probability_outside"),
		})
		return nil
	})
}

// feature is what the scorer needs of a GeoJSON feature.
type feature struct {
	Properties map[string]any
	Geometry   *struct {
		Type        string
		Coordinates json.RawMessage
	}
}

func (f *feature) text(name string) string {
	v, _ := f.Properties[name].(string)
	return v
}

func (f *feature) number(name string) float64 {
	if v, ok := f.Properties[name].(float64); ok {
		return v
	}
	return math.NaN()
}

// lines are a feature's lines in the plane; none for another geometry.
func (f *feature) lines(op *crs.Operation) (orb.MultiLineString, error) {
	if f.Geometry == nil {
		return nil, nil
	}
	var lines orb.MultiLineString
	var err error
	switch f.Geometry.Type {
	case "LineString":
		lines = make(orb.MultiLineString, 1)
		err = json.Unmarshal(f.Geometry.Coordinates, &lines[0])
	case "MultiLineString":
		err = json.Unmarshal(f.Geometry.Coordinates, &lines)
	}
	if err != nil {
		return nil, err
	}
	for _, l := range lines {
		if err := op.ApplyAll(l); err != nil {
			return nil, err
		}
	}
	return lines, nil
}

func eachFeature(folder, name string, do func(*feature) error) error {
	data, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		return err
	}
	var fc struct{ Features []feature }
	if err := json.Unmarshal(data, &fc); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	for i := range fc.Features {
		if err := do(&fc.Features[i]); err != nil {
			return fmt.Errorf("%s: feature %d: %w", name, i+1, err)
		}
	}
	return nil
}

func (o *Outcome) readFindings(folder string, op *crs.Operation) error {
	return eachFeature(folder, "findings.geojson", func(f *feature) error {
		lines, err := f.lines(op)
		o.Findings = append(o.Findings, Finding{
			f.text("kind"), f.text("record"), f.text("sheet"), f.text("sentence"), f.text("verdict"), f.text("attribution"), f.number("from_m"), f.number("to_m"), lines,
		})
		return err
	})
}

func (o *Outcome) readLines(folder string, op *crs.Operation) error {
	return eachFeature(folder, "records-updated.geojson", func(f *feature) error {
		lines, err := f.lines(op)
		id := f.text("asfound_id")
		if _, twice := o.Lines[id]; twice {
			err = errors.Join(err, fmt.Errorf("%s stands here twice", id))
		}
		if len(lines) > 0 {
			o.Lines[id] = lines
		}
		return err
	})
}

func (o *Outcome) readFittings(folder string, op *crs.Operation) error {
	return eachFeature(folder, "fittings-updated.geojson", func(f *feature) error {
		var at orb.Point
		if f.Geometry == nil || f.Geometry.Type != "Point" {
			return nil
		}
		if err := json.Unmarshal(f.Geometry.Coordinates, &at); err != nil {
			return err
		}
		at, err := op.Apply(at)
		id := f.text("asfound_id")
		if _, twice := o.Fittings[id]; twice {
			err = errors.Join(err, fmt.Errorf("%s stands here twice", id))
		}
		o.Fittings[id] = at
		return err
	})
}

func (o *Outcome) readChanges(folder string, _ *crs.Operation) error {
	return table(folder, "changes.csv", func(c *cells) error {
		if c.text("fitting") == "" {
			o.Changes = append(o.Changes, Change{c.text("record"), c.integer("part") - 1, c.integer("vertex") - 1, c.number("u_m"), c.text("evidence")})
		}
		return nil
	})
}
