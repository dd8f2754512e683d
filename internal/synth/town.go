// Package synth makes towns whose truth is known: lines in the ground, a map
// of them with the errors that maps have, and crews that walk them with the
// errors that crews have. What a receiver shows comes out of the fields of the
// line currents (package physics). Everything follows from a seed; the same
// seed gives the same bytes.
//
//	streets ─▶ true lines ─▶ sheets ─▶ records, valves (the map) ┐
//	                │                                            ├─▶ Survey, or files
//	                └──────▶ crews ─▶ traces ─▶ readings, marks  ┤
//	                └──────▶ test holes                          ┘
//
// What the physics leaves out: lines are long and straight against their depth,
// so a reading at a sharp bend is as good as one elsewhere; lines that cross
// steeply are not felt; the ground conducts no current of its own.
//
// Nothing here is drawn from the model that the adjustment assumes: a record's
// local errors are single mistakes (a bump, a kink, the wrong side of the
// street, a stretch copied from a neighbour), never a stationary process.
package synth

import (
	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// Town is a made-up town: what a user would hand in, and the truth.
type Town struct {
	Name   string
	Seed   uint64
	Params Params
	Frame  Frame
	Truth  Truth

	// Of the survey's marks, exposures and fittings, in the same order, what they
	// are of.
	Marks    []Mark
	Holes    []Hole
	Fittings []Fitting

	survey *survey.Survey
	// Per record: what the map really says where the Survey says "nothing".
	sheetTexts []string
}

// Mark is a paint mark, flag or stake.
type Mark struct {
	survey.Mark
	Line int // the true line that it is meant for
}

// Hole is a line exposed and surveyed.
type Hole struct {
	survey.Exposure
	Line int
}

// Fitting is a valve of the map.
type Fitting struct {
	survey.Fitting
	Line int
	True orb.Point // where it really is, in the plane
}

// Survey is the town as the stages after reading take it. It is the town's own:
// whoever changes it changes the town.
func (t *Town) Survey() *survey.Survey { return t.survey }

// Make makes a town from a seed.
func Make(seed uint64, p Params) *Town {
	f := Frames[roll(seed, phaseTown, 0).IntN(len(Frames))]
	return build(seed, p, f, layLines(seed, p.Network))
}

// Over makes a town from true lines given in a frame's plane (grid metres), for
// instance read from a map that stands in for the truth. Lines without covers
// get 1 m; lines with fewer than two distinct points are left out. The network
// parameters are not used.
func Over(lines []TrueLine, f Frame, seed uint64, p Params) *Town {
	var own []TrueLine
	for _, l := range lines {
		pts := make(orb.LineString, 0, len(l.Points))
		var cover []float64
		for i, q := range l.Points {
			if q = f.toSite(q); len(pts) > 0 && distance(pts[len(pts)-1], q) < 1e-3 {
				continue
			}
			c := 1.0
			if len(l.CoverM) == len(l.Points) {
				c = l.CoverM[i]
			}
			pts, cover = append(pts, q), append(cover, c)
		}
		if len(pts) < 2 {
			continue
		}
		l.Points, l.CoverM, l.sideM = pts, cover, nan
		own = append(own, l)
	}
	return build(seed, p, f, own)
}

// build makes the map and sends out the crews over lines in the site frame.
func build(seed uint64, p Params, f Frame, lines []TrueLine) *Town {
	t := &Town{Name: name(seed), Seed: seed, Params: p, Frame: f, survey: &survey.Survey{Plane: f.Plane}}
	topo := newTopology(lines)
	areas := sweeps(seed, p.Crews, topo)
	m := drawMap(seed, p.Map, f, topo, areas)
	t.publishMap(topo, m)
	t.publishAreas(areas, m.records)
	t.placeFittings(topo)
	sendCrews(t, topo, areas)
	return t
}
