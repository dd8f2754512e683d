package survey

import "github.com/paulmach/orb"

// Correction is what is proposed for one record.
type Correction struct {
	Record   int
	Moved    bool
	Shifted  bool            // by its sheet's shift alone: nothing was read on it
	Neighbor bool            // follows at shared ends only
	Parts    []CorrectedPart // none where the record stays
	MovedM   float64         // largest move of a vertex, ground metres
	U        float64         // one standard deviation across the line where it moved most
	Finding  string          // id of the finding it answers; "" for a neighbour that follows

	CoverRead      bool    // CoverM was read, and is proposed beside the map's
	CoverM, CoverU float64 // top of line to grade, and one standard deviation
}

// CorrectedPart is one part of a corrected line.
type CorrectedPart struct {
	Line     orb.LineString // working plane
	From     []int          // per vertex: index of the record's vertex; -1 for an added one
	StationM []float64      // per vertex: its place on the record
	MovedM   []float64      // per vertex, ground metres; exactly 0 for one that stays
	U        []float64      // per vertex: one standard deviation across the line
	Cause    []Cause        // per vertex
	Readings []int          // per vertex: used readings near enough to be evidence of it
}

// Cause is why a vertex of a corrected line lies where it does.
type Cause uint8

const (
	CauseNone     Cause = iota // it stays
	CauseEvidence              // readings on both sides of it
	CauseFade                  // the move fades out beyond the evidence
	CauseJunction              // it follows what another record's evidence says of a shared place
	CauseShift                 // its sheet's shift
)

func (c Cause) String() string {
	return [...]string{"", "evidence", "fade-out", "shared place", "sheet's shift"}[c]
}

// FittingMove is where a fitting goes with its line.
type FittingMove struct {
	Fitting, Record int // into Survey.Fittings and Survey.Records; Record -1: it is on no line
	Point           orb.Point
	MovedM          float64 // ground metres; exactly 0 for one that stays
	U               float64 // one standard deviation across the line
}

// Resurvey is one stretch in the order in which to survey next.
type Resurvey struct {
	Rank, Package  int
	Record         int
	FromM, ToM     float64
	LengthM        float64
	Probability    float64 // of being outside
	Weight         float64 // consequence
	Cost           float64 // money; of the first of a package with its mobilisation
	Benefit        float64 // wrong metres that it is expected to resolve, its own and of its sheet, weighted
	CumulativeCost float64
	InBudget       bool
	Control        bool // drawn at random, whatever is expected of it
	Reason         string
	Line           orb.LineString // working plane
}

// HeldOut is how lines proposed without some traces pass by what these read.
type HeldOut struct {
	Traces, Readings, Records int
	LengthM                   float64 // that the traces walked beside surveyed stretches
	BeforeM, AfterM           float64 // of it within tolerance of the map, of the proposed lines
}

// Calibration holds promised probabilities of being outside against what was found
// on surveyed records, each promised without its own evidence.
type Calibration struct {
	LeftOut LeftOut
	Cases   int
	Outside float64 // share found
	// Brier is the mean square of promised minus found: reliability - resolution +
	// uncertainty between tenths, and what lies within them.
	Brier, Reliability, Resolution, Uncertainty, Within float64
	Tenths                                              [10]Tenth
}

// LeftOut says without what a surveyed record was promised.
type LeftOut string

const (
	LeftOutRecord LeftOut = "record" // its own evidence
	LeftOutSheet  LeftOut = "sheet"  // all evidence on its sheet
)

// Tenth is the cases that were promised a probability of one tenth.
type Tenth struct {
	Cases           int
	Promised, Found float64 // shares
}

// Result is everything that publish writes.
type Result struct {
	Job             string
	Version         string
	Banner          string
	Decision        string // the rule of decision of every verdict, in words
	Survey          *Survey
	Matches         [][]Match // per trace and reading
	MarkMatches     []Match   // per mark
	ExposureMatches []Match   // per exposure
	Model           *Model
	Judgements      []Judgement // per record
	Findings        []Finding
	MarkChecks      []MarkCheck
	Bases           []Basis // of minimum covers and tolerance zones
	Sessions        []Session
	Corrections     []Correction  // per record
	FittingMoves    []FittingMove // per fitting
	HeldOut         *HeldOut      // nil: nothing was held out
	Resurvey        []Resurvey
	ResurveyBudget  float64 // money; 0: no limit
	Calibration     []Calibration
}
