package read

import (
	"fmt"
	"math"

	"github.com/asfound/asfound/internal/crs"
	"github.com/paulmach/orb"
)

// positions reads where the rows of one table lie.
type positions struct {
	points    pair
	elevation cell
	accuracy  cell
	perAxis   float64 // from the stated accuracy to one standard deviation per axis
	source    cell
}

// pair is a position of a row: two columns, or the row's own point.
type pair struct {
	x, y       cell
	own        bool // the row's own point
	log        *positionLog
	geographic bool
	to         projection
	sample     *sample // what the file's positions are like; nil where nobody asks
}

func (b *binder) positions(p Positions, pl *plane, system *crs.System, epoch float64) positions {
	out := positions{
		points:    b.pair([4]Column{p.Latitude, p.Longitude, p.Easting, p.Northing}, pl, system, epoch),
		elevation: b.cell(p.Elevation),
		accuracy:  b.cell(p.Accuracy),
		source:    b.cell(p.Source),
		perAxis:   1,
	}
	if p.Accuracy.Given() {
		factor, err := p.AccuracyMeans.perAxis()
		if err != nil {
			b.problems = append(b.problems, err)
		}
		out.perAxis = factor
	}
	return out
}

// perAxis is the factor from a stated accuracy to one standard deviation per
// axis, for errors that are normal, alike and independent in both axes:
// 1/sqrt 2 of the radial rms, 1/sqrt(-2 ln 0.05) of the radius of the 95 %
// circle (Rayleigh), 1/1.959964 of the half-width of the 95 % interval (normal).
func (a Accuracy) perAxis() (float64, error) {
	switch a {
	case AccuracyRMS2D:
		return 1 / math.Sqrt2, nil
	case AccuracySigma1D:
		return 1, nil
	case Accuracy95R:
		return 1 / math.Sqrt(-2*math.Log(0.05)), nil
	case Accuracy95L:
		return 1 / (math.Sqrt2 * math.Erfinv(0.95)), nil
	}
	return 0, fmt.Errorf("the stated accuracy has no meaning: give one of %s, %s, %s, %s",
		AccuracyRMS2D, AccuracySigma1D, Accuracy95R, Accuracy95L)
}

// pair binds the columns of a position: latitude and longitude, on the system's
// geographic base, or easting and northing, in the system's own unit unless the
// columns have one of their own.
func (b *binder) pair(columns [4]Column, pl *plane, system *crs.System, epoch float64) (p pair) {
	latitude, longitude, easting, northing := columns[0], columns[1], columns[2], columns[3]
	from := system
	switch {
	case latitude.Mapped() && longitude.Mapped():
		p.x, p.y, p.geographic = b.cell(longitude), b.cell(latitude), true
		from = system.Geographic()
	case easting.Mapped() && northing.Mapped():
		unit := [2]float64{easting.Factor, northing.Factor}
		easting.Factor, northing.Factor = 0, 0 // the system has the unit
		p.x, p.y = b.cell(easting), b.cell(northing)
		if !system.Projected() {
			b.problem("%s is geographic and has no easting and northing: name the projected system they are in", system.Name())
			return p
		}
		if unit[0] != unit[1] {
			b.problem("easting and northing must have the same unit, or both none")
		}
		if unit[0] != 0 {
			var err error
			if from, err = system.InUnit(unit[0]); err != nil {
				b.problems = append(b.problems, err)
				return p
			}
		}
	case b.log != nil:
		p.log, p.geographic = b.log, true
		from = system.Geographic()
	case b.table.located:
		p.own, p.geographic = true, !system.Projected()
	default:
		b.problem("no columns for the position: map latitude and longitude, or easting and northing")
		return p
	}
	to, err := pl.projection(from, epoch)
	if err != nil {
		b.problems = append(b.problems, err)
	}
	p.to = to
	return p
}

// point is a row's position in the working plane.
func (c *cells) point(p *pair) orb.Point {
	if p.own {
		return c.place(p, c.row.point)
	}
	at := orb.Point{c.number(&p.x), c.number(&p.y)}
	for i, b := range []*cell{&p.x, &p.y} {
		if math.IsNaN(at[i]) {
			c.fail(b, c.raw(b), "has no position")
		}
	}
	return c.place(p, at)
}

// place takes a position to the working plane.
func (c *cells) place(p *pair, at orb.Point) orb.Point {
	if p.sample != nil {
		p.sample.add(at)
	}
	if p.own && !finite(at) {
		c.fail(&p.x, "", "has no position")
	}
	if p.geographic {
		c.checkDegrees(p, at)
	}
	if !c.ok() {
		return orb.Point{}
	}
	to, why := p.to.apply(at)
	if why != "" {
		c.fail(&p.y, fmt.Sprintf("%v, %v", at[0], at[1]), why)
	}
	return to
}

func (c *cells) checkDegrees(p *pair, at orb.Point) {
	show := func(v float64) string { return fmt.Sprint(v) }
	switch {
	case at[1] < -90 || at[1] > 90:
		c.fail(&p.y, show(at[1]), "latitude is beyond 90 degrees: are the columns exchanged, or in another system?")
	case at[0] < -180 || at[0] > 180:
		c.fail(&p.x, show(at[0]), "longitude is beyond 180 degrees: are the columns in another system?")
	case at[0] == 0 && at[1] == 0:
		c.fail(&p.y, "0, 0", "has no position (a receiver without one writes 0, 0)")
	}
}

// sigma is the stated accuracy as one standard deviation per axis; NaN where
// none is stated.
func (c *cells) sigma(p *positions) float64 {
	v := c.size(&p.accuracy)
	if v == 0 {
		c.odd.note(p.accuracy.Name+": an accuracy of 0 is taken as not stated", "")
		return math.NaN()
	}
	return v * p.perAxis
}

// height is the elevation of a row, of the column or of its own point.
func (c *cells) height(p *positions) float64 {
	if !p.elevation.Given() && p.points.own {
		return c.row.elevation
	}
	return c.number(&p.elevation)
}
