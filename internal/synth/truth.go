package synth

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// Truth is what is really so in a town. Coordinates are metres of the frame's
// plane, vectors true east and north in ground metres. Records, sessions and
// traces stand in the order of the town's Survey.
type Truth struct {
	Difficulty int    `json:"difficulty_version"`
	Seed       uint64 `json:"seed"`
	Frame      Frame  `json:"frame"`

	Lines    []Line    `json:"lines"`
	Records  []Record  `json:"records"`
	Sheets   []Sheet   `json:"sheets"`
	Sessions []Session `json:"sessions"`
	Sources  []Source  `json:"sources"`
	Traces   []Trace   `json:"traces"`
	Areas    []Area    `json:"areas"`
}

// Line is one true line.
type Line struct {
	Utility   string           `json:"utility"`
	Conductor survey.Conductor `json:"conductor"`
	DiameterM float64          `json:"diameter_m"`
	Service   bool             `json:"service,omitempty"`
	Missing   bool             `json:"missing,omitempty"` // no record shows it
	Points    orb.LineString   `json:"points"`
	CoverM    []float64        `json:"cover_m"` // per point: top to grade
}

// Fault is one thing that is wrong with a record beside its sheet's shift.
type Fault string

const (
	FaultOwnShift   Fault = "own_shift"
	FaultBump       Fault = "bump"
	FaultKink       Fault = "kink"
	FaultWrongSide  Fault = "wrong_side"
	FaultCopied     Fault = "copied"
	FaultCover      Fault = "cover"       // another number than the true one
	FaultCoverUnit  Fault = "cover_unit"  // in another unit than the map's
	FaultCoverPoint Fault = "cover_point" // to the invert, not to the top
)

// Record says what one record of the map stands for.
type Record struct {
	Source      string `json:"source"`
	ID          string `json:"id"`
	Sheet       string `json:"sheet"`    // the sheet it was drawn on, also where the map does not say so
	Line        int    `json:"line"`     // the true line; -1: none is there
	Reversed    bool   `json:"reversed"` // drawn against the direction of the line's points
	Abandoned   bool   `json:"abandoned,omitempty"`
	DuplicateOf string `json:"duplicate_of,omitempty"` // id of the record that shows the same line
	// Points is the true line and CoverM its true cover, in the record's
	// direction; none for an abandoned record.
	Points orb.LineString `json:"points,omitempty"`
	CoverM []float64      `json:"cover_m,omitempty"`
	Faults []Fault        `json:"faults,omitempty"`
}

// Sheet is what is wrong with all records of one sheet.
type Sheet struct {
	Name    string `json:"name"`
	Utility string `json:"utility"`
	// East and North are what to add to the map to reach the truth, at the
	// sheet's middle.
	East      float64   `json:"east_m"`
	North     float64   `json:"north_m"`
	Turn      float64   `json:"turn_rad"` // of the drawing, counter-clockwise
	Scale     float64   `json:"scale"`    // drawing over ground
	Middle    orb.Point `json:"middle"`
	Blunder   string    `json:"blunder,omitempty"` // the frame or unit mistake behind it
	CoverUnit bool      `json:"cover_unit,omitempty"`
	Invert    bool      `json:"cover_point,omitempty"`
	Records   int       `json:"records"`
}

// At is what to add to the sheet at a point of the frame's plane to reach the
// truth, true east and north in ground metres: East and North, with the turn and
// the scale of the drawing about its middle.
func (s *Sheet) At(f Frame, p orb.Point) (east, north float64) {
	v := f.ground(orb.Point{p[0] - s.Middle[0], p[1] - s.Middle[1]})
	sin, cos := math.Sincos(s.Turn)
	return s.East + v[0] - s.Scale*(v[0]*cos-v[1]*sin), s.North + v[1] - s.Scale*(v[0]*sin+v[1]*cos)
}

// Session is what is wrong with the positions of one session: observed minus
// true, without its source's error.
type Session struct {
	Name      string  `json:"name"`
	Crew      string  `json:"crew"`
	Receiver  string  `json:"receiver"`
	Date      string  `json:"date"`
	Source    string  `json:"source"`
	East      float64 `json:"east_m"`
	North     float64 `json:"north_m"`
	WrongBase bool    `json:"wrong_base,omitempty"`
}

// Source is what is wrong with all positions of one source.
type Source struct {
	Name  string  `json:"name"`
	East  float64 `json:"east_m"`
	North float64 `json:"north_m"`
}

// Trace is the truth of one trace.
type Trace struct {
	Trace    string    `json:"trace"`   // as in the field file
	File     string    `json:"file"`    // the field file
	Utility  string    `json:"utility"` // of the lines that the crew meant to follow
	BiasM    float64   `json:"bias_m"`  // to the right of walking
	Label    string    `json:"label"`   // what the crew wrote down
	Readings []Reading `json:"readings"`
}

// Reading is the truth of one reading.
type Reading struct {
	Row    int `json:"row"`    // of the field file, 1 is the first data row
	Line   int `json:"line"`   // the true line whose field was measured
	Target int `json:"target"` // the true line that the crew meant to measure
	// Point is the true line right beside the reading; Pole is where the pole
	// really stood.
	Point     orb.Point `json:"point"`
	Pole      orb.Point `json:"pole"`
	CoverM    float64   `json:"cover_m"`
	ShiftM    float64   `json:"shift_m"`             // of the peak off its line by other currents, + right of walking
	Jumped    bool      `json:"jumped,omitempty"`    // measured a neighbour
	Distorted bool      `json:"distorted,omitempty"` // moved over 10 cm by a neighbour
	Float     bool      `json:"float,omitempty"`     // the position was not what a fixed one would be
}

// Area is where somebody swept, and which true lines lie in it.
type Area struct {
	Ticket    string   `json:"ticket"`
	Utilities []string `json:"utilities"`
	Method    string   `json:"method"`
	// Empty are the records inside, of a utility swept for, that no line is
	// behind.
	Empty []string `json:"empty,omitempty"`
}
