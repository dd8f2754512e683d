package scorer

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/geojson"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/synth"
)

// Outcome is what a run, or a baseline, says of a town.
type Outcome struct {
	Readings map[At]Reading
	Records  map[string]Record // by id
	Effects  []Effect
	Findings []Finding
	Lines    map[string]orb.LineString // the records after, by id, in the town's plane
	Resurvey []Resurvey
}

// At names one reading: its file and row.
type At struct {
	Source string
	Row    int
}

// Reading is what became of one reading.
type Reading struct {
	Record, Status string
	Probability    float64
}

// Record is the verdict on one record.
type Record struct {
	Position, Depth, Attribution string
	WorstM, WorstU               float64
	MovedM                       float64
}

// Effect is a sheet's, a session's or a source's estimate.
type Effect struct {
	Kind, Name                 string
	East, North, EastU, NorthU float64
	Significant                bool
}

// Finding is one published finding.
type Finding struct {
	Kind, Record, Verdict, Attribution string
	Line                               orb.MultiLineString // in the town's plane
}

// Resurvey is one stretch of the re-survey order.
type Resurvey struct {
	Record         string
	FromM, ToM     float64
	Probability    float64
	CumulativeCost float64
}

// Published reads a run's folder. Positions go into the town's plane by the
// operation that wrote them, the other way.
func Published(folder string, f synth.Frame) (*Outcome, error) {
	o := &Outcome{Readings: map[At]Reading{}, Records: map[string]Record{}, Lines: map[string]orb.LineString{}}
	op, err := fromLonLat(f)
	if err != nil {
		return nil, err
	}
	steps := []func(string, *crs.Operation) error{o.readReadings, o.readRecords, o.readEffects, o.readResurvey, o.readFindings, o.readLines}
	for _, step := range steps {
		if err := step(folder, op); err != nil {
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

// table reads a CSV file row by row; get finds a column by its head.
func table(path string, row func(get func(string) string)) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	all, err := csv.NewReader(file).ReadAll()
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if len(all) == 0 {
		return fmt.Errorf("%s: no head row", path)
	}
	column := map[string]int{}
	for i, h := range all[0] {
		column[h] = i
	}
	for _, cells := range all[1:] {
		row(func(name string) string {
			i, ok := column[name]
			if !ok {
				return ""
			}
			return cells[i]
		})
	}
	return nil
}

// number is a cell's number; NaN where it is empty.
func number(cell string) float64 {
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func (o *Outcome) readReadings(folder string, _ *crs.Operation) error {
	return table(filepath.Join(folder, "readings.csv"), func(get func(string) string) {
		row, _ := strconv.Atoi(get("row"))
		o.Readings[At{get("source"), row}] = Reading{get("record"), get("status"), number(get("match_probability"))}
	})
}

func (o *Outcome) readRecords(folder string, _ *crs.Operation) error {
	return table(filepath.Join(folder, "records.csv"), func(get func(string) string) {
		o.Records[get("record")] = Record{
			Position: get("position"), Depth: get("depth"), Attribution: get("attribution"),
			WorstM: number(get("worst_offset_m")), WorstU: number(get("worst_offset_u_m")), MovedM: number(get("moved_m")),
		}
	})
}

func (o *Outcome) readEffects(folder string, _ *crs.Operation) error {
	return table(filepath.Join(folder, "effects.csv"), func(get func(string) string) {
		if get("readings") == "0" {
			return
		}
		o.Effects = append(o.Effects, Effect{
			get("effect"), get("name"), number(get("east_m")), number(get("north_m")),
			number(get("east_u_m")), number(get("north_u_m")), get("significant") == "true",
		})
	})
}

func (o *Outcome) readResurvey(folder string, _ *crs.Operation) error {
	return table(filepath.Join(folder, "resurvey.csv"), func(get func(string) string) {
		o.Resurvey = append(o.Resurvey, Resurvey{
			get("record"), number(get("from_m")), number(get("to_m")), number(get("probability_outside")), number(get("cumulative_cost")),
		})
	})
}

func features(path string) (*geojson.FeatureCollection, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	fc := &geojson.FeatureCollection{}
	if err := json.Unmarshal(data, fc); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return fc, nil
}

func (o *Outcome) readFindings(folder string, op *crs.Operation) error {
	fc, err := features(filepath.Join(folder, "findings.geojson"))
	if err != nil {
		return err
	}
	for _, f := range fc.Features {
		lines, err := toPlane(f.Geometry, op)
		if err != nil {
			return err
		}
		text := func(name string) string { return f.Properties.MustString(name, "") }
		o.Findings = append(o.Findings, Finding{text("kind"), text("record"), text("verdict"), text("attribution"), lines})
	}
	return nil
}

func (o *Outcome) readLines(folder string, op *crs.Operation) error {
	fc, err := features(filepath.Join(folder, "records-updated.geojson"))
	if err != nil {
		return err
	}
	for _, f := range fc.Features {
		lines, err := toPlane(f.Geometry, op)
		if err != nil {
			return err
		}
		if len(lines) > 0 {
			o.Lines[f.Properties.MustString("asfound_id", "")] = lines[0]
		}
	}
	return nil
}

func toPlane(g orb.Geometry, op *crs.Operation) (orb.MultiLineString, error) {
	var lines orb.MultiLineString
	switch g := g.(type) {
	case orb.LineString:
		lines = orb.MultiLineString{g}
	case orb.MultiLineString:
		lines = g
	}
	for _, l := range lines {
		if err := op.ApplyAll(l); err != nil {
			return nil, err
		}
	}
	return lines, nil
}
