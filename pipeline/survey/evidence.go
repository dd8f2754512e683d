package survey

import (
	"time"

	"github.com/paulmach/orb"
)

// Mark is a paint mark, flag or stake that a crew left: a position of a line,
// without a depth or a signal.
type Mark struct {
	Place
	Time      time.Time // zero unknown
	Point     orb.Point // working plane, grid metres
	SigmaM    float64   // stated accuracy of the position as one standard deviation per axis; NaN unknown
	Utility   string    // as the crew labelled it; "" unlabelled
	Crew      string
	Receiver  string
	Session   string // as in Trace
	Positions string // as in Trace
	Ticket    string
	Remark    string
}

// Exposure is a place where the line itself was seen and surveyed: a test hole,
// or a line in an open trench.
type Exposure struct {
	Place
	ID         string // of the test hole; "" unnamed
	Time       time.Time
	Point      orb.Point // working plane, grid metres
	ElevationM float64   // of the point on the line that DepthTo names; NaN unknown
	SigmaM     float64   // as in Mark
	DepthM     float64   // from grade; NaN unknown
	DepthTo    DepthTo
	// DepthSigmaM is the stated accuracy of the depth as one standard deviation; NaN unknown.
	DepthSigmaM float64
	DiameterM   float64 // outside, as measured in the hole; NaN unknown
	Utility     string
	// Fitting is the id of the fitting that was surveyed, "" where a place
	// somewhere along the line was: a fitting is identifiable, so that it tells of
	// both components of a shift.
	Fitting   string
	Check     bool // held out of the adjustment, to check its result with
	Crew      string
	Receiver  string
	Session   string // as in Trace, of the survey of the holes
	Positions string
	Ticket    string
	Remark    string

	Scale, Convergence float64 // of the plane at the point, as in Record
}

// Fitting is a point asset of the utility's map that moves with its line: a
// valve, a tee, a service connection.
type Fitting struct {
	Source  string // name of the fittings source
	ID      string // as the map has it; "" becomes the feature's row number
	Utility string // "" unknown
	Sheet   string // as in Record

	Point              orb.Point // working plane, grid metres
	Scale, Convergence float64   // as in Record

	Layer, Feature int // where its attributes stand: Survey.PointLayers[Layer].Features[Feature], one part of one vertex
}

// Key is the fitting's key among all sources: source + id.
func (f *Fitting) Key() string { return f.Source + "#" + f.ID }

// FittingsByID finds the fitting of an id; nil where several have it.
func (s *Survey) FittingsByID() map[string]*Fitting {
	out := map[string]*Fitting{}
	for i := range s.Fittings {
		f := &s.Fittings[i]
		if _, twice := out[f.ID]; twice {
			f = nil
		}
		out[s.Fittings[i].ID] = f
	}
	return out
}
