package judge

// CoverRule is a minimum cover and the records it is for.
type CoverRule struct {
	Where
	MinimumM           float64
	Law, Source, Words string // what it is called, its citation, and the rule as a report says it
}
