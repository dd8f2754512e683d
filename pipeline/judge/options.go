package judge

// Options are the tolerances and the rule of decision.
type Options struct {
	Confidence  float64
	MinStretchM float64 // a stretch is at least this long
	MaxGapM     float64 // evidence within this distance along the record
	Default     Rule
	Rules       []Rule // first match wins
}

// Rule is a tolerance and the records it is for. An empty condition is no
// condition.
type Rule struct {
	Utility, Quality, Material, Sheet string
	HorizontalM, DepthM               float64
	Words                             string // as the config says it, for the report
}
