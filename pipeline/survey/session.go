package survey

import "time"

// Session is a page about one session: good news as well as bad. Sessions are
// not ranked.
type Session struct {
	Effect         int // into Model.Effects
	Name           string
	Crew, Receiver string
	Positions      string    // the source of its positions
	First, Last    time.Time // of its readings; zero unknown

	Readings, Used, Distrusted int

	// Of Sampled readings, Congested stand beside another line. DistrustedThere is
	// the share of readings that the whole job distrusts at places like these.
	Sampled, Congested int
	DistrustedThere    float64

	Lines, Sheets int // with used readings of it
	OtherSessions int // of the lines: those that other sessions read too
	OtherCrews    int // those that other crews read too

	Checks                int     // control checks
	CheckEast, CheckNorth float64 // their median, observed minus known; NaN without any

	BiasM    float64 // mean of what the model leaves of its used readings, + right of walking
	NoiseM   float64 // their scatter about the mean of their trace, one standard deviation
	Sentence string
}

// Mistake is a mistake of frame, unit or axes, and what to add to coordinates
// made under it to reach the truth: true east and north, ground metres.
type Mistake struct {
	Name        string
	East, North float64
	U           float64 // how well that is known, one standard deviation per axis
}
