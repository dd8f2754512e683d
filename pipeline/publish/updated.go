package publish

import (
	"fmt"
	"math"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// What became of a record, as asfound_status and asfound_decision say it.
const (
	statusCorrected  = "corrected"
	statusShifted    = "shifted"
	statusUnchanged  = "unchanged"
	decisionProposed = "proposed"
	decisionAccepted = "accepted"
	decisionNone     = "none"
)

// updatedColumns are the attributes that every updated record has beside its
// own.
var updatedColumns = []column{
	textColumn("asfound_id"), textColumn("asfound_status"), textColumn("asfound_decision"), textColumn("asfound_finding"),
	offsetColumn("asfound_moved_m"), offsetColumn("asfound_u_m"), textColumn("asfound_source"),
	offsetColumn("asfound_cover_m"), offsetColumn("asfound_cover_u_m"),
}

// updatedCells are the values of updatedColumns for one feature of a layer.
func (e *edition) updatedCells(layer, feature int) []cell {
	rec := int(e.layers[layer].records[feature])
	cells := []cell{
		text(e.label(rec)), text(statusUnchanged), text(decisionNone), text(""),
		number(0), number(math.NaN()), text(e.Survey.Layers[layer].Source), number(math.NaN()), number(math.NaN()),
	}
	if c := e.correction(rec); c != nil {
		cells[1], cells[2], cells[3] = text(status(c)), text(e.decision(c)), text(c.Finding)
		cells[4], cells[5] = number(c.MovedM), number(c.U)
	}
	if rec >= 0 && len(e.Corrections) > 0 && e.Corrections[rec].CoverRead {
		cells[7], cells[8] = number(e.Corrections[rec].CoverM), number(e.Corrections[rec].CoverU)
	}
	return cells
}

// status is what became of a record that moved.
func status(c *survey.Correction) string {
	if c.Shifted {
		return statusShifted
	}
	return statusCorrected
}

// decision says whether somebody accepted the finding that a correction answers.
func (e *edition) decision(c *survey.Correction) string {
	if e.lives[c.Finding] == survey.LifeAccepted {
		return decisionAccepted
	}
	return decisionProposed
}

// geometry is a line in its own system, with heights where the source has them.
type geometry struct {
	parts orb.MultiLineString
	z     [][]float64 // per part and vertex; nil without heights
}

// updatedGeometry is a feature's line in its own system: as it came in, bit for
// bit, but for the vertices that a correction moves or adds.
func (e *edition) updatedGeometry(layer, feature int) (geometry, error) {
	f := &e.Survey.Layers[layer].Features[feature]
	own := geometry{parts: f.Parts, z: f.Z}
	rec := int(e.layers[layer].records[feature])
	c := e.correction(rec)
	if c == nil {
		return own, nil
	}
	out := geometry{}
	for p := range c.Parts {
		line, err := ownLine(f.Parts[p], &c.Parts[p], e.layers[layer].fromPlane)
		if err != nil {
			return own, fmt.Errorf("record %s: %w", e.labels[rec], err)
		}
		out.parts = append(out.parts, line)
		if f.Z != nil {
			out.z = append(out.z, heights(f.Z[p], c.Parts[p].From, line))
		}
	}
	return out, nil
}

// ownLine is a corrected part in the record's own system. Vertices that stay are
// the source's; the others come from the plane.
func ownLine(source orb.LineString, c *survey.CorrectedPart, toOwn *crs.Operation) (orb.LineString, error) {
	line := make(orb.LineString, len(c.Line))
	for i, p := range c.Line {
		if v := c.From[i]; v >= 0 && c.MovedM[i] == 0 {
			line[i] = source[v]
			continue
		}
		moved, err := toOwn.Apply(p)
		if err != nil {
			return nil, err
		}
		line[i] = moved
	}
	return line, nil
}

// heights gives a corrected line the heights of the source's vertices; an added
// vertex has one between those of its neighbours, by distance.
func heights(z []float64, from []int, line orb.LineString) []float64 {
	out := make([]float64, len(line))
	known := func(i int) bool { return from[i] >= 0 }
	for i := range line {
		if known(i) {
			out[i] = z[from[i]]
			continue
		}
		before, after := i, i
		toBefore, toAfter := 0.0, 0.0
		for ; before >= 0 && !known(before); before-- {
			toBefore += step(line, before)
		}
		for ; after < len(line) && !known(after); after++ {
			toAfter += step(line, after+1)
		}
		switch {
		case before >= 0 && after < len(line) && toBefore+toAfter > 0:
			a, b := z[from[before]], z[from[after]]
			out[i] = a + (b-a)*toBefore/(toBefore+toAfter)
		case before >= 0:
			out[i] = z[from[before]]
		case after < len(line):
			out[i] = z[from[after]]
		default:
			out[i] = math.NaN()
		}
	}
	return out
}

// step is the distance from vertex i-1 to vertex i.
func step(line orb.LineString, i int) float64 {
	if i < 1 || i >= len(line) {
		return 0
	}
	return math.Hypot(line[i][0]-line[i-1][0], line[i][1]-line[i-1][1])
}

// uniqueNames are the names of a layer's attributes with a number behind those
// that, without regard to case, are taken already or are empty.
func uniqueNames(fields []survey.Field, added []column, taken ...string) []string {
	used := map[string]bool{}
	for _, name := range taken {
		used[strings.ToLower(name)] = true
	}
	for _, c := range added {
		used[c.name] = true
	}
	names := make([]string, len(fields))
	for i, f := range fields {
		base := cleanName(f.Name)
		name := base
		for n := 2; name == "" || used[strings.ToLower(name)]; n++ {
			name = fmt.Sprintf("%s_%d", base, n)
		}
		used[strings.ToLower(name)] = true
		names[i] = name
	}
	return names
}

// cleanName is a name from the data without control characters and bytes that
// are not UTF-8.
func cleanName(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < 0x20 || r == 0x7f {
			return -1
		}
		return r
	}, s))
}
