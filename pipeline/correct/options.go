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
	FadeOutM float64 // beyond the evidence the move is exactly 0 from here on
	MaxGapM  float64 // evidence is not bridged over a longer gap
	DropM    float64 // an added vertex nearer to the line than this is needless
}
