package survey

import (
	"time"

	"github.com/paulmach/orb"
)

// Mode is how the receiver found the line.
type Mode uint8

const (
	ModeUnknown Mode = iota
	ModeActive       // a signal that the crew put on
	ModePassive      // a signal that was there: says that a conductor is there, not which
	ModeSonde        // a transmitter inside the pipe
)

// Hookup is how the crew put the signal on.
type Hookup uint8

const (
	HookupUnknown Hookup = iota
	HookupDirect
	HookupClamp
	HookupInduction
)

// DepthTo is what a depth reading was measured to.
type DepthTo uint8

const (
	DepthToCentre DepthTo = iota // centre of the signal
	DepthToSonde
	DepthToTop // an exposed top
)

// Fix is the kind of satellite position.
type Fix uint8

const (
	FixUnknown Fix = iota
	FixFixed
	FixFloat
	FixDGPS
	FixAutonomous
	FixTotalStation
)

// Reading is one measurement of one line at one place.
type Reading struct {
	Place                // file, row, line
	Time       time.Time // zero unknown
	Point      orb.Point // working plane, grid metres
	ElevationM float64
	SigmaM     float64 // stated accuracy of the position as one standard deviation per axis; NaN unknown
	Fix        Fix

	DepthM      float64
	DepthTo     DepthTo
	CurrentA    float64
	FrequencyHz float64
	SeparationM float64 // between two independent position indications
	Mode        Mode
	Hookup      Hookup
	Doubt       bool // the crew's own mark
	Remark      string
	Duplicate   *Place // the earlier row that says the same; nil if this one counts
}

// Trace is the ordered readings of one line in one walk.
type Trace struct {
	ID        string // unique within the job: source and the crew's own name of the line
	Utility   string // as the crew labelled it; "" unlabelled
	Crew      string
	Receiver  string
	Session   string // crew, receiver and local date, or the mapped column: unique within the job
	Positions string // source of the positions: base, network or correction service; "" unknown
	Ticket    string
	Readings  []Reading
}

// Check is a reading on a mark whose position is known.
type Check struct {
	Place
	Mark     string
	Time     time.Time
	Observed orb.Point // working plane
	Known    orb.Point // working plane
	SigmaM   float64   // stated accuracy per axis of the observed position; NaN unknown
	Session  string
	// Positions is the source of positions, as in Trace.
	Positions string

	Scale, Convergence float64 // of the plane at the mark, as in Record
}
