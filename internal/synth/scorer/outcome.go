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

func eachFeature(path string, do func(*feature) error) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	var fc struct{ Features []feature }
	if err := json.Unmarshal(data, &fc); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	for i := range fc.Features {
		if err := do(&fc.Features[i]); err != nil {
			return fmt.Errorf("%s: feature %d: %w", path, i+1, err)
		}
	}
	return nil
}

func (o *Outcome) readFindings(folder string, op *crs.Operation) error {
	return eachFeature(filepath.Join(folder, "findings.geojson"), func(f *feature) error {
		lines, err := f.lines(op)
		o.Findings = append(o.Findings, Finding{f.text("kind"), f.text("record"), f.text("verdict"), f.text("attribution"), lines})
		return err
	})
}

func (o *Outcome) readLines(folder string, op *crs.Operation) error {
	return eachFeature(filepath.Join(folder, "records-updated.geojson"), func(f *feature) error {
		lines, err := f.lines(op)
		if len(lines) > 0 {
			o.Lines[f.text("asfound_id")] = lines[0]
		}
		return err
	})
}
