// Package read takes a job's files to one Survey in the working plane and
// accounts for every row of them.
//
//	records   ─▶ layer ─▶ Record           (in full: what is not corrected goes out bit for bit)
//	fittings  ─▶ layer ─▶ Fitting          (in full too)
//	field     ─▶ table ─▶ cells ─▶ Reading ─▶ duplicates ─▶ Trace
//	marks     ─▶ table ─▶ cells ─▶ Mark     ─▶ duplicates
//	exposures ─▶ table ─▶ cells ─▶ Exposure ─▶ duplicates
//	control   ─▶ table ─▶ cells ─▶ Check    ─▶ duplicates
//	areas     ─▶ layer ─▶ Area
//
// Every row ends as used, duplicate or rejected with its place, value and
// reason. A row with nothing in it is rejected as blank, but does not count
// among the bad rows for which a whole source is set aside.
//
// Files are set aside whole where they cannot be read, and rows of positions also
// where too many of them are bad, so that a wrong mapping does not pass for a few
// odd rows. Of the map, records stop the run instead: a map with a hole in it
// would be judged as if nothing lay there. Fittings do not, since no verdict rests
// on one that is missing; their bad rows are rejected one by one.
//
// # Adding a format
//
// One file adds a format: a function that reads a layer (fields, and features
// with their geometry and values as they stand) and an init that puts it into
// layerFormats under its extension. Lines become records, polygons areas, and
// points fittings, or rows of readings, marks, exposures or checks. A format of rows without geometry, or of
// too many to hold, opens a table (columns, and an iter.Seq2 of rows) and goes
// into tableFormats instead. Nothing else knows the formats. What belongs to one
// file (a broken header, a damaged row) is the reader's business; what a value
// means is not: units, missing values, times, words and positions are read by
// cells, the same for every format.
//
// # Order
//
// Files are taken in the order of their names and rows in that of the file, but
// what comes out is sorted: records, fittings and traces by id, readings by time,
// the rest by what it says.
// Readings of one trace that share a time, or have none, keep the file's order,
// since nothing else says how the crew walked.
package read
