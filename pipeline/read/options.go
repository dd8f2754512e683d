package read

import (
	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
)

// Options says what to read and how each file names and measures things. Paths
// are as they can be opened; Name is what every output calls the file.
type Options struct {
	Plane             string // "auto" or a definition of a projected system
	Records           []RecordsSource
	Field             []FieldSource
	Marks             []MarksSource
	Exposures         []ExposuresSource
	Fittings          []FittingsSource
	Control           []ControlSource
	Areas             []AreasSource
	Districts         []DistrictsSource
	MaxRejectShare    float64       // a source with a larger share of bad rows is set aside whole
	Gap               Gap           // where traces are formed: what ends one
	PlaceholderSheets []string      // sheet values that say nothing, compared without case ("", "unknown", ...)
	Grids             []Grid        // datum shift grids that operations may use
	Blunders          Blunders      // what a file does whose positions cannot be meant as they stand
	FieldPatterns     []FieldSource // what Field was found by, where that is a pattern: Name is the pattern
	Keep              *Keep         // nil: nothing is known of earlier runs
}

// Grid is a datum shift grid with the digest of its file.
type Grid struct {
	*crs.Grid
	SHA256 string
	Bytes  int64
}

// Blunders says what becomes of a file with a gross mistake of system, unit or
// axes.
type Blunders string

const (
	BlundersWarn Blunders = "warn" // it is named on the first screen, and the run goes on
	BlundersStop Blunders = "stop" // it is an error
)

// Gap is what ends a trace where no trace column is mapped.
type Gap struct {
	Seconds, Metres float64
}

// File is one input file.
type File struct {
	Path string
	Name string
	CRS  string // definition; "" where the file says it itself
	// Layer names the layer in a file of several (.gpkg, .zip); "" where it has
	// one only.
	Layer string
	// Frame is the reference frame that the positions are really in, where it is
	// not CRS's own ("ITRF2014"), and Epoch their date as a decimal year; "" and
	// 0 where nothing is said.
	Frame string
	Epoch float64
	// At is where the config names the file ("asfound.yaml:12"), for messages.
	At string `json:"-"`
}

// Column maps a column of a file to a quantity.
type Column struct {
	Name    string            // as the file has it; "" not mapped
	Factor  float64           // to metres, amperes or hertz; 0 means 1
	Missing []float64         // values in the file's unit that mean "no data"
	Zone    string            // time zone of a local time, and of the day that a session is named after
	Format  string            // layout of a time: Go's reference time, "excel", "excel1904", "unix", "unix_milli"; "" for ISO 8601 and serial dates
	Values  map[string]string // value in the file -> value in asfound; others pass through
	Fixed   string            // the same value for every row, where no column has it
	At      string            `json:"-"` // where the config says so, for messages
}

// Mapped says whether a file's column feeds the quantity.
func (c Column) Mapped() bool { return c.Name != "" }

// Given says whether a column or a fixed value feeds the quantity.
func (c Column) Given() bool { return c.Name != "" || c.Fixed != "" }

// RecordsSource is one file of the utility's map.
type RecordsSource struct {
	File
	Utility                                           Column
	Conductor                                         Column
	ID, Sheet, Installed, Material, Quality, Diameter Column
	// One way to say how deep: Cover, DepthToCentre, DepthToInvert, or an
	// elevation of invert or crown together with Ground.
	Cover, DepthToCentre, DepthToInvert, InvertElevation, CrownElevation, Ground Column
}

// Accuracy says what a stated positional accuracy means.
type Accuracy string

const (
	AccuracyRMS2D   Accuracy = "rms_2d"   // root of the mean squared radial error: sqrt 2 per axis
	AccuracySigma1D Accuracy = "sigma_1d" // one standard deviation per axis
	Accuracy95R     Accuracy = "95_2d"    // 95 % circle: 2.4477 per axis
	Accuracy95L     Accuracy = "95_1d"    // 95 % interval per axis: 1.96
)

// Positions says where a row's position stands and what its accuracy means.
type Positions struct {
	Latitude, Longitude Column // degrees
	Easting, Northing   Column // in the system's unit, or in that of their Factor, which must be the same
	Elevation           Column
	Accuracy            Column
	AccuracyMeans       Accuracy
	Source              Column // source of the positions
}

// PositionLog is a receiver's log in NMEA 0183, from which readings without a
// position take theirs, by time.
type PositionLog struct {
	Path, Name    string  // as in File; "" where there is no log
	MaxGapSeconds float64 // between two positions that a reading may lie between; 0 means 2
}

// FieldSource is one file of readings.
type FieldSource struct {
	File
	Positions
	Log                                                                PositionLog
	DepthTo                                                            survey.DepthTo
	Trace, Time, Fix, Depth, Current, Frequency, Mode, Hookup, Utility Column
	Crew, Receiver, Session, Separation, Doubt, Remark, Ticket         Column
}

// MarksSource is one file of paint marks, flags or stakes.
type MarksSource struct {
	File
	Positions
	Time, Utility, Crew, Receiver, Session, Ticket, Remark Column
}

// ExposuresSource is one file of exposed lines: test holes, or an open trench.
type ExposuresSource struct {
	File
	Positions
	DepthTo                                     survey.DepthTo // top or centre of the line
	Check                                       bool           // held out of the adjustment
	ID, Time, Depth, Diameter, Utility, Fitting Column
	DepthAccuracy                               Column // one standard deviation
	Crew, Receiver, Session, Ticket, Remark     Column
}

// FittingsSource is one file of the map's point assets.
type FittingsSource struct {
	File
	Utility   Column
	ID, Sheet Column
}

// ControlSource is one file of control checks.
type ControlSource struct {
	File
	Positions
	TrueCRS                             string // of the known positions; "" the file's own
	TrueLatitude, TrueLongitude         Column
	TrueEasting, TrueNorthing           Column
	Mark, Time, Crew, Receiver, Session Column
}

// AreasSource is one file of swept areas.
type AreasSource struct {
	File
	Utilities                      []string // swept for, where no column says it
	Utility, Ticket, Method, Swept Column
}

// DistrictsSource is one file of districts. All its rows count: a rule that does
// not hold where it should is a wrong tolerance.
type DistrictsSource struct {
	File
	District Column // the name that rules use
}
