// Package crs knows coordinate systems: it reads their definitions, projects
// positions and takes them from one datum to another.
//
// Points are orb.Point{x, y}: longitude and latitude in degrees for geographic
// systems (in another angular unit only where the definition names one), easting
// and northing in the system's own unit for projected ones, whatever the order
// of axes that EPSG or the definition gives them.
//
// Parse makes a System of an EPSG code, of WKT1 in the dialects of OGC/GDAL and
// ESRI, or of WKT2. NewOperation finds the way between two systems and says in
// words what it does and how good it is; where no way is known it is an error,
// never an identity. An operation between frames that move against each other
// needs the epoch of the positions; NewOperationAt takes it, and NTv2 grids.
//
// The formulas are those of IOGP Guidance Note 373-07-02, "Coordinate
// Conversions and Transformations including Formulas", and of Karney 2011 for
// Transverse Mercator; numbers of systems and transformations are EPSG's, in the
// tables of the folder epsg, which its generate.go writes. PROJ judges the
// results in the tests.
//
// # Where to look
//
// A projection method is one file (tmerc.go, lcc.go, ...) that registers a
// method with its names and parameters and has forward, inverse and factors:
// nothing else is needed to add one. definitions: parse.go, wkt.go, wkt1.go,
// wkt2.go, wktsystem.go, and write.go the other way. Datums: frames.go (null
// operations), helmert.go, ntv2.go, and way.go, which finds the chain.
package crs
