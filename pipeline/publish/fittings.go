package publish

import (
	"fmt"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// fittingColumns are the attributes that every updated fitting has beside its own.
var fittingColumns = []column{
	textColumn("asfound_id"), textColumn("asfound_status"), textColumn("asfound_record"),
	offsetColumn("asfound_moved_m"), offsetColumn("asfound_u_m"), textColumn("asfound_source"),
}

// fittingCells are the values of fittingColumns for one feature of a layer.
func (e *edition) fittingCells(layer, feature int) []cell {
	i := int(e.points[layer].records[feature])
	cells := []cell{
		text(""), text(statusUnchanged), text(""), number(0), number(math.NaN()), text(e.Survey.PointLayers[layer].Source),
	}
	if i < 0 {
		return cells
	}
	cells[0] = text(e.Survey.Fittings[i].ID)
	if len(e.FittingMoves) > 0 {
		cells[2] = text(e.label(e.FittingMoves[i].Record))
	}
	if m := e.fittingMove(i); m != nil {
		cells[1], cells[3], cells[4] = text(e.fittingStatus(m)), number(m.MovedM), number(m.U)
	}
	return cells
}

// fittingStatus is what became of a fitting that moved: what became of its line.
func (e *edition) fittingStatus(m *survey.FittingMove) string {
	if c := e.correction(m.Record); c != nil {
		return status(c)
	}
	return statusCorrected
}

// fittingGeometry is a fitting's point in its own system: as it came in, bit for
// bit, unless its line moves.
func (e *edition) fittingGeometry(layer, feature int) (geometry, error) {
	f := &e.Survey.PointLayers[layer].Features[feature]
	own := geometry{parts: f.Parts, z: f.Z}
	m := e.fittingMove(int(e.points[layer].records[feature]))
	if m == nil {
		return own, nil
	}
	at, err := e.points[layer].fromPlane.Apply(m.Point)
	if err != nil {
		return own, fmt.Errorf("fitting %s: %w", e.Survey.Fittings[m.Fitting].ID, err)
	}
	own.parts = orb.MultiLineString{{at}}
	return own, nil
}
