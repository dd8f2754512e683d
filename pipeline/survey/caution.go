package survey

// Cautions are the sentences that go wherever results are first seen: the
// first screen of a report, --help, the readme. They are whole sentences, in
// the order in which they should be read.
func Cautions() []string {
	return []string{
		"The results are positions of records, not permission to dig.",
		"Notify the one-call centre before digging; locate, and expose by hand within the tolerance zone, as local law says.",
		"Depth readings are estimates.",
		"A licensed surveyor or engineer decides what becomes a record of survey.",
		"An attribution says to what this data attributes a difference; it assigns no liability.",
	}
}

// Caution is the one line that travels inside every file, since files travel
// alone.
const Caution = "Positions of records, not permission to dig: notify, locate and expose as local law says. Depths are estimates. Attributions assign no liability."
