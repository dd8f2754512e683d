package publish

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// edition is a result made ready for writing: checked, with the coordinate
// operations and the names that all files share. Nothing changes it after
// prepare, so that files can be written side by side.
type edition struct {
	*survey.Result
	plane   *crs.System
	toWGS84 *crs.Operation // from the plane
	layers  []layerFrame   // per layer of the survey
	points  []layerFrame   // per layer of fittings
	labels  []string       // per record
	lives   map[string]survey.Life

	accuracy []statement // of every data set
	across   string      // the same across lines
}

// layerFrame is how one layer's coordinates hang together with the plane's.
type layerFrame struct {
	system    *crs.System
	fromPlane *crs.Operation
	toWGS84   *crs.Operation
	records   []int32 // per feature: index of its record, or fitting; -1 for a feature that is none
}

// prepare checks a result and works out what all files share.
func prepare(r *survey.Result, grids ...*crs.Grid) (*edition, error) {
	if err := check(r); err != nil {
		return nil, err
	}
	s := r.Survey
	e := &edition{Result: r, labels: recordLabels(s.Records), lives: map[string]survey.Life{}}
	for i := range r.Findings {
		e.lives[r.Findings[i].ID] = r.Findings[i].Life
	}
	wgs84, err := crs.Parse("EPSG:4326")
	if err != nil {
		return nil, err
	}
	if e.plane, err = crs.Parse(s.Plane); err != nil {
		return nil, fmt.Errorf("working plane: %w", err)
	}
	o := crs.Options{Grids: grids}
	if e.toWGS84, err = crs.NewOperationAt(e.plane, wgs84, o); err != nil {
		return nil, fmt.Errorf("working plane to WGS 84: %w", err)
	}
	if e.layers, err = frames(s.Layers, e.plane, wgs84, o); err != nil {
		return nil, err
	}
	if e.points, err = frames(s.PointLayers, e.plane, wgs84, o); err != nil {
		return nil, err
	}
	for i := range s.Records {
		rec := &s.Records[i]
		e.layers[rec.Layer].records[rec.Feature] = int32(i)
	}
	for i := range s.Fittings {
		f := &s.Fittings[i]
		e.points[f.Layer].records[f.Feature] = int32(i)
	}
	e.accuracy, e.across = append(e.statements(), e.vertical()...), e.acrossLines()
	return e, nil
}

func frames(ls []survey.Layer, plane, wgs84 *crs.System, o crs.Options) (out []layerFrame, err error) {
	out = make([]layerFrame, len(ls))
	for i := range ls {
		if out[i], err = frame(&ls[i], plane, wgs84, o); err != nil {
			return nil, fmt.Errorf("%s: %w", ls[i].Source, err)
		}
	}
	return out, nil
}

func frame(l *survey.Layer, plane, wgs84 *crs.System, o crs.Options) (f layerFrame, err error) {
	if f.system, err = crs.Parse(l.CRS); err != nil {
		return f, err
	}
	if f.fromPlane, err = crs.NewOperationAt(plane, f.system, o); err != nil {
		return f, err
	}
	if f.toWGS84, err = crs.NewOperationAt(f.system, wgs84, o); err != nil {
		return f, err
	}
	f.records = make([]int32, len(l.Features))
	for i := range f.records {
		f.records[i] = -1
	}
	return f, nil
}

// check refuses a result whose parts do not fit together: rows that do not add
// up, or indices that point nowhere.
func check(r *survey.Result) error {
	if r == nil || r.Survey == nil {
		return errors.New("there is no result to publish")
	}
	s := r.Survey
	var errs []error
	for i := range s.Sources {
		src := &s.Sources[i]
		if src.SetAside == "" && src.Rows != src.Used+src.Duplicates+src.Rejected {
			errs = append(errs, fmt.Errorf("%s: %d used + %d duplicate + %d rejected rows are not the %d rows read",
				src.Name, src.Used, src.Duplicates, src.Rejected, src.Rows))
		}
	}
	fits := func(what string, have, want int) {
		if have != 0 && have != want {
			errs = append(errs, fmt.Errorf("%d %s for %d", have, what, want))
		}
	}
	fits("judgements for records", len(r.Judgements), len(s.Records))
	fits("corrections for records", len(r.Corrections), len(s.Records))
	fits("moves of fittings for fittings", len(r.FittingMoves), len(s.Fittings))
	fits("traces of matches for traces", len(r.Matches), len(s.Traces))
	for t := range min(len(r.Matches), len(s.Traces)) {
		fits("matches for the readings of trace "+strconv.Quote(s.Traces[t].ID), len(r.Matches[t]), len(s.Traces[t].Readings))
	}
	if r.Model != nil {
		fits("profiles for records", len(r.Model.Profiles), len(s.Records))
	}
	for i := range s.Records {
		rec := &s.Records[i]
		if rec.Layer < 0 || rec.Layer >= len(s.Layers) || rec.Feature < 0 || rec.Feature >= len(s.Layers[rec.Layer].Features) {
			errs = append(errs, fmt.Errorf("record %s stands in no layer", rec.Key()))
		} else if len(r.Corrections) == len(s.Records) {
			errs = append(errs, checkCorrection(rec, &s.Layers[rec.Layer].Features[rec.Feature], &r.Corrections[i])...)
		}
	}
	for i := range s.Fittings {
		f := &s.Fittings[i]
		if f.Layer < 0 || f.Layer >= len(s.PointLayers) || f.Feature < 0 || f.Feature >= len(s.PointLayers[f.Layer].Features) {
			errs = append(errs, fmt.Errorf("fitting %s stands in no layer", f.Key()))
		}
	}
	for i := range r.Findings {
		if f := &r.Findings[i]; f.Record < -1 || f.Record >= len(s.Records) {
			errs = append(errs, fmt.Errorf("finding %s is of record number %d, which there is not", f.ID, f.Record))
		}
	}
	return errors.Join(errs...)
}

// checkCorrection finds what of a correction does not fit its record's line.
func checkCorrection(rec *survey.Record, f *survey.Feature, c *survey.Correction) (errs []error) {
	if !c.Moved {
		return nil
	}
	if len(c.Parts) != len(f.Parts) {
		return []error{fmt.Errorf("record %s has %d parts, its corrected line %d", rec.Key(), len(f.Parts), len(c.Parts))}
	}
	for p := range c.Parts {
		part := &c.Parts[p]
		n := len(part.Line)
		if len(part.From) != n || len(part.MovedM) != n || len(part.U) != n || len(part.StationM) != n || len(part.Cause) != n || len(part.Readings) != n {
			errs = append(errs, fmt.Errorf("record %s: its corrected line has %d vertices, but %d origins, %d moves, %d uncertainties, %d stations, %d causes and %d counts of readings",
				rec.Key(), n, len(part.From), len(part.MovedM), len(part.U), len(part.StationM), len(part.Cause), len(part.Readings)))
		}
		for _, v := range part.From {
			if v >= len(f.Parts[p]) {
				errs = append(errs, fmt.Errorf("record %s: its corrected line names vertex %d of %d", rec.Key(), v+1, len(f.Parts[p])))
			}
		}
	}
	return errs
}

// recordLabels names every record in one word: its id where no other record has
// that id, source#id where other sources have it, and with the row behind it
// where the source itself repeats it. The same word stands in every file.
func recordLabels(records []survey.Record) []string {
	ids, keys := map[string]int{}, map[string]int{}
	for i := range records {
		ids[records[i].ID]++
	}
	for i := range records {
		if ids[records[i].ID] > 1 {
			keys[records[i].Key()]++
		}
	}
	labels := make([]string, len(records))
	for i := range records {
		switch rec := &records[i]; {
		case rec.ID != "" && ids[rec.ID] == 1:
			labels[i] = rec.ID
		case rec.ID != "" && keys[rec.Key()] == 1:
			labels[i] = rec.Key()
		default:
			labels[i] = rec.Key() + "@" + strconv.Itoa(rec.Feature+1)
		}
	}
	return labels
}

// label is a record's word; empty for no record.
func (e *edition) label(record int) string {
	if record < 0 {
		return ""
	}
	return e.labels[record]
}

// match is what became of a reading; a reading that no stage looked at is
// matched to nothing.
func (e *edition) match(trace, reading int) survey.Match {
	m := survey.Match{Record: -1, Probability: math.NaN()}
	if len(e.Matches) > 0 && len(e.Matches[trace]) > 0 {
		m = e.Matches[trace][reading]
	}
	if e.Survey.Traces[trace].Readings[reading].Duplicate != nil {
		m = survey.Match{Record: -1, Probability: math.NaN(), Status: survey.StatusDuplicate, Reason: m.Reason}
	}
	return m
}

// correction is what moves of a record; nil if nothing does.
func (e *edition) correction(record int) *survey.Correction {
	if record < 0 || len(e.Corrections) == 0 || !e.Corrections[record].Moved {
		return nil
	}
	return &e.Corrections[record]
}

// fittingMove is where a fitting goes; nil if it stays.
func (e *edition) fittingMove(fitting int) *survey.FittingMove {
	if fitting < 0 || len(e.FittingMoves) == 0 || e.FittingMoves[fitting].MovedM == 0 {
		return nil
	}
	return &e.FittingMoves[fitting]
}

// judgement is the verdict on a record; nil if there is none.
func (e *edition) judgement(record int) *survey.Judgement {
	if len(e.Judgements) == 0 {
		return nil
	}
	return &e.Judgements[record]
}

// profile is a record's adjusted profile; nil if there is none.
func (e *edition) profile(record int) *survey.Profile {
	if e.Model == nil || len(e.Model.Profiles) == 0 {
		return nil
	}
	return &e.Model.Profiles[record]
}

// notes are what a person should know of the input, and of what could not be used
// of it.
func (e *edition) notes() []string {
	out := append([]string{}, e.Survey.Notes...)
	if e.Model != nil {
		out = append(out, e.Model.Notes...)
	}
	return out
}

// effects are the common effects; nil without a model.
func (e *edition) effects() []survey.Effect {
	if e.Model == nil {
		return nil
	}
	return e.Model.Effects
}

// lonLat is a point of the plane in WGS 84.
func (e *edition) lonLat(p orb.Point) (orb.Point, error) { return e.toWGS84.Apply(p) }
