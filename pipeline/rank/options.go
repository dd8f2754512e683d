package rank

// Options are the money and the consequences of a re-survey.
type Options struct {
	Budget       float64 // money; 0: no limit
	Mobilisation float64 // money per work package
	PerKm        float64 // money per kilometre of line
	PackageM     float64 // a crew's day, metres of line
	AreaM        float64 // what a crew reaches in a day without setting out anew: the sides of an area, metres
	SettledM     float64 // a sheet's shift that is known that well is settled
	ControlShare float64 // of a package's length that is drawn at random; 0: none
	Seed         int64   // of that draw
	MaxGapM      float64
	// What is expected before anything was surveyed, standard deviations in metres: an
	// ordinary sheet's shift per axis, that of one that is far off, the share of those;
	// a record's own shift, a Student-t of OwnNu degrees of freedom, and its local error.
	SheetM, FarSheetM, FarShare float64
	OwnM, OwnNu, LocalM         float64

	Consequences []Consequence // first match wins; weight 1 where none does
}

// Consequence is the weight of an error on some records.
type Consequence struct {
	Utility string
	Weight  float64
}

func (o *Options) weight(utility string) float64 {
	for _, c := range o.Consequences {
		if c.Utility == "" || c.Utility == utility {
			return c.Weight
		}
	}
	return 1
}
