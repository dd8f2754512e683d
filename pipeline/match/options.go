package match

// Options are the costs and limits of matching. Every cost is a negative log
// density or probability, so they can be added.
type Options struct {
	SearchRadiusM  float64 // how far from a reading a record may lie
	MinProbability float64 // below it a reading is ambiguous
	MinStretchM    float64
	Workers        int // 0: one per core
}
