package publish

import (
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
)

// profiles is a row a node of the adjusted profile of every record with evidence
// of its own: where the line really lies, + to the right of the map, with one
// standard deviation, and the used readings at that place.
func (e *edition) profiles() table {
	return table{name: "profiles", columns: []column{
		textColumn("record"), lengthColumn("station_m"), offsetColumn("offset_m"), offsetColumn("offset_u_m"), integerColumn("readings"),
	}, rows: func(yield func(row) bool) {
		cells := make([]cell, 5)
		for r := range e.Survey.Records {
			p := e.profile(r)
			if p == nil || !slices.ContainsFunc(p.Nodes, func(n survey.Node) bool { return n.Readings > 0 }) {
				continue
			}
			for i := range p.Nodes {
				n := &p.Nodes[i]
				copy(cells, []cell{text(e.labels[r]), number(n.StationM), number(n.OffsetM), number(n.OffsetU), integer(n.Readings)})
				if !yield(row{cells: cells}) {
					return
				}
			}
		}
	}}
}
