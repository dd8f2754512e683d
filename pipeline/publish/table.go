package publish

import (
	"iter"
	"math"

	"github.com/paulmach/orb"
)

// A table is what several files of a run say alike: a finding, say, is a row of
// the register, a feature of the GeoJSON and a row of the GeoPackage. Each of
// these files is one way to write a table.
type table struct {
	name    string
	columns []column
	rows    iter.Seq[row]
}

// column is one attribute of a table.
type column struct {
	name     string // as every data file calls it
	kind     kind
	decimals int // of a number
}

// kind is the type of a column.
type kind uint8

const (
	kindText kind = iota
	kindNumber
	kindInteger
	kindBool
)

// cell is the value of one column in one row: text for a text column, number
// for the others. An unknown number is NaN and an unknown text is empty; both
// become an empty cell or null.
type cell struct {
	text   string
	number float64
}

// row is one row of a table. Cells are only good until the next row: writers
// that keep them make a copy.
type row struct {
	cells []cell
	lines orb.MultiLineString // working plane; points are parts of one vertex
}

func text(s string) cell       { return cell{text: s} }
func number(v float64) cell    { return cell{number: v} }
func integer(v int) cell       { return cell{number: float64(v)} }
func word[S ~string](s S) cell { return cell{text: string(s)} }

func truth(v bool) cell {
	if v {
		return cell{number: 1}
	}
	return cell{}
}

// unknown says that a cell holds nothing.
func (c column) unknown(v cell) bool {
	if c.kind == kindText {
		return v.text == ""
	}
	return math.IsNaN(v.number) || math.IsInf(v.number, 0)
}

// Columns that many tables share. Stations and lengths have 3 decimals, offsets
// and their uncertainties 4: a tenth of a millimetre is below any evidence, so
// that a difference in the last place is never one of substance.
func textColumn(name string) column        { return column{name: name} }
func integerColumn(name string) column     { return column{name: name, kind: kindInteger} }
func boolColumn(name string) column        { return column{name: name, kind: kindBool} }
func lengthColumn(name string) column      { return column{name, kindNumber, 3} }
func offsetColumn(name string) column      { return column{name, kindNumber, 4} }
func probabilityColumn(name string) column { return column{name, kindNumber, 4} }
func moneyColumn(name string) column       { return column{name, kindNumber, 2} }

// rounded is v to a number of decimals, halves away from zero, never -0: the
// same number in the files that hold binary numbers as in those that hold text.
func rounded(v float64, decimals int) float64 {
	scale := math.Pow10(decimals)
	if r := math.Round(v * scale); math.Abs(r) < 1<<53 {
		v = r / scale
	}
	return v + 0 // turns -0 into 0
}
