package judge

// Options are the tolerances and the rule of decision.
type Options struct {
	Confidence  float64
	GuardBand   GuardBand
	MinStretchM float64 // a stretch is at least this long
	MaxGapM     float64 // evidence within this distance along the record
	Default     Limits
	Mistakes    Mistakes // of frame, unit and axes that are possible
	// A sheet's shift is worth naming beyond NameM, at this rate of false ones.
	NameM, FalseDiscovery float64

	// HoldOut is the share of the readings whose traces are held out of a second
	// adjustment, to test the proposed lines with; none where a job uses more than
	// HoldOutMost.
	HoldOut     float64
	HoldOutMost int

	CoilsM     float64     // height between the two coils of a receiver
	CongestedM float64     // another line within this distance of a reading makes its place a congested one
	Rules      []Rule      // first match wins, as below
	Cover      []CoverRule // minimum covers, of the tables that the config chose
	Zones      []ZoneRule  // tolerance zones of laws, to hold marks against
	Positions  Positions
}

// Positions is how good surveyed positions are, as the adjustment takes them.
type Positions struct {
	AccuracyFactor float64 // on stated accuracies
	DefaultSigmaM  float64 // per axis, where none is stated
	PoleM          float64 // holding the pole on what is surveyed
	SessionM       float64 // a session's error per axis, where no control check tells it
	SourceM        float64 // the same of a source of positions
	MarkM          float64 // what a crew believes beside the line that it follows
	NearM          float64 // marks farther from an exposure than this have nothing to do with it
	RowM           float64 // marks of one row follow each other within this
}
