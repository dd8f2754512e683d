package judge

// ZoneRule is a law's tolerance zone around a mark and the records it is for.
type ZoneRule struct {
	Where
	EachSideM          float64
	HalfWidth          bool   // half the line's width is added: the marks show it
	Law, Source, Words string // as in CoverRule
}
