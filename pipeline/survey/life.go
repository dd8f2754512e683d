package survey

// Life is where a finding stands between the data and the people who decide.
type Life string

const (
	LifeNew       Life = "new"       // found for the first time
	LifeOpen      Life = "open"      // found before, and nobody has decided
	LifeAccepted  Life = "accepted"  // somebody decided that it is right
	LifeRejected  Life = "rejected"  // somebody decided that it is not: quiet until the evidence changes
	LifeDeferred  Life = "deferred"  // quiet until a date
	LifeCorrected Life = "corrected" // the record came back and is within
	LifeReopened  Life = "reopened"  // once decided, corrected or gone, and to be decided anew
	LifeGone      Life = "gone"      // no longer found, though nobody corrected the map
)

// Quiet says that nobody wants to hear of a finding for the time being.
func (l Life) Quiet() bool { return l == LifeRejected || l == LifeDeferred }

// SharedSheet is the sheet whose shift the record shares. One that was corrected
// on the map has left its sheet: what is wrong with the drawing no longer is
// with it.
func (r *Record) SharedSheet() string {
	if r.Corrected {
		return ""
	}
	return r.Sheet
}

// Left is what the data said of a record as it was drawn, before it was corrected
// on the map and left its sheet: how far off the drawing was across its lines.
type Left struct {
	Sheet string
	Forms []Form
}

// Form is the offset of a record along one direction, east and north the unit
// vector to the right of it.
type Form struct{ East, North, OffsetM float64 }
