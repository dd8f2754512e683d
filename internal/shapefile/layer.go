package shapefile

import (
	"fmt"

	"github.com/paulmach/orb"
)

// Layer is a whole set of files.
type Layer struct {
	Name       string // file name without extension
	Type       Type
	Projection string // text of the .prj; "" if there is none
	Encoding   string // of the .dbf's text, as an IANA name; values are UTF-8 whatever it is
	Fields     []Field
	Rows       []Row
	Files      []string // every file read, as it can be opened; the archive for a set in one
	Notes      []string // what is odd without being wrong, a sentence each
}

// Field is one column of the table.
type Field struct {
	Name     string
	Type     byte // C text, N and F number, D date, L yes or no
	Length   int  // bytes
	Decimals int
}

// Row is one record: a shape and its attributes.
//
// Lines and polygons have Parts (rings as they stand in the file: outer ones
// clockwise), points and multipoints have Points. Z and M are nil unless the
// layer's type carries them; then they hold a slice for each part (a single one
// for points), as long as the part, with NaN for no data. An X or Y that is no
// number is NaN too, and noted.
type Row struct {
	Number  int  // 1-based; deleted rows and null shapes are counted
	Deleted bool // marked as deleted in the .dbf
	Null    bool // a null shape, or a point without coordinates
	Points  []orb.Point
	Parts   []orb.LineString
	Z, M    [][]float64
	Values  []string // one a field: UTF-8, trimmed, numbers as they stand; "" null
}

// Type is a type of shape, with the code that the file format gives it.
type Type int32

const (
	Null        Type = 0
	Point       Type = 1
	PolyLine    Type = 3
	Polygon     Type = 5
	MultiPoint  Type = 8
	PointZ      Type = 11
	PolyLineZ   Type = 13
	PolygonZ    Type = 15
	MultiPointZ Type = 18
	PointM      Type = 21
	PolyLineM   Type = 23
	PolygonM    Type = 25
	MultiPointM Type = 28
)

const multiPatch Type = 31

var typeNames = map[Type]string{
	Null: "Null", Point: "Point", PolyLine: "PolyLine", Polygon: "Polygon", MultiPoint: "MultiPoint",
	PointZ: "PointZ", PolyLineZ: "PolyLineZ", PolygonZ: "PolygonZ", MultiPointZ: "MultiPointZ",
	PointM: "PointM", PolyLineM: "PolyLineM", PolygonM: "PolygonM", MultiPointM: "MultiPointM",
	multiPatch: "MultiPatch",
}

func (t Type) String() string {
	if name, ok := typeNames[t]; ok {
		return name
	}
	return fmt.Sprintf("type %d", int32(t))
}

// HasZ says whether shapes of the type carry Z (and then M too).
func (t Type) HasZ() bool { return t > 10 && t < 20 }

// HasM says whether shapes of the type may carry M.
func (t Type) HasM() bool { return t > 10 && t < 30 }

// Flat is the type without Z and M: Null, Point, PolyLine, Polygon or MultiPoint.
func (t Type) Flat() Type {
	if t.HasM() {
		return t % 10
	}
	return t
}

// known says whether the type can be read here.
func (t Type) known() bool {
	_, ok := typeNames[t]
	return ok && t != multiPatch
}
