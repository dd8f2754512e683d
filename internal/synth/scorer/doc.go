// Package scorer holds what a run published against a town's truth. It reads the
// published files, the truth and the files that the town handed in, and nothing
// of the program's own inside.
//
// What is counted, and what is not:
//
//   - A reading is good if it measured the line that the crew meant to follow, that
//     line is on the map, no neighbour moved it by over 10 cm, the signal was the
//     crew's own, it is no sonde's, and its position was what a fixed one is.
//   - Distorted: moved over 10 cm by a neighbour, and not jumped to it.
//   - The surveyed part of a record is where good readings of its true line stand
//     at most 20 m apart, whatever the program made of them, and at least 3 m of
//     it: what the program calls unsurveyed there counts as undecided.
//   - Truly outside: some stretch of at least 3 m of that part lies beyond the
//     tolerance + 0.1 m from the true line. Truly within: no place of it lies
//     beyond the tolerance - 0.1 m. What lies between is not counted.
//   - A cover is wrong from 0.4 m on, good below the tolerance - 0.1 m, by the mean
//     of the true cover over the record.
//   - A sheet is shifted from 0.8 m on, with 0.4 m of it across lines of its that
//     were surveyed; others are those under 0.4 m.
//   - Geometry is the distance from the true line's place beside each half metre of
//     the surveyed part to the line before and after.
//
// Shares carry their 95 % interval (Wilson 1927, J. Am. Stat. Assoc. 22).
package scorer
