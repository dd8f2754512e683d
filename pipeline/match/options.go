package match

// Options are the costs and limits of matching. They are stated as what they
// mean on the ground (standard deviations, shares, rates a metre); the matcher
// turns them into densities and probabilities, whose negative logarithms are
// the costs. What they usually are stands in config/default.yaml, each with its
// source.
type Options struct {
	SearchRadiusM  float64 // how far from a reading a record may lie
	MinProbability float64 // below it a reading is ambiguous
	Workers        int     // 0: one per core

	// What a map looks like: one standard deviation per axis, ground metres.
	SheetM       float64 // a sheet's shift
	FarSheetM    float64 // the shift of a sheet that is far off
	FarShare     float64 // share of sheets that are
	OwnM         float64 // a record's own shift
	FarOwnM      float64 // the error of a record, or of a part of it, that is far off
	FarOwnShare  float64 // share of records that are
	LocalM       float64 // a record's local error
	LambdaM      float64 // correlation length of the local error along the line
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
	DepthCoilsM    float64 // height between the two coils of a receiver
	MarkM          float64 // a mark beside what it stands for, standard deviation per axis
	MarkGapM       float64 // marks farther apart than this do not belong together

	// How often things happen: shares of traces, and rates a metre walked.
	UnmappedShare float64 // traces that start on a line that is not on the map
	BesideShare   float64 // lines that have another one of their utility within reach beside them
	StraightShare float64 // walks past a joint with a record straight ahead that still follow none of the joined ones, of MissingShare
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
	StepAtTee     float64 // the same for a fall of the current where lines meet
}
