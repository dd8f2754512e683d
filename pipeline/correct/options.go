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
	Accepted bool    // only records of which somebody accepted a finding
	FadeOutM float64 // from here on beyond the evidence the move is exactly 0
	MaxGapM  float64 // how far from a reading there still is evidence
	DropM    float64 // a bend flatter than this needs no vertex of its own
	SnapM    float64 // ends nearer than this are drawn at one place
}
