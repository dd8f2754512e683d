package shapefile

import "fmt"

// oddity is something that is noted with how often and where it came first.
type oddity int

const (
	none oddity = iota
	oddNumbers
	noNumbers
	badBoxes
	undeclared
	badText
	cutText
	oddities // how many there are
)

var oddityText = [oddities]string{
	oddNumbers: "%d records carry another number than their place in the .shp (first record %d); the place was used",
	noNumbers:  "%d records have a coordinate that is no number (first record %d)",
	badBoxes:   "%d records have points outside the box that the .shp gives them (first record %d): it was written badly or is damaged",
	undeclared: "%d records have text beyond ASCII and neither a .cpg nor the .dbf says in which encoding (first record %d); it was read as UTF-8 where it is valid, else as Windows-1252",
	badText:    "%d records have text that is not valid in the encoding of the .dbf (first record %d); what could not be read became U+FFFD",
	cutText:    "%d records have text that fills its column and ends inside a character, which was left out (first record %d)",
}

// notes collects what is odd.
type notes struct {
	said  []string
	times [oddities]int
	first [oddities]int
	last  [oddities]int
}

func (n *notes) say(text string) { n.said = append(n.said, text) }

// count counts a record once for each oddity.
func (n *notes) count(o oddity, record int) {
	if n.last[o] == record {
		return
	}
	if n.times[o]++; n.times[o] == 1 {
		n.first[o] = record
	}
	n.last[o] = record
}

func (n *notes) list() []string {
	list := append([]string(nil), n.said...)
	for o, times := range n.times {
		if times > 0 {
			list = append(list, fmt.Sprintf(oddityText[o], times, n.first[o]))
		}
	}
	return list
}
