package read

import "math"

// depthColumns are the one way in which a records file says how deep its lines
// are.
type depthColumns struct {
	way                      depthWay
	depth, elevation, ground cell
}

type depthWay int

const (
	depthNone            depthWay = iota
	depthCover                    // grade to the outside top
	depthToCentre                 // grade to the centre line
	depthToInvert                 // grade to the bottom
	depthInvertElevation          // elevation of the bottom, and of the ground
	depthCrownElevation           // elevation of the top, and of the ground
)

func (b *binder) depth(src *RecordsSource) depthColumns {
	switch {
	case src.Cover.Given():
		return depthColumns{way: depthCover, depth: b.cell(src.Cover)}
	case src.DepthToCentre.Given():
		return depthColumns{way: depthToCentre, depth: b.cell(src.DepthToCentre)}
	case src.DepthToInvert.Given():
		return depthColumns{way: depthToInvert, depth: b.cell(src.DepthToInvert)}
	case src.InvertElevation.Given():
		return depthColumns{way: depthInvertElevation, elevation: b.cell(src.InvertElevation), ground: b.cell(src.Ground)}
	case src.CrownElevation.Given():
		return depthColumns{way: depthCrownElevation, elevation: b.cell(src.CrownElevation), ground: b.cell(src.Ground)}
	}
	return depthColumns{}
}

// What the conversion of a stated depth errs by, one standard deviation: the
// outside diameter is the recorded one but for a share of it, since whether that is
// the nominal, the inside or the outside one is seldom said, and the wall is not
// known; the ground's elevation is a surveyed or a modelled one. Common practice,
// no source.
const (
	diameterShare = 0.05
	groundM       = 0.1
)

// cover is the depth of a record as cover to the outside top of the line, and what
// the conversion errs by:
//
//	cover                as it is
//	depth to centre      depth - diameter/2
//	depth to invert      depth - diameter
//	invert elevation     ground - invert - diameter
//	crown elevation      ground - crown
//
// The recorded diameter stands for the outside one. What cannot be converted is
// NaN and counted by its reason.
func (r *recordReader) cover(diameterM float64) (coverM, u float64) {
	d := &r.depth
	var depth, less float64
	switch d.way {
	case depthNone:
		return math.NaN(), 0
	case depthInvertElevation, depthCrownElevation:
		depth, u = r.quantity(&d.ground)-r.quantity(&d.elevation), groundM
	default:
		depth = r.quantity(&d.depth)
	}
	switch d.way {
	case depthToCentre:
		less = diameterM / 2
	case depthToInvert, depthInvertElevation:
		less = diameterM
	}
	cover := depth - less
	switch {
	case math.IsNaN(depth) && d.elevation.Given():
		r.odd.note("no cover: the elevation of the line or of the ground is not stated", "")
	case math.IsNaN(depth):
		r.odd.note("no cover: no depth is stated", "")
	case math.IsNaN(less):
		r.odd.note("no cover: a depth is stated, but no diameter to take it to the top of the line", "")
	case cover < 0:
		r.odd.note("no cover: the stated depth puts the top of the line above the ground", "")
		return math.NaN(), 0
	}
	if math.IsNaN(cover) {
		return cover, 0
	}
	return cover, math.Hypot(u, diameterShare*less)
}
