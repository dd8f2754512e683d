package synth

import "github.com/paulmach/orb"

// blunder is a frame or unit mistake that a whole sheet can carry. Its size and
// direction follow from the place, so that it can be recognised.
type blunder struct {
	name  string               // as the truth has it
	shift func(f Frame) vector // map minus truth
}

var blunders = []blunder{
	// Positions in ITRF2014 drawn as if they were NAD83(2011).
	{"itrf_as_nad83", func(f Frame) vector { return f.fromITRF.times(-1) }},
	// NAD27 latitudes and longitudes drawn as if they were NAD83.
	{"nad27_as_nad83", func(f Frame) vector { return f.fromNAD27.times(-1) }},
	// A number of US survey feet, converted to metres on the way with the
	// international foot: 2 ppm of the coordinates.
	{"international_foot", func(f Frame) vector {
		if f.UnitM != surveyFootM {
			return vector{}
		}
		return f.ground(times(f.Middle, 0.3048/surveyFootM-1))
	}},
	// Ground distances from the system's origin drawn as grid distances.
	{"ground_as_grid", func(f Frame) vector { return f.ground(times(f.Middle, 1/f.Scale-1)) }},
}

func times(p orb.Point, by float64) orb.Point { return orb.Point{p[0] * by, p[1] * by} }

// blunders are those that move a sheet of this frame by 0.3 to 200 m.
func (f Frame) blunders() []*blunder {
	var out []*blunder
	for i := range blunders {
		if l := blunders[i].shift(f).length(); l > 0.3 && l < 200 {
			out = append(out, &blunders[i])
		}
	}
	return out
}
