// Package read takes a job's files to one Survey in the working plane and
// accounts for every row of them.
//
//	records ─▶ layer ─▶ Record           (in full: what is not corrected goes out bit for bit)
//	field   ─▶ table ─▶ cells ─▶ Reading ─▶ duplicates ─▶ Trace
//	control ─▶ table ─▶ cells ─▶ Check
//	areas   ─▶ layer ─▶ Area
//
// Every row ends as used, duplicate or rejected with its place, value and
// reason. A row with nothing in it is rejected as blank, but does not count
// among the bad rows for which a whole source is set aside.
//
// # Adding a format
//
// One file adds a format. For rows of readings or checks it holds a function
// that opens a table (columns, and an iter.Seq2 of rows) and an init that puts
// it into tableFormats under its extension; for lines and polygons, a function
// that reads a layer and an init that puts it into layerFormats. Nothing else
// knows the formats. What belongs to one file (a broken header, a damaged row)
// is the reader's business; what a value means is not: units, missing values,
// times, words and positions are read by cells, the same for every format.
package read
