// Package life follows findings from run to run: which of tonight's is one that
// was there before, where it stands between the data and the people who decide,
// and which records came back to the map as they were proposed.
//
// Everything in it is a pure function of the survey, what was found tonight, and
// the Past that the ledger hands in. Lines are in the job's working plane.
package life

import (
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// Past is what earlier runs left behind, decisions that were read since
// included. The zero value is a first run's.
type Past struct {
	Findings  []Finding
	Records   map[string]Record // by key, as they stood at the last run
	Proposals []Proposal        // that are not on the map yet
	Started   time.Time         // when tonight's run began
}

// Finding is one finding as the last run that knew it left it.
type Finding struct {
	ID      string
	Kind    survey.Kind
	Record  string // key; "" none
	Label   string // the record's id, as the map has it
	Utility string
	Sheet   string
	Life    survey.Life
	Reason  string // for Life; "" where there is nothing to say

	Verdict        survey.Verdict
	Attribution    survey.Attribution
	FromM, ToM     float64
	OffsetM        float64
	OffsetU        float64
	Probability    float64
	Sentence       string
	OnMap, OnTruth orb.MultiLineString // where the map has it, and where the data puts it

	First, Last time.Time // the runs that first and last found it
	Absent      bool      // the last run did not find it, which may be for a few nights only
	Decision    Decision  // in force; Word "" none
	Typed       Typed     // what stood in its row of the decisions when that was last read
}

// Typed is what a person typed beside a finding, as it stands.
type Typed struct{ Word, Until, Who, Remark string }

// Decision is what a person decided about a finding.
type Decision struct {
	Word        string    // accepted, rejected or deferred; "" none
	Until       time.Time // of deferred: the day from which on it is open again
	Who, Remark string
	When        time.Time // start of the run that first read it

	// What it was decided on: the finding as the run before had left it, and where
	// the data then put its line.
	OffsetM, OffsetU float64
	OnTruth          orb.MultiLineString
}

// Record is a record of the map as it stood at the last run.
type Record struct {
	Utility   string
	Line      orb.MultiLineString
	CoverM    float64 // NaN unknown
	Corrected bool
	Left      survey.Left // of a corrected record: what it tells of the sheet that it left
}

// Proposal is the line that the last run proposed for a record.
type Proposal struct {
	Record  string // key
	Utility string
	Finding string // that it answers; "" none
	// Moved is where the proposed line lies farther from the map than the record's
	// tolerance, and ToleranceM that: the map as it was does not come near.
	Moved      orb.MultiLineString
	ToleranceM float64
	Left       survey.Left // what the record tells of its sheet while it is as it is
}

// Words are the decisions that a person can make.
func Words() []string {
	return []string{string(survey.LifeAccepted), string(survey.LifeRejected), string(survey.LifeDeferred)}
}

// Equal says whether two decisions are one.
func (d *Decision) Equal(e *Decision) bool {
	return d.Word == e.Word && d.Until.Equal(e.Until) && d.Who == e.Who && d.Remark == e.Remark && d.When.Equal(e.When)
}
