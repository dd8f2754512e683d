package scorer

import "github.com/paulmach/orb"

// Outcome is what a run, or a baseline, says of a town.
type Outcome struct {
	Readings map[At]Reading
	Records  map[string]Record // by the record's name in the published files
	Effects  []Effect
	Findings []Finding
	Profiles map[string][]Node              // by record, in order of stations
	Lines    map[string]orb.MultiLineString // the records after, by name, in the town's plane
	Fittings map[string]orb.Point           // after, by id, in the town's plane
	Changes  []Change                       // vertices that moved
	Resurvey []Resurvey                     // in order
	// Plain is true of a baseline: it states no probabilities or uncertainties
	// and ranks nothing, and is not held to any.
	Plain bool
}

func newOutcome() *Outcome {
	return &Outcome{Readings: map[At]Reading{}, Records: map[string]Record{}, Profiles: map[string][]Node{}, Lines: map[string]orb.MultiLineString{}, Fittings: map[string]orb.Point{}}
}

// At names one reading: its file and row.
type At struct {
	Source string
	Row    int
}

// Reading is what became of one reading. What is not stated is NaN.
type Reading struct {
	Record, Status string
	Probability    float64
}

// Record is the verdict on one record. What is not stated is NaN.
type Record struct {
	Position, Depth, Attribution string
	CoverM, CoverU               float64 // true cover minus the map's
}

// Effect is a sheet's, a session's or a source's estimate.
type Effect struct {
	Kind, Name                 string
	East, North, EastU, NorthU float64
	Significant                bool
}

// Finding is one published finding.
type Finding struct {
	Kind, Record, Sheet, Sentence, Verdict, Attribution string
	FromM, ToM                                          float64             // stations of the record
	Line                                                orb.MultiLineString // in the town's plane
}

// Node is a place of an adjusted profile: how far to the right of the record its
// line lies.
type Node struct {
	StationM, OffsetM, OffsetU float64
	Readings                   int
}

// Resurvey is one stretch of the re-survey order.
type Resurvey struct {
	Record      string
	Package     int
	FromM, ToM  float64
	Probability float64
}

// Change is a vertex of an updated line that moved: which one of Lines, how sure it
// is across the line, and what is said to be behind it.
type Change struct {
	Record       string
	Part, Vertex int // from 0
	U            float64
	Evidence     string
}
