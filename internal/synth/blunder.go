package synth

import "math"

// blunder is a frame or unit mistake that a whole sheet can carry, with a size
// that can be recognised.
type blunder struct {
	name  string
	about string
	// shift is map minus truth, true east and north, for a town in a frame.
	shift func(f Frame) vector
}

// blunders are the mistakes that leave a sheet within 200 m.
var blunders = []blunder{
	{
		"frame", "positions of ITRF2014 at epoch 2020 drawn as if they were NAD83(2011): 0.98 m east, -0.70 m north at 40 N 100 W in 2010",
		func(Frame) vector { return vector{-1.0, 0.75} },
	},
	{
		"foot", "coordinates in international feet read as US survey feet (or the other way in metres: 2 ppm of the coordinates)",
		func(f Frame) vector {
			// The same number of feet, each 2.000004 ppm longer.
			const ppm = 1200.0/3937/0.3048 - 1
			return f.ground([2]float64{f.Middle[0] * ppm, f.Middle[1] * ppm})
		},
	},
	{
		"datum", "NAD27 latitudes and longitudes taken for NAD83: 10 to 100 m",
		func(f Frame) vector { return vector{-11 - math.Mod(f.Middle[0], 7), 6 + math.Mod(f.Middle[1], 11)} },
	},
	{
		"ground", "ground distances from the system's origin taken for grid distances",
		func(f Frame) vector {
			k := 1/f.Scale - 1
			return f.ground([2]float64{f.Middle[0] * k, f.Middle[1] * k})
		},
	},
}

// blunders are those that a sheet of this frame can carry: sheets come out of
// them with the shift of a few metres to 200 m, never more.
func (f Frame) blunders() []*blunder {
	var out []*blunder
	for i := range blunders {
		if l := blunders[i].shift(f).length(); l > 0.3 && l < 200 {
			out = append(out, &blunders[i])
		}
	}
	return out
}
