package survey

import "github.com/paulmach/orb"

// Correction is the proposed line of one record.
type Correction struct {
	Record   int
	Moved    bool
	Parts    []CorrectedPart
	MovedM   float64 // largest move of a vertex, ground metres
	U        float64 // one standard deviation across the line where it moved most
	Finding  string  // id of the finding it answers; "" for a neighbour that follows
	Neighbor bool    // follows at a shared end only
}

// CorrectedPart is one part of a corrected line.
type CorrectedPart struct {
	Line   orb.LineString // working plane
	From   []int          // per vertex: index of the record's vertex; -1 for an added one
	MovedM []float64      // per vertex, ground metres; exactly 0 for one that stays
	U      []float64      // per vertex: one standard deviation across the line
}

// Resurvey is one stretch in the order in which to survey next.
type Resurvey struct {
	Rank, Package  int
	Record         int
	FromM, ToM     float64
	LengthM        float64
	Probability    float64 // of being outside
	Weight         float64 // consequence
	Cost           float64 // money
	Benefit        float64 // weighted expected outside metres that it settles
	CumulativeCost float64
	InBudget       bool
	Reason         string
	Line           orb.LineString // working plane
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
	Corrections     []Correction // per record
	Resurvey        []Resurvey
}
