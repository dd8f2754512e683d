// Package mistakes lists the mistakes of frame, unit and axes that are possible
// where a job is, as what to add to coordinates made under them.
package mistakes

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// Shifts smaller than leastM nobody sees, larger ones than mostM take a sheet
// away from everything.
const (
	leastM = 0.1
	mostM  = 1000
)

// How well a shift is known, one standard deviation per axis.
const (
	exactM = 0.02 // that follows from a definition: what it differs by over a town
	driftM = 0.1  // of frames that drift apart by 1 to 2 cm a year, within some years of the epoch
	nad27M = 10   // EPSG's mean shifts of NAD27
)

// Epoch is the one taken for frames that drift, where nobody knows better.
const Epoch = 2020

// OfRecords are the mistakes that are possible for each layer of records, with
// positions of drifting frames at an epoch (a decimal year).
func OfRecords(s *survey.Survey, epoch float64) [][]survey.Mistake {
	out := make([][]survey.Mistake, len(s.Layers))
	places := places(s, epoch)
	for i, p := range places {
		if p == nil {
			continue
		}
		if own, err := crs.Parse(s.Layers[i].CRS); err == nil {
			out[i] = p.drawnIn(own)
		}
	}
	return out
}

// OfPositions are the mistakes of frame that are possible for positions where the
// records are: coordinates of another frame taken for the plane's.
func OfPositions(s *survey.Survey, epoch float64) []survey.Mistake {
	for _, p := range places(s, epoch) {
		if p != nil {
			p.hypotheses(p.plane.Geographic())
			return p.found
		}
	}
	return nil
}

// place is where the records of a layer lie, and the mistakes found there.
type place struct {
	plane  *crs.System // in metres
	extent orb.Bound   // in it
	record *survey.Record
	epoch  float64
	found  []survey.Mistake
}

// places are those of every layer; nil where a layer has no records, or the
// plane is not known.
func places(s *survey.Survey, epoch float64) []*place {
	out := make([]*place, len(s.Layers))
	plane, err := crs.Parse(s.Plane)
	if err != nil || !plane.Projected() {
		return out
	}
	for i := range s.Records {
		r := &s.Records[i]
		if r.Layer < 0 || r.Layer >= len(out) || len(r.Parts) == 0 {
			continue
		}
		if p := out[r.Layer]; p == nil {
			out[r.Layer] = &place{plane: plane.Metres(), extent: r.Parts.Bound(), record: r, epoch: epoch}
		} else {
			p.extent = p.extent.Union(r.Parts.Bound())
		}
	}
	return out
}

// drawnIn are the mistakes of a layer that is drawn in a system.
func (p *place) drawnIn(own *crs.System) []survey.Mistake {
	at, ok := p.hypotheses(own)
	if !ok {
		return nil
	}
	if own.Projected() {
		// A sheet may also have been put into its grid from degrees of another frame.
		p.hypotheses(own.Geographic())
		if scale := p.record.Scale; scale > 0 {
			x, y := at[0]*own.UnitM(), at[1]*own.UnitM()
			p.add(fmt.Sprintf("ground distances drawn as grid distances, at scale %.6f", scale), x*(1-1/scale), y*(1-1/scale), exactM)
			p.add("grid distances drawn as ground distances", x*(1/scale-1), y*(1/scale-1), exactM)
		}
	}
	return p.found
}

// hypotheses adds what the place's coordinates in a system become under every
// mistake, and returns the coordinates.
func (p *place) hypotheses(stated *crs.System) (at orb.Point, ok bool) {
	op, err := crs.NewOperation(p.plane, stated)
	if err != nil {
		return at, false
	}
	if at, err = op.Apply(p.extent.Center()); err != nil {
		return at, false
	}
	hs, err := crs.Hypotheses([]orb.Point{at}, stated, p.plane, p.extent, crs.Options{Epoch: p.epoch})
	if err != nil {
		return at, false
	}
	for i := range hs {
		u := exactM
		switch name := hs[i].Name; {
		case strings.Contains(name, "NAD27"):
			u = nad27M
		case strings.Contains(name, "ITRF"):
			u = driftM
		}
		p.add(hs[i].Name, hs[i].ShiftM[0], hs[i].ShiftM[1], u)
	}
	return at, true
}

// add adds a mistake by its shift along the plane's axes, turned into true ones.
// One that a place's grid and its degrees both come to is added once.
func (p *place) add(name string, x, y, u float64) {
	east, north := survey.True(orb.Point{x, y}, p.record.Convergence)
	m := survey.Mistake{Name: name, East: east / p.record.Scale, North: north / p.record.Scale, U: u}
	twice := slices.ContainsFunc(p.found, func(k survey.Mistake) bool {
		return k.Name == name && math.Hypot(k.East-m.East, k.North-m.North) < exactM
	})
	if d := math.Hypot(m.East, m.North); d > leastM && d < mostM && !twice {
		p.found = append(p.found, m)
	}
}
