package synth

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
)

// layerDiameterM is what lines get that come without attributes.
const layerDiameterM = 0.15

// OverLayer makes a town whose lines are a layer's, in the layer's projected
// system: they are the truth, the map is drawn over them as over made-up ones. A
// part of a multipart line is a line of its own; deleted and null rows are left
// out. The lines get one utility, which a signal can be put on, and no
// attributes of the layer.
func OverLayer(l *shapefile.Layer, utility string, seed uint64, p Params) (*Town, error) {
	if l.Projection == "" {
		return nil, fmt.Errorf("%s: no .prj says which system its coordinates are in", l.Name)
	}
	s, err := crs.Parse(l.Projection)
	if err != nil {
		return nil, fmt.Errorf("%s: .prj: %w", l.Name, err)
	}
	if !s.Projected() {
		return nil, fmt.Errorf("%s: its coordinates are longitudes and latitudes (%s): lines of a projected system are wanted", l.Name, s.Name())
	}
	habit := habitOf(utility)
	var lines []TrueLine
	var bound orb.Bound
	for i := range l.Rows {
		if l.Rows[i].Deleted {
			continue
		}
		for _, part := range l.Rows[i].Parts {
			line := TrueLine{Utility: utility, Material: habit.metal, Conductor: survey.ConductorPipe, DiameterM: layerDiameterM}
			for _, q := range part {
				if math.IsNaN(q[0]) || math.IsNaN(q[1]) {
					return nil, fmt.Errorf("%s: row %d: a vertex without coordinates", l.Name, l.Rows[i].Number)
				}
				line.Points = append(line.Points, times(q, s.UnitM()))
			}
			if len(line.Points) < 2 {
				continue
			}
			if len(lines) == 0 {
				bound = line.Points.Bound()
			}
			lines, bound = append(lines, line), bound.Union(line.Points.Bound())
		}
	}
	if len(lines) == 0 {
		return nil, fmt.Errorf("%s: no line in it", l.Name)
	}
	f, err := frameOf(s, l.Projection, bound.Center())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", l.Name, err)
	}
	return Over(lines, f, seed, p), nil
}

// frameOf is the frame of a projected system about a point, metres of its plane.
// What becomes of coordinates in another frame of reference is not known of it,
// so that of the blunders only those of units and of the grid are possible.
func frameOf(s *crs.System, projection string, middle orb.Point) (Frame, error) {
	scale, convergence, err := s.Factors(times(middle, 1/s.UnitM()))
	if err != nil {
		return Frame{}, err
	}
	return Frame{
		Name: s.Name(), CRS: s.Definition(), Plane: s.Metres().Definition(), Geographic: s.Geographic().Definition(),
		Projection: projection, UnitM: s.UnitM(), Middle: middle, Scale: scale, Convergence: convergence,
	}, nil
}
