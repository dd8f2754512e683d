package survey

import (
	"cmp"
	"slices"
)

// Vector is a horizontal vector with its covariance, true east and north in
// ground metres.
type Vector struct {
	East, North float64
	EE, EN, NN  float64 // covariance, m^2
}

// Along is the component of v in the direction (east, north) of unit length,
// and its variance.
func (v Vector) Along(east, north float64) (value, variance float64) {
	return v.East*east + v.North*north, v.EE*east*east + 2*v.EN*east*north + v.NN*north*north
}

// Model is the map adjusted to the evidence: the one estimate from which
// verdicts, attributions, corrections and the re-survey order are read.
type Model struct {
	Profiles []Profile // one per record of the Survey, same order; without nodes where nothing is known
	Effects  []Effect
	Sheet    []int    // per record: its sheet, or the block that stands in for one, into Effects; -1 none
	Budget   []Term   // the error budget, as the report shows it
	Notes    []string // what of the evidence could not be used, and why
	Fit      Fit

	// Draws makes joint draws of a record's offsets at its nodes (one row a draw,
	// one column a node), the same whenever it is asked; none without evidence of
	// its own. They are not kept: those of a city would fill gigabytes.
	Draws func(record int) [][]float32

	// Without is what a record's offsets would be with nothing presumed of one of
	// the sessions that read it, for each of those: a session does not testify for
	// itself. Nil, or none, where nothing was read.
	Without func(record int) []Without

	// Sessions of the traces and of the control checks, as Effects.
	TraceSession, CheckSession []int

	// State is what the next adjustment of the same survey goes on from. Only the
	// adjustment looks inside.
	State any

	// Of every reading, per trace: one standard deviation of its offset across
	// the line, and its cover minus its record's. NaN where the model says
	// nothing of a reading; nil where it says nothing at all.
	OffsetU          [][]float32
	CoverDifferenceM [][]float32
}

// Without is a record adjusted with nothing presumed of one session's error:
// only control checks, other sessions and other sheets tell of it.
type Without struct {
	Session  int       // into Model.Effects
	Readings int       // its used readings on the record
	OffsetM  []float64 // at the profile's nodes
	AddedU   []float64 // what the nodes' OffsetU grows by, as a standard deviation
}

// Profile is what to add to one record to reach the truth, along its length.
type Profile struct {
	Nodes []Node // by part, then station
	// Shares of the record's mean raw difference across the line, metres, over
	// its used readings: raw = sheet + own + local + session + source + bias + noise.
	Shares Shares
	Cover  Cover
}

// Node is a point of a record with its adjusted displacement.
type Node struct {
	Part     int
	StationM float64
	Vertex   int     // index of the part's vertex; -1 for a reading's foot point
	D        Vector  // what to add to the record here
	OffsetM  float64 // D across the record, + right
	OffsetU  float64 // one standard deviation
	Readings int     // used readings whose foot point is this node
}

// Span is a part of a record between two stations.
type Span struct {
	Part       int
	FromM, ToM float64
}

// LengthM is the length of the span.
func (s Span) LengthM() float64 { return s.ToM - s.FromM }

// Surveyed lists where the record has a used reading within maxGapM, between its
// first and its last one: ends are not extrapolated, longer gaps not bridged. A
// reading on its own gives a span without length.
func (p *Profile) Surveyed(maxGapM float64) []Span {
	var out []Span
	prev := -1
	for k := range p.Nodes {
		n := &p.Nodes[k]
		if n.Readings == 0 {
			continue
		}
		switch {
		case prev < 0 || p.Nodes[prev].Part != n.Part:
			out = append(out, Span{n.Part, n.StationM, n.StationM})
		case n.StationM-p.Nodes[prev].StationM > 2*maxGapM:
			out[len(out)-1].ToM = p.Nodes[prev].StationM + maxGapM
			out = append(out, Span{n.Part, n.StationM - maxGapM, n.StationM})
		}
		out[len(out)-1].ToM = n.StationM
		prev = k
	}
	return out
}

// At is what to add to the record at a station of a part: straight between nodes.
// It has no covariance.
func (p *Profile) At(part int, stationM float64) Vector {
	i, _ := slices.BinarySearchFunc(p.Nodes, stationM, func(n Node, stationM float64) int {
		return cmp.Or(cmp.Compare(n.Part, part), cmp.Compare(n.StationM, stationM))
	})
	before := i > 0 && p.Nodes[i-1].Part == part
	after := i < len(p.Nodes) && p.Nodes[i].Part == part
	switch {
	case before && after:
		a, b := &p.Nodes[i-1], &p.Nodes[i]
		t := (stationM - a.StationM) / (b.StationM - a.StationM)
		return Vector{East: a.D.East + t*(b.D.East-a.D.East), North: a.D.North + t*(b.D.North-a.D.North)}
	case before:
		return Vector{East: p.Nodes[i-1].D.East, North: p.Nodes[i-1].D.North}
	case after:
		return Vector{East: p.Nodes[i].D.East, North: p.Nodes[i].D.North}
	}
	return Vector{}
}

// Shares splits a raw difference into what the model puts it down to, metres
// across the record, + right.
type Shares struct {
	RawM, SheetM, OwnM, LocalM, SessionM, SourceM, BiasM, NoiseM float64
	Readings                                                     int
	// FieldU is the standard deviation of the session and source part.
	FieldU float64
}

// Cover is the difference in cover along one record: field minus record, so
// what to add to the record's cover to reach the truth; the field's cover itself
// where none is recorded.
type Cover struct {
	Readings    int
	DifferenceM float64     // on average over what was read
	U           float64     // one standard deviation
	Nodes       []CoverNode // along the record, between its first and last reading
}

// CoverNode is the difference in cover at one place of a record.
type CoverNode struct{ StationM, DifferenceM, U float64 }

// At is the difference at a station, straight between nodes, and its standard
// deviation; the record's mean where there is no node.
func (c *Cover) At(stationM float64) (differenceM, u float64) {
	for k, b := range c.Nodes {
		if b.StationM < stationM && k+1 < len(c.Nodes) {
			continue
		}
		if k == 0 || b.StationM <= stationM {
			return b.DifferenceM, b.U
		}
		a := c.Nodes[k-1]
		t := (stationM - a.StationM) / (b.StationM - a.StationM)
		return a.DifferenceM + t*(b.DifferenceM-a.DifferenceM), a.U + t*(b.U-a.U)
	}
	return c.DifferenceM, c.U
}

// EffectKind names an effect common to many readings or records.
type EffectKind string

const (
	EffectSheet   EffectKind = "sheet"
	EffectSession EffectKind = "session"
	EffectSource  EffectKind = "source"
)

// Effect is a displacement common to a sheet's records (what to add to the map
// to reach the truth) or to a session's or source's positions (observed minus
// true).
type Effect struct {
	Kind     EffectKind
	Name     string
	Crew     string
	Readings int
	Records  int
	Checks   int // control checks behind a session or source
	Left     int // records that have left a sheet since, corrected on the map
	V        Vector
	// Others is a session's V with nothing presumed of it: what all but its own
	// word says.
	Others Vector
	// RestsOn are the sessions, as effects, without whose own word a significant
	// sheet would not be one.
	RestsOn     []int
	Significant bool
	Explanation string
}

// Term is one line of the error budget.
type Term struct {
	Name, Unit, Source string
	Value              float64
	U                  float64 // its standard deviation where it was estimated; 0: it was given
}

// Fit is how well the model describes the evidence.
type Fit struct {
	Readings, Unknowns int
	Redundancy         float64 // sum of the readings' redundancy numbers
	VarianceFactor     float64 // weighted squares of their residuals over it: 1 where the error budget is right
	Iterations         int
	Worst              []Influence // the readings that fit worst, worst first
}

// Influence is how one reading fits, and what it decides.
type Influence struct {
	Trace, Reading, Record int     // into Survey.Traces, its Readings and Survey.Records; Trace -1: Reading is into Survey.Exposures
	ResidualM              float64 // what the model leaves of its offset, + right of the record
	Standardised           float64 // the residual in its own standard deviations
	Redundancy             float64 // 0: nothing checks it; 1: it decides nothing
	WithoutM               float64 // what the record's offset there would change by without it
}
