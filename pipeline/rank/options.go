package rank

// Options are the money and the consequences of a re-survey.
type Options struct {
	Budget       float64 // money; 0: no limit
	Mobilisation float64 // money per work package
	PerKm        float64 // money per kilometre of line
	PackageM     float64 // a crew's day, metres of line
	MaxGapM      float64
	Consequences []Consequence // first match wins; weight 1 where none does
}

// Consequence is the weight of an error on some records.
type Consequence struct {
	Utility string
	Weight  float64
}
