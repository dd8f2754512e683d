package match

import "math"

// Options are the costs and limits of matching. They are stated as what they
// mean on the ground (standard deviations, shares, rates a metre); the matcher
// turns them into densities and probabilities, whose negative logarithms are
// the costs. A zero value takes the default that stands in defaults.
type Options struct {
	SearchRadiusM  float64 // how far from a reading a record may lie
	MinProbability float64 // below it a reading is ambiguous
	Workers        int     // 0: one per core

	// What a map looks like: one standard deviation per axis, ground metres.
	SheetM       float64 // a sheet's shift
	FarSheetM    float64 // the shift of a sheet that is far off
	FarShare     float64 // share of sheets that are
	OwnM         float64 // a record's own shift
	LocalM       float64 // a record's local error
	LambdaM      float64 // correlation length of the local error along the line
	SlopeRad     float64 // slope of a local error against its line, radians
	SlopeM       float64 // how far such a slope goes on
	GapM         float64 // ends of one utility's records nearer than this may be a gap between two drawings
	GapShare     float64 // share of ends that two drawings do not join
	LongerShare  float64 // share of dead ends on the map past which the line goes on
	MissingShare float64 // share of ends past which the next piece of the line is not on the map
	SnapM        float64 // ends of records nearer than this are joined

	// What readings look like: the error budget across the line.
	SessionM       float64 // what all positions of a session are off, per axis
	WrongBaseM     float64 // the same for a session on a wrong base
	WrongBaseShare float64 // share of sessions that are
	AccuracyFactor float64 // on stated accuracy
	DefaultSigmaM  float64 // where a reading states no accuracy, per axis
	PoleM          float64 // holding the pole over the signal
	LocateShare    float64 // locating error, share of depth
	LocateMinM     float64 // and at least this
	CorrelationS   float64 // correlation time of slow positioning noise, seconds
	DefaultDepthM  float64 // where a reading states no depth

	// How often things happen: shares of traces, and rates a metre walked.
	UnmappedShare float64 // traces that start on a line that is not on the map
	ForeignShare  float64 // traces that start on a line of another utility than their label
	NoSignalShare float64 // traces that start on a record that cannot carry a signal
	JumpPerM      float64 // the receiver moves to an unconnected line
	LeavePerM     float64 // the line leaves the map
	ReturnPerM    float64 // a line that is not on the map meets one that is
	ApartPerM     float64 // what it costs, in log units a metre, to run where a record of the same utility should be and not be on it
	BendPerM      float64 // a line that is not on the map bends
	UnmappedJump  float64 // share of jumps that go to a line that is not on the map
	ForeignJump   float64 // share of jumps that go to another utility, where both are in reach
	Branch        float64 // share of walks that turn off at a junction in the middle of a line
	RouteShare    float64 // how far the route and the ground distance may differ, share of the latter
	AngleRad      float64 // spread of the walk's direction against its line's, radians
	CrossingShare float64 // weight of a start across a record, against along it
	StepOnLine    float64 // share of steps between readings where current or depth steps, on one line
	StepOffLine   float64 // the same where the receiver leaves its line
}

// defaults are the values of Options that are not set.
//
// Map errors of a metre and line-location errors of centimetres are the design
// values of the adjustment; the shares and rates are common practice, without a
// published source.
var defaults = Options{
	SearchRadiusM:  6,
	MinProbability: 0.9,

	SheetM:       0.15,
	FarSheetM:    1.2,
	FarShare:     0.15,
	OwnM:         0.12,
	LocalM:       0.15,
	LambdaM:      40,
	SlopeRad:     0.2,
	SlopeM:       10,
	GapM:         3,
	GapShare:     0.2,
	LongerShare:  0.05,
	MissingShare: 0.005,
	SnapM:        0.3,

	SessionM:       0.05,
	WrongBaseM:     1,
	WrongBaseShare: 0.05,
	AccuracyFactor: 1.5,
	DefaultSigmaM:  0.1,
	PoleM:          0.01,
	LocateShare:    0.04,
	LocateMinM:     0.01,
	CorrelationS:   300,
	DefaultDepthM:  1,

	UnmappedShare: 0.01,
	ForeignShare:  0.01,
	NoSignalShare: 0.003,
	JumpPerM:      1.0 / 1000,
	LeavePerM:     1.0 / 100000,
	ReturnPerM:    1.0 / 80,
	ApartPerM:     0.2,
	BendPerM:      1.0 / 40,
	UnmappedJump:  0.3,
	ForeignJump:   0.3,
	Branch:        0.05,
	RouteShare:    0.5,
	AngleRad:      0.15,
	CrossingShare: 0.02,
	StepOnLine:    0.02,
	StepOffLine:   0.7,
}

// withDefaults replaces what is not set (zero or not a number).
func (o Options) withDefaults() Options {
	d := &defaults
	for _, f := range []struct {
		v    *float64
		dflt float64
	}{
		{&o.SearchRadiusM, d.SearchRadiusM},
		{&o.MinProbability, d.MinProbability},
		{&o.SheetM, d.SheetM},
		{&o.FarSheetM, d.FarSheetM},
		{&o.FarShare, d.FarShare},
		{&o.WrongBaseM, d.WrongBaseM},
		{&o.WrongBaseShare, d.WrongBaseShare},
		{&o.OwnM, d.OwnM},
		{&o.LocalM, d.LocalM},
		{&o.LambdaM, d.LambdaM},
		{&o.GapM, d.GapM},
		{&o.GapShare, d.GapShare},
		{&o.LongerShare, d.LongerShare},
		{&o.MissingShare, d.MissingShare},
		{&o.SnapM, d.SnapM},
		{&o.SessionM, d.SessionM},
		{&o.AccuracyFactor, d.AccuracyFactor},
		{&o.DefaultSigmaM, d.DefaultSigmaM},
		{&o.PoleM, d.PoleM},
		{&o.LocateShare, d.LocateShare},
		{&o.LocateMinM, d.LocateMinM},
		{&o.CorrelationS, d.CorrelationS},
		{&o.SlopeRad, d.SlopeRad},
		{&o.SlopeM, d.SlopeM},
		{&o.DefaultDepthM, d.DefaultDepthM},
		{&o.UnmappedShare, d.UnmappedShare},
		{&o.ForeignShare, d.ForeignShare},
		{&o.NoSignalShare, d.NoSignalShare},
		{&o.JumpPerM, d.JumpPerM},
		{&o.LeavePerM, d.LeavePerM},
		{&o.ReturnPerM, d.ReturnPerM},
		{&o.ApartPerM, d.ApartPerM},
		{&o.BendPerM, d.BendPerM},
		{&o.UnmappedJump, d.UnmappedJump},
		{&o.ForeignJump, d.ForeignJump},
		{&o.Branch, d.Branch},
		{&o.RouteShare, d.RouteShare},
		{&o.AngleRad, d.AngleRad},
		{&o.CrossingShare, d.CrossingShare},
		{&o.StepOnLine, d.StepOnLine},
		{&o.StepOffLine, d.StepOffLine},
	} {
		if *f.v == 0 || math.IsNaN(*f.v) {
			*f.v = f.dflt
		}
	}
	return o
}
