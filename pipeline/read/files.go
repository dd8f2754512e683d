package read

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// Files reads what the options name into one Survey in the working plane.
//
// A records file that cannot be read whole is an error. A file of readings,
// marks, exposures, control checks or areas that cannot, or that has too many
// bad rows, is set aside with the reason in its Source, and the rest goes on. So
// is one of fittings that cannot be read, or of which no row can be used. Every row of every file is
// accounted for: Source.Rows = Used + Duplicates + Rejected. A row of districts
// that cannot be used is an error.
//
// The result does not depend on the order of files, nor on that of rows, but
// for row numbers and for readings whose order no time tells.
func Files(ctx context.Context, o Options) (*survey.Survey, error) {
	in := &inputs{options: o, plan: newPlan(&o)}
	for _, step := range []func(context.Context) error{in.readRecords, in.readField, in.readMarks, in.readFittings, in.readControl, in.readAreas, in.readDistricts} {
		if err := step(ctx); err != nil {
			return nil, err
		}
	}
	return in.survey()
}

// inputs are the files of a job while they are read.
type inputs struct {
	options   Options
	plan      plan
	plane     *plane
	records   []*recordsLayer
	field     []*fieldFile
	marks     []*rowsFile[survey.Mark]
	exposures []*rowsFile[survey.Exposure]
	fittings  []*fittingsLayer
	control   []*rowsFile[survey.Check]
	areas     []*areasFile
	districts []*areasFile
}

// plan is the files to read, each once, in the order of their names.
type plan struct {
	records   []RecordsSource
	field     []FieldSource
	marks     []MarksSource
	exposures []ExposuresSource
	fittings  []FittingsSource
	control   []ControlSource
	areas     []AreasSource
	districts []DistrictsSource
	notes     []string
}

func newPlan(o *Options) plan {
	var p plan
	p.records = once(&p, o.Records, func(s *RecordsSource) *File { return &s.File })
	p.field = once(&p, o.Field, func(s *FieldSource) *File { return &s.File })
	p.marks = once(&p, o.Marks, func(s *MarksSource) *File { return &s.File })
	p.exposures = once(&p, o.Exposures, func(s *ExposuresSource) *File { return &s.File })
	p.fittings = once(&p, o.Fittings, func(s *FittingsSource) *File { return &s.File })
	p.control = once(&p, o.Control, func(s *ControlSource) *File { return &s.File })
	p.areas = once(&p, o.Areas, func(s *AreasSource) *File { return &s.File })
	p.districts = once(&p, o.Districts, func(s *DistrictsSource) *File { return &s.File })
	return p
}

// once keeps the first mention of each file and layer, in the order of names.
func once[S any](p *plan, sources []S, file func(*S) *File) []S {
	var kept []S
	met := map[[2]string]bool{}
	for _, s := range sources {
		f := file(&s)
		key := [2]string{filepath.Clean(f.Path), f.Layer}
		if met[key] {
			p.notes = append(p.notes, fmt.Sprintf("%s is named twice and counts once", f.Name))
			continue
		}
		met[key] = true
		kept = append(kept, s)
	}
	slices.SortStableFunc(kept, func(a, b S) int {
		return cmp.Or(strings.Compare(file(&a).Name, file(&b).Name), strings.Compare(file(&a).Layer, file(&b).Layer))
	})
	return kept
}

func (in *inputs) readRecords(ctx context.Context) error {
	var err error
	var grids []*crs.Grid
	for _, g := range in.options.Grids {
		grids = append(grids, g.Grid)
	}
	in.records, err = each(ctx, in.plan.records, func(s RecordsSource) (*recordsLayer, error) { return openRecords(s, grids) })
	if err != nil {
		return err
	}
	if in.plane, err = choosePlane(in.options.Plane, in.inConfigOrder()); err != nil {
		return err
	}
	in.plane.grids = grids
	if err := in.findSolarOffset(); err != nil {
		return err
	}
	_, err = each(ctx, in.records, func(l *recordsLayer) (*recordsLayer, error) {
		return l, l.read(ctx, in.plane, in.options.PlaceholderSheets)
	})
	return err
}

// inConfigOrder is the layers as the options name them: the plane is the first
// projected one's.
func (in *inputs) inConfigOrder() []*recordsLayer {
	var layers []*recordsLayer
	for _, s := range in.options.Records {
		i := slices.IndexFunc(in.records, func(l *recordsLayer) bool { return l.src.Path == s.Path && l.src.Layer == s.Layer })
		layers = append(layers, in.records[i])
	}
	return layers
}

// findSolarOffset looks at the middle of the records for the sun's time there.
func (in *inputs) findSolarOffset() error {
	for _, l := range in.records {
		if at, ok, err := l.middleDegrees(); err != nil || ok {
			in.plane.solarOffset = solarOffset(at[0])
			return err
		}
	}
	return nil
}

func (in *inputs) readField(ctx context.Context) (err error) {
	in.field, err = each(ctx, in.plan.field, func(s FieldSource) (*fieldFile, error) {
		return in.readFieldOnce(ctx, s)
	})
	if err == nil {
		in.field = append(in.field, in.goneFields()...)
		slices.SortStableFunc(in.field, func(a, b *fieldFile) int { return strings.Compare(a.Name, b.Name) })
		markDuplicates(in.field)
	}
	return err
}

// readMarks reads what was seen of lines without a receiver: marks and
// exposures.
func (in *inputs) readMarks(ctx context.Context) (err error) {
	in.marks, err = each(ctx, in.plan.marks, func(s MarksSource) (*rowsFile[survey.Mark], error) {
		return readMarks(ctx, s, in.plane, in.options.MaxRejectShare)
	})
	if err != nil {
		return err
	}
	leaveOutRepeats(in.marks, compareMarks, bareMark)
	in.exposures, err = each(ctx, in.plan.exposures, func(s ExposuresSource) (*rowsFile[survey.Exposure], error) {
		return readExposures(ctx, s, in.plane, in.options.MaxRejectShare)
	})
	if err == nil {
		leaveOutRepeats(in.exposures, compareExposures, bareExposure)
	}
	return err
}

func (in *inputs) readFittings(ctx context.Context) (err error) {
	in.fittings, err = each(ctx, in.plan.fittings, func(s FittingsSource) (*fittingsLayer, error) {
		return readFittings(ctx, s, in.plane, in.options.PlaceholderSheets)
	})
	return err
}

func (in *inputs) readControl(ctx context.Context) (err error) {
	in.control, err = each(ctx, in.plan.control, func(s ControlSource) (*rowsFile[survey.Check], error) {
		return readControl(ctx, s, in.plane, in.options.MaxRejectShare)
	})
	if err == nil {
		leaveOutRepeats(in.control, compareChecks, bareCheck)
	}
	return err
}

func (in *inputs) readAreas(ctx context.Context) (err error) {
	in.areas, err = each(ctx, in.plan.areas, func(s AreasSource) (*areasFile, error) {
		return readAreas(ctx, s, in.plane, in.options.MaxRejectShare)
	})
	if err == nil {
		markAreaDuplicates(in.areas)
	}
	return err
}

func (in *inputs) readDistricts(ctx context.Context) (err error) {
	in.districts, err = each(ctx, in.plan.districts, func(s DistrictsSource) (*areasFile, error) { return readDistricts(ctx, s, in.plane) })
	if err == nil {
		markAreaDuplicates(in.districts)
	}
	return err
}

// survey puts together what was read, in an order that does not depend on that
// of the input.
func (in *inputs) survey() (*survey.Survey, error) {
	s := &survey.Survey{Plane: in.plane.system.Definition(), Notes: in.plan.notes}
	for _, l := range in.records {
		for i := range l.records {
			l.records[i].Layer = len(s.Layers)
		}
		s.Layers = append(s.Layers, l.layer)
		s.Records = append(s.Records, l.records...)
	}
	for _, f := range in.field {
		s.Traces = append(s.Traces, f.traces(in.options.Gap)...)
	}
	s.Marks = inOrder(in.marks, compareMarks)
	s.Exposures = inOrder(in.exposures, compareExposures)
	s.Checks = inOrder(in.control, compareChecks)
	for _, l := range in.fittings {
		if l.SetAside != "" {
			continue
		}
		for i := range l.fittings {
			l.fittings[i].Layer = len(s.PointLayers)
		}
		s.PointLayers = append(s.PointLayers, l.layer)
		s.Fittings = append(s.Fittings, l.fittings...)
	}
	in.noteUnknownFittings()
	for _, f := range in.areas {
		s.Areas = append(s.Areas, f.areas...)
	}
	for _, f := range in.districts {
		s.Districts = append(s.Districts, f.areas...)
	}
	blunders, err := in.nameBlunders()
	if err != nil {
		return nil, err
	}
	s.Notes = append(s.Notes, blunders...)
	s.Notes = append(s.Notes, in.plane.frameNotes(in.accounts(), in.extent().Center())...)
	for _, a := range in.accounts() {
		if err := a.check(); err != nil {
			return nil, err
		}
		s.Sources = append(s.Sources, a.Source)
		s.Rejects = append(s.Rejects, a.rejects...)
		if a.SetAside != "" {
			s.Notes = append(s.Notes, fmt.Sprintf("%s was set aside: %s", a.Label(), a.SetAside))
		}
	}
	for _, g := range in.options.Grids {
		s.Sources = append(s.Sources, survey.Source{Name: g.Name(), Role: survey.RoleGrid, SHA256: g.SHA256, Bytes: g.Bytes})
	}
	slices.SortFunc(s.Traces, func(a, b survey.Trace) int { return strings.Compare(a.ID, b.ID) })
	for _, areas := range [][]survey.Area{s.Areas, s.Districts} {
		slices.SortStableFunc(areas, func(a, b survey.Area) int { return strings.Compare(areaKey(&a), areaKey(&b)) })
	}
	return s, nil
}

// accounts are those of all files, in the order of the outputs.
func (in *inputs) accounts() (all []*account) {
	for _, l := range in.records {
		all = append(all, &l.account)
	}
	all = append(all, in.taken()...)
	for _, l := range in.fittings {
		all = append(all, &l.account)
	}
	for _, f := range in.control {
		all = append(all, &f.account)
	}
	for _, f := range slices.Concat(in.areas, in.districts) {
		all = append(all, &f.account)
	}
	return all
}

// extent is the box around all records, in the plane.
func (in *inputs) extent() orb.Bound {
	var box *orb.Bound
	for _, l := range in.records {
		if !l.located {
			continue
		}
		b := orb.Bound{Min: orb.Point{l.West, l.South}, Max: orb.Point{l.East, l.North}}
		if box != nil {
			b = b.Union(*box)
		}
		box = &b
	}
	if box == nil {
		return orb.Bound{} // choosePlane has refused records without a line
	}
	return *box
}

func comparePoints(p, q orb.Point) int {
	return cmp.Or(cmp.Compare(p[0], q[0]), cmp.Compare(p[1], q[1]))
}
