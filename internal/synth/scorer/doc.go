// Package scorer holds what a run published against a town's truth. It reads the
// published files, the truth and what the town handed in, and nothing of the
// program's own inside.
//
// # How it cannot be flattered
//
// Every case that the truth knows is a case, whatever the program says of it: a
// reading without a row was not used, a record without a row was not found, an
// effect without a row is outside its interval, a line that is missing from the
// updated map lies where it did, a verdict "undecided" on what is decided by the
// truth is a miss. Shares of good things go up only by being right; shares of
// harm ("used for a wrong record", "said outside") stand beside the share that a
// program pays with for keeping quiet. A row that stands twice is an error.
//
// # Definitions
//
// Readings. Good: measured the line that the crew meant, that line is on the map,
// no neighbour moved it by over 10 cm, the signal was the crew's own, its position
// was a fixed one, the crew wrote no wrong utility down, and it is no sonde's.
// Jumped: measured a neighbour. Distorted: moved over 10 cm by a neighbour, on a
// line that is on the map, with a signal of the crew's own. Float: not what a
// fixed position would have been. A record is the right one for a reading if it
// shows the line that was measured: of two records that show it, either.
//
// Surveyed part of a record: where good readings of its true line stand at most
// 20 m apart, over at least 3 m; whatever the program made of them.
//
// Truly outside: some stretch of at least 3 m of the surveyed part lies beyond
// tolerance + 0.1 m. Truly within: nowhere beyond tolerance - 0.1 m, wherever
// readings of any kind stand at most 20 m apart. What lies between is not
// counted. The distance is the true line's to the record; up to 3 m beyond the
// record's ends only what lies across it counts, since nothing shows where along
// itself a line begins. "At the right place": some published stretch that is
// outside reaches one that truly is, give or take 3 m; lengths are counted metre
// by metre, and what is said outside shall be beyond tolerance - 0.1 m.
//
// Where several records show one line, one that the program calls unsurveyed is
// not held against it if another of them got a verdict.
//
// Not surveyed, misjudged: said outside though the whole record is truly within,
// or within though no place of it is.
//
// Cause of a difference: the record's, where it is truly outside; the field's
// (session) or the frame's (source of positions), where it is truly within, its
// readings lie beyond tolerance + 0.1 m on average, and more than half of that is
// their positions'. Separable: a session that read it has control checks; or no
// source is off and its sessions stood on three sheets or more, or two crews
// stood on it or on its sheet. A common frame error: everybody used one source,
// it is off by over 0.1 m, and nobody checked. In such a town no data tells the
// map's error from the positions': a record that is truly outside, or within, but
// would not be if its line lay where the readings are, is no case of what is to be
// found or decided; saying the wrong thing of it remains one. Nor do shifted sheets
// count there, and how far the map lies from the truth stands in rows of its own.
//
// Covers: wrong from 0.4 m on, good below tolerance - 0.1 m, by the mean of the
// true cover over the surveyed parts. What the covers of a whole sheet have in
// common counts where three of them or more are surveyed.
//
// Sheets: measured by the mean of what is wrong with the sheet over the surveyed
// parts of its records. Shifted from 0.8 m on with 0.4 m of it across two
// surveyed records or more (those with one such record stand apart: one record
// cannot tell a sheet's shift from its own); others are those under 0.4 m. Named
// counts only with a vector right to a half across the line that shows most. In
// another frame from 5 m on, measured if the vector is right to 1 m. Intervals
// count east and north each.
//
// Sessions on a wrong base without checks count where another crew was on one of
// their sheets, and are found if named with an error under half their size or
// 0.3 m.
//
// Profile: at every metre of the record beside its line's surveyed part, where
// the place is square to the true line; the published nodes are joined straight.
// Geometry: at every half metre of the true line's surveyed part, the distance to
// the line before and after; and back from the new line to the true one. Both
// leave sheets in another frame to rows of their own.
//
// Vertices: those that the list of changes names, each at its place on the updated
// line; the true line is inside if it passes within 1.96 u across.
//
// Topology: an end drawn within 1 cm of another end or line of its utility is a
// junction, and opened if it is over 1 cm away now; so is a line whose own ends
// met. A gas line that ends on a cable by chance is not joined to it. A fitting is
// on the nearest line of its utility within 0.5 m, and left off it if it now lies
// over 1 cm farther from it, or nearer to it. Sides: pairs of lines that
// run beside each other within 4 m and were drawn on their true sides somewhere;
// changed if there they no longer are. Moved beyond the fade-out: a vertex that
// moved over 1 mm farther than 20 m along the record from any reading used on it,
// from its ends and from what ends on it or within 5 cm of it, which a job takes
// for one place.
//
// Unmapped lines: on no map, with six readings or more; found if published lines
// pass half of them within 0.5 m. A published line is a false one if less than
// half of it lies within 1 m of what no record shows. Not detected: records
// without a line in areas swept for them; saying so of a record whose line is
// there is false, unless another record shows that line too.
//
// Re-survey: of the wrong length that nothing was taken on and that its sheet's
// shift does not settle already, the share that a fifth of the cost of surveying
// everything resolves: surveyed, or brought within tolerance by its sheet's shift
// as the surveyed lines would give it, right to 10 cm across the line. Everything
// is what nobody took a reading on, whether the program lists it or not. In order
// of age and at random the crew drives from line to line for nothing, which
// flatters them. Beside them stands who knows all sheets' true shifts, but not what
// else is wrong of a line, and surveys what those put beyond tolerance; and who knows
// where every line lies. A tenth of promised probabilities counts a stretch as outside if
// 3 m of it are beyond tolerance; under a common frame error, whose error it is nobody
// can tell, and its Brier score stands in a row of its own.
//
// # Intervals
//
// Shares carry their 95 % interval (Wilson 1927). Cases of one town stand or fall
// together, so that the count is first divided by the design effect between
// towns, where that is above 1.
package scorer
