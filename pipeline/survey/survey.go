// Package survey holds the words of the job as types: records and readings
// as they come in, matches, the adjusted model, findings, corrections and
// re-survey stretches as they go out. It imports nothing else of asfound, and
// every stage of the pipeline speaks in it.
//
// Units: metres, amperes, hertz, radians. A quantity that is not known is NaN.
// Positions are in the job's working plane (grid metres, x east, y north);
// stations, offsets and tolerances are ground metres, that is grid distance
// divided by the record's point scale factor. Vectors named east and north are
// true east and north in ground metres.
package survey

import (
	"cmp"
	"slices"
	"time"
)

// Place is where in the input a value stands, for messages and for the trail.
type Place struct {
	File  string
	Row   int    // 1 is the first data row; 0 where there are no rows
	Line  int    // physical line, 1 is the first; 0 where there are no lines
	Field string // column or member as the file calls it; empty for the whole row
}

// Reject is an input row that cannot be used, and why.
type Reject struct {
	Place
	Value  string
	Reason string
}

// Role says what an input file was handed in as.
type Role string

const (
	RoleRecords   Role = "records"
	RoleField     Role = "field"
	RoleMarks     Role = "marks"
	RoleExposures Role = "exposures"
	RoleFittings  Role = "fittings"
	RoleControl   Role = "control"
	RoleAreas     Role = "areas"
	RoleDistricts Role = "districts" // areas that rules of the config name
	RoleDecisions Role = "decisions" // what people typed into the workbook of decisions
	RoleGrid      Role = "grid"      // of shifts between datums: it has no rows
)

// Source is one input file and the account of its rows:
// Rows = Used + Duplicates + Rejected.
type Source struct {
	Name   string // file as named in every output: path relative to the config, slashes
	Layer  string // of a file of several; "" of one that has one only
	Role   Role
	SHA256 string // hex digest; of the .shp, its siblings follow in Siblings
	Bytes  int64

	Rows, Used, Duplicates, Rejected int

	SetAside string // why the whole file was set aside; empty if it was not

	CRS         string  // name of its coordinate system
	Operation   string  // how its positions reach the working plane
	OperationM  float64 // accuracy of that operation
	West, South float64 // extent in the working plane
	East, North float64
	First, Last time.Time // time span of its readings; zero where there is none
	Siblings    []Sibling
	Notes       []string // what a person should know about this file

	// Of a file of readings that later runs need not read again: where what was read
	// of it is kept, what that hangs on beside its bytes, and why it was read tonight.
	Kept, How string
	Read      ReadWhy
}

// ReadWhy says why a file was read, or that it was not.
type ReadWhy string

const (
	ReadKept    ReadWhy = "kept"    // what an earlier run read of it holds
	ReadGone    ReadWhy = "gone"    // so it does, and the file is no longer there
	ReadNew     ReadWhy = "new"     // no earlier run knew it
	ReadChanged ReadWhy = "changed" // it has other bytes
	ReadConfig  ReadWhy = "config"  // it is to be read in another way, or by another version
	ReadAnew    ReadWhy = "anew"    // everything was to be read, or what was kept of it is not whole
)

// Label tells sources apart: the name and, of a file of several layers, the
// layer. It is what Place.File calls the source of a row.
func (s *Source) Label() string {
	if s.Layer == "" {
		return s.Name
	}
	return s.Name + ":" + s.Layer
}

// Sibling is a further file that a source consists of (.shx, .dbf, .prj, .cpg).
type Sibling struct {
	Name   string
	SHA256 string
	Bytes  int64
}

// Survey is everything that one job has read, in the working plane.
type Survey struct {
	Plane   string // definition of the working plane, as crs.Parse reads it
	Records []Record
	Layers  []Layer // what the records came from, attribute by attribute
	Traces  []Trace
	Marks   []Mark
	// Exposures are few and worth most: nothing stands between them and the line.
	Exposures   []Exposure
	Fittings    []Fitting
	PointLayers []Layer // what the fittings came from
	Checks      []Check
	Areas       []Area // swept
	Districts   []Area // where rules of the config hold, by name; nobody swept them
	Sources     []Source
	Rejects     []Reject
	Notes       []string // warnings for the first screen
}

// Warnings says whether some input was set aside or rejected in a way that
// the exit code tells (a source set aside).
func (s *Survey) Warnings() bool {
	for i := range s.Sources {
		if s.Sources[i].SetAside != "" {
			return true
		}
	}
	return false
}

// ByKey is the order of the records by key. Stages that sum over records go in
// it, so that the order of the input changes no digit.
func (s *Survey) ByKey() []int {
	keys := make([]string, len(s.Records))
	for i := range keys {
		keys[i] = s.Records[i].Key()
	}
	return sorted(keys)
}

// ByID is the order of the traces by id.
func (s *Survey) ByID() []int {
	ids := make([]string, len(s.Traces))
	for i := range ids {
		ids[i] = s.Traces[i].ID
	}
	return sorted(ids)
}

func sorted(names []string) []int {
	order := make([]int, len(names))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(names[a], names[b]) })
	return order
}
