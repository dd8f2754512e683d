package survey

// Status says what became of a reading.
type Status string

const (
	StatusUsed      Status = "used"
	StatusAmbiguous Status = "ambiguous" // the record is not sure enough
	StatusUnmapped  Status = "unmapped"  // fits no record
	StatusUntrusted Status = "untrusted" // its signal or position is distrusted
	StatusForeign   Status = "foreign"   // lies on a record of another utility than its label
	StatusSonde     Status = "sonde"     // kept for depth only
	StatusDuplicate Status = "duplicate"
	StatusCheck     Status = "check" // of an exposure: held out of the adjustment
)

// Match says which record one reading belongs to, and where on it.
type Match struct {
	Record      int // index into Survey.Records; -1 none
	Part        int // part of the record
	Segment     int // segment of the part
	StationM    float64
	OffsetM     float64 // from record to reading, + to the right of the record's direction
	AtEnd       bool    // the foot point is an end or a vertex: the offset is not square to the line
	Against     bool    // the crew walked against the record's direction
	Probability float64 // that this record is the right one
	Status      Status
	Reason      string  // why it is not used, or why it is trusted less; may be empty
	Inflate     float64 // 1 or more: factor on the reading's uncertainty from its signal trust
	RatioU      float64 // what currents beside it put into the ratio of two coils' signals, from which a depth is made: one standard deviation
}
