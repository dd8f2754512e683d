package survey

import "github.com/paulmach/orb"

// Verdict is what the data says of a stretch, a record or its depth.
type Verdict string

const (
	VerdictNone       Verdict = "" // no statement: nothing recorded to compare with
	VerdictWithin     Verdict = "within"
	VerdictOutside    Verdict = "outside"
	VerdictUndecided  Verdict = "undecided"
	VerdictUnsurveyed Verdict = "unsurveyed"
)

// Attribution is to what the data attributes a difference. It assigns no
// liability.
type Attribution string

const (
	AttributionNone        Attribution = ""
	AttributionRecord      Attribution = "record"
	AttributionField       Attribution = "field"
	AttributionFrame       Attribution = "frame"
	AttributionInseparable Attribution = "inseparable"
)

// Kind is the kind of a finding.
type Kind string

const (
	KindPosition     Kind = "position"
	KindDepth        Kind = "depth"
	KindCover        Kind = "cover"         // against a minimum-cover rule
	KindCoverPattern Kind = "cover_pattern" // what the covers of a sheet, or of a place, have in common
	KindUnmapped     Kind = "unmapped"
	KindNotDetected  Kind = "not_detected"
	KindNotTraceable Kind = "not_traceable" // swept, but no signal can be put on it: the sweep says nothing of it
	KindMark         Kind = "mark"          // a mark against an exposed line
	KindCorrection   Kind = "correction"    // what a corrected line could not follow, or could not keep
)

// Tolerance is what a record is judged against.
type Tolerance struct {
	HorizontalM, DepthM float64
	Rule                string // the rule that caught the record, in words
	Source              string // of the published class behind it; "" none
}

// Finding is one thing that the data says about the map.
type Finding struct {
	ID          string // stable from run to run
	Life        Life
	LifeReason  string // why it is reopened, or what it was part of; "" where there is nothing to say
	Kind        Kind
	Record      int   // index into Survey.Records; -1 for an unmapped line or a pattern
	Records     []int // of a pattern: the records that show it
	Utility     string
	Sheet       string
	Verdict     Verdict
	FromM, ToM  float64 // stations on the record
	OffsetM     float64 // worst offset of the adjusted line; a cover difference for depth, cover less the minimum for cover, from exposed line to mark for mark
	OffsetU     float64 // one standard deviation
	Probability float64 // of being outside
	Attribution Attribution
	// AttributionProbability is that of the attributed verdict with no session's own
	// word counted; of position findings with an attribution.
	AttributionProbability float64
	ToleranceM             float64 // or the minimum cover, or what the tolerance zone reaches to either side
	Basis                  string  // what it is held against: a rule of tolerance, a class of a table, a law
	Readings               int
	DecideAtU              float64 // undecided: the standard deviation that would decide; 0 otherwise
	Sentence               string  // the finding in words, every number from the model
	Line                   orb.MultiLineString
}

// Stretch is a part of a record between two stations with one verdict.
type Stretch struct {
	Part        int
	FromM, ToM  float64
	Verdict     Verdict
	Probability float64 // of being outside
	WorstM      float64 // offset of the adjusted line where it is worst
	WorstU      float64
}

// Judgement is the verdict on one record.
type Judgement struct {
	Record                        int
	Tolerance                     Tolerance
	LengthM, CoveredM             float64
	WithinM, OutsideM, UndecidedM float64
	Position                      Verdict
	Probability                   float64
	WorstM, WorstU                float64
	Depth                         Verdict
	DepthProbability              float64
	Attribution                   Attribution
	// AttributionProbability is the verdict's, the least of those with nothing
	// presumed of one of the sessions behind it; RestsOn are the sessions, as
	// effects, without whose own word it would not stand.
	AttributionProbability float64
	RestsOn                []int
	Stretches              []Stretch
	Readings               int
}

// MarkCheck holds what a crew marked against a place where the line was exposed.
type MarkCheck struct {
	Exposure    int     // into Survey.Exposures
	Marks       []int   // into Survey.Marks: the two around the exposed place, or the nearest
	Record      int     // of the exposed line
	OffsetM     float64 // from the exposed line to the marked one, + to the right of the record's direction; NaN where Reason is given
	OffsetU     float64 // one standard deviation, of both positions
	ZoneM       float64 // what the tolerance zone reaches to either side
	Probability float64 // of lying beyond it
	Verdict     Verdict
	MapM        float64 // from the exposed line to the record as the map has it, + right
	Law         string
	Reason      string // why the two are not held against each other; "" where they are
}

// Basis is what results were held against that the config chose: a table of
// minimum covers, a law's tolerance zone.
type Basis struct{ Name, Words, Source string }
