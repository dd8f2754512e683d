package crs

// Grid is a datum shift grid.
type Grid struct {
	AccuracyM float64
	name      string
	from, to  *datum
}

func (g *Grid) apply(p geodetic) geodetic { return geodetic{nan, nan, nan} }
