package survey

import (
	"math"

	"github.com/paulmach/orb"
)

// Conductor is what carries a signal along a line.
type Conductor string

const (
	ConductorPipe Conductor = "pipe" // the pipe itself
	ConductorWire Conductor = "wire" // a tracer wire beside it
	ConductorNone Conductor = "none" // no signal can be put on it
)

// Record is one line of the utility's map.
type Record struct {
	Source  string // name of the records source
	ID      string // as the map has it; "" becomes the feature's row number
	Utility string // "water", "gas", ...
	Sheet   string // drawing or project it was digitised from; "" if none or a placeholder
	// Corrected says that the line came back to the map as an earlier run had
	// proposed it.
	Corrected bool
	Left      Left // of a corrected record: what it tells of the sheet that it left

	Installed int     // year; 0 unknown
	Material  string  // as the map has it
	Quality   string  // as the map has it
	DiameterM float64 // NaN unknown
	Conductor Conductor

	Parts       orb.MultiLineString // working plane, grid metres; every part has two or more distinct points
	Scale       float64             // point scale factor of the plane at the record (grid/ground)
	Convergence float64             // meridian convergence at the record, radians, + where grid north lies east of true north

	CoverM float64 // top of line to grade as the map says, in metres; NaN unknown
	CoverU float64 // what its conversion from another depth errs by, one standard deviation

	Layer, Feature int // where its attributes stand: Survey.Layers[Layer].Features[Feature]
}

// Key is the record's key among all sources: source + id.
func (r *Record) Key() string { return r.Source + "#" + r.ID }

// Right is the unit vector to the right of a segment, true east and north; zero
// where the segment has no length.
func (r *Record) Right(part, segment int) (east, north float64) {
	p, q := r.Parts[part][segment], r.Parts[part][segment+1]
	x, y := q[0]-p[0], q[1]-p[1]
	length := math.Hypot(x, y)
	if length == 0 {
		return 0, 0
	}
	return True(orb.Point{y / length, -x / length}, r.Convergence)
}

// True turns a vector of the grid into true east and north, at a place where grid
// north lies convergence radians east of true north.
func True(grid orb.Point, convergence float64) (east, north float64) {
	sin, cos := math.Sincos(convergence)
	return grid[0]*cos + grid[1]*sin, grid[1]*cos - grid[0]*sin
}

// Layer is a records source as it came in, so that what is not corrected can
// go out bit for bit.
type Layer struct {
	Source   string // name of the source
	Name     string // layer name: file name without extension, or the table
	CRS      string // definition as crs.Parse reads it
	Fields   []Field
	Features []Feature
}

// Field is one attribute column of a layer.
type Field struct {
	Name string
	Kind FieldKind
	// Width and Decimals are those of a dBase column; 0 where the format has none.
	Width, Decimals int
	// Numbering says that the format has its rows numbered in this column, whether
	// or not the number means anything.
	Numbering bool
}

// FieldKind is the type of an attribute column.
type FieldKind uint8

const (
	FieldText FieldKind = iota
	FieldNumber
	FieldBool
	FieldDate
	FieldJSON // any JSON value, as it stood in the source
)

// Value is one attribute: the text as the source has it, without padding.
// Numbers keep their digits.
type Value struct {
	Null bool
	Text string
}

// Feature is one row of a layer, in the layer's own coordinate system.
type Feature struct {
	Row     int // 1 is the first row of the file, deleted and null rows counted
	Parts   []orb.LineString
	Z       [][]float64 // per part and vertex; nil if the source has none
	Values  []Value     // one per field of the layer
	Deleted bool        // a deleted or geometry-less row: kept out of the records
}

// Area is where somebody swept the ground for lines, or a district: a piece of
// ground that rules can name.
type Area struct {
	Place
	Name      string           // of a district; "" of a swept area
	Polygon   orb.MultiPolygon // working plane
	Utilities []string         // swept for; never empty, but of a district
	Method    string
	Date      string // as the file has it
	Ticket    string
}
