package adjust

// Sizes says whether the variance components are estimated.
type Sizes string

const (
	SizesEstimated Sizes = "estimated" // those that the data tell of, beginning with those given
	SizesGiven     Sizes = "given"
)

// Options are the error budget and the variance components of the adjustment.
// Every quantity is one standard deviation in metres unless said.
type Options struct {
	Sizes Sizes

	LocalM     float64 // sr: a record's local error
	LambdaM    float64 // its correlation length along the network
	LocalNu    float64 // residuals that LocalM counts for beside a record's own; 0: it holds for every record
	SheetM     float64 // sm: an ordinary sheet's shift, per axis: the scale of a Student-t
	MapM       float64 // a shift of the whole map, per axis
	OwnM       float64 // sh: a record's own shift, per axis
	JoinM      float64 // sj: between two sheets' drawings of one place, per axis
	SessionM   float64 // sf: a session's error, per axis
	PositionsM float64 // sg: a source of positions' error, per axis
	BiasM      float64 // sb: a trace's bias across the line
	BlockM     float64 // side of the blocks that stand in for sheets where there are none
	SnapM      float64 // ends nearer than this are drawn at one place

	AccuracyFactor float64 // on reported accuracy
	DefaultSigmaM  float64 // where a reading states no accuracy
	PoleM          float64 // holding the pole over the signal
	LocateShare    float64 // locating error across the line, share of depth
	LocateMinM     float64 // and at least this
	DefaultDepthM  float64 // where a reading states no depth
	PassiveFactor  float64 // on the locating error without an own signal
	WanderShare    float64 // share of a position's variance that wanders slowly, the rest is new at every reading
	WanderS        float64 // its correlation time, seconds
	Nu             float64 // degrees of freedom of the readings' Student-t
	OwnNu          float64 // of the records' own shifts and of the sessions' and sources' errors
	SheetNu        float64 // of the sheets' shifts: most are ordinary, a few are far off

	DepthCoilsM  float64 // height between the two coils of a receiver
	DepthNoise   float64 // of the ratio of their signals, at every reading
	DepthMinM    float64 // and of a depth at least this
	DepthGain    float64 // of the ratio: what the coils of one receiver differ by
	DepthWalk    float64 // of the ratio, along one walk of one record where nothing lies beside it
	CoverSheetM  float64 // a sheet's common cover error: the scale of a Student-t
	CoverLocalM  float64 // a record's own cover error: the scale of a Student-t
	CoverVariesM float64 // the ups and downs of a line about its mean cover
	CoverLengthM float64 // their correlation length

	NameM float64 // a sheet's shift is worth naming beyond this
	// FalseDiscovery is the rate of false ones allowed among the effects called
	// significant (Benjamini and Hochberg 1995).
	FalseDiscovery float64

	Draws int   // joint draws of a record's offsets
	Seed  int64 // of the draws
}
