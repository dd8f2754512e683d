package judge

// Options are the tolerances and the rule of decision.
type Options struct {
	Confidence  float64
	GuardBand   GuardBand
	MinStretchM float64 // a stretch is at least this long
	MaxGapM     float64 // evidence within this distance along the record
	Default     Limits
	Rules       []Rule      // first match wins, as below
	Cover       []CoverRule // minimum covers, of the tables that the config chose
	Zones       []ZoneRule  // tolerance zones of laws, to hold marks against
}
