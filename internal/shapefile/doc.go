// Package shapefile reads and writes sets of .shp, .shx, .dbf, .prj and .cpg
// files. It is the only importer of go-shp, which decodes and encodes; this
// package is the guard in front of it.
//
// # Why a guard
//
// go-shp believes what a file says of itself. Given a file that was cut short,
// damaged or made with ill intent it answers with too few rows and no error,
// with rows of zeros, with a panic, or with an allocation of many gigabytes that
// no recover can catch. So it is never handed a file. It is handed one record
// at a time, copied into memory after its frame was checked:
//
//	what is checked                                    what go-shp would do otherwise
//	-----------------------------------------------    ---------------------------------------
//	.shp: file code, version, length in the header     not look, or trust it
//	against the size of the file
//	.shp: length of a record against the bytes left    stop early without an error
//	.shp: type of a record against the file's          mix types
//	.shp: counts of parts and points against the       allocate up to 2^31 of each, or panic
//	length of the record, exactly                      on a negative one
//	.shp: part starts 0, ascending, within the points  pass them on: a panic in the caller
//	.shx: count, offsets and lengths against .shp      not open it
//	.dbf: length of header and record against the      panic (negative length), misread
//	fields; size of the file against rows; end mark    columns, NULs for missing rows
//	.dbf: count against .shp and .shx                  leave the rest out without an error
//	.dbf: a table at all                               panic at the first attribute
//
// Some things that are sound are put into the one form that go-shp reads right:
//
//   - The block of measures is optional in the Z and M types (ESRI, Shapefile
//     Technical Description, July 1998), and common writers leave it out.
//     go-shp reads it regardless, out of the next record. A record without it
//     is given a block of no-data.
//   - Record numbers are given anew, since go-shp passes on what stands there.
//   - The header of the table is reduced to its fields: some programs put more
//     behind them than the end mark that go-shp expects there.
//
// # What may be returned
//
// Either an error, or a whole layer: as many rows as the .shp has records, the
// .shx entries and the .dbf rows, each with every point that its frame counts
// and every field of the table. A damaged byte inside a coordinate, a text or a
// part's start cannot be told from a true one and may change that value;
// it never changes the number of rows, or of points within a row. (Where the
// length of a Z or M record would fit another count of points with the measures
// left out or put in, the box and the range of Z decide whether the count is
// believed.) Whatever looks odd and is not an error stands in Layer.Notes.
//
// Memory: Reader.Rows holds one record. Read holds the rows: their numbers and
// texts, 16 bytes for each value and 136 for each row. Nothing is allocated on
// the strength of a length in a file before as many bytes have been seen.
//
// # Limits
//
// A .dbf record of more than 32,767 bytes or a table of more than 1,022 fields
// is refused, since go-shp counts them in 16 bits. MultiPatch and the
// binary field types of later table formats are refused. A .shp whose records do
// not follow each other without gaps in the order of its .shx (left behind by
// editing in place) is refused with the advice to save it anew.
package shapefile
