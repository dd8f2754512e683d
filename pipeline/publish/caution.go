package publish

import (
	"bufio"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// caution is the text that goes into every file that can hold one.
func caution() string { return strings.Join(survey.Cautions(), " ") }

// writeCaution writes caution.txt: the caution of the files that cannot hold
// one, with how to read them. A CSV is the table and nothing else, so that any
// program reads it plainly.
func (e *edition) writeCaution(w *bufio.Writer) error {
	if e.Banner != "" {
		w.WriteString(e.Banner + "\n\n")
	}
	for _, sentence := range survey.Cautions() {
		w.WriteString(sentence + "\n")
	}
	w.WriteString(`
This holds for every file of this folder. Tables as CSV hold no caution of their
own: keep this file with them.

Reading the CSV files: UTF-8, comma separated (RFC 4180), a point before the
decimals, an empty cell for what is not known. A text that a spreadsheet might
run as a formula has an apostrophe before it; take one apostrophe off such a
cell to have the text as it came in. Lengths, stations and offsets are ground
metres, offsets positive to the right of a record's direction, every "_u_m" is
one standard deviation. East and north are true east and north.

Positions in GeoJSON files are WGS 84 longitude and latitude.
`)
	for _, line := range e.operations() {
		w.WriteString(line + "\n")
	}
	return nil
}

// operations say, a line each, how coordinates came in and how they go out, and
// how good that is.
func (e *edition) operations() []string {
	lines := []string{"Working plane: " + e.plane.Name(), "Working plane to WGS 84: " + e.toWGS84.Name()}
	for i := range e.Survey.Sources {
		if s := &e.Survey.Sources[i]; s.Operation != "" {
			lines = append(lines, oneLine(s.Name)+", in: "+s.CRS+"; "+s.Operation)
		}
	}
	for i := range e.layers {
		f := &e.layers[i]
		lines = append(lines, oneLine(e.Survey.Layers[i].Source)+", out: "+f.system.Name()+
			"; corrected vertices by "+f.fromPlane.Name()+"; GeoJSON by "+f.toWGS84.Name())
	}
	return lines
}

// oneLine keeps a text from the data on one line.
func oneLine(s string) string {
	return strings.Join(strings.Fields(strings.ToValidUTF8(s, "\uFFFD")), " ")
}
