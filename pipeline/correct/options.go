package correct

// When says which records move.
type When string

const (
	WhenOutside  When = "outside"  // records with a decided finding attributed to the record
	WhenSurveyed When = "surveyed" // every surveyed record
)

// Options are the choices of a correction.
type Options struct {
	When     When
	Accepted bool // only records of which somebody accepted a finding
	// Fixed names what never moves: ids of records and fittings.
	Fixed []string
	// FixedQuality names quality levels whose records never move.
	FixedQuality []string
	Shift        bool // records that nobody surveyed go by their sheet's shift

	FadeOutM float64 // from here on beyond the evidence the move is exactly 0
	MaxGapM  float64 // how far from a reading there still is evidence
	DropM    float64 // a bend flatter than this needs no vertex of its own
	SnapM    float64 // ends nearer than this are drawn at one place
	BesideM  float64 // lines nearer than this run beside each other, and have sides
	// SideShare is how sure the adjusted map has to be of a line's other side for a
	// corrected line to pass it, as a probability.
	SideShare float64
	FittingM  float64 // a fitting nearer than this to a line is drawn on it
}
