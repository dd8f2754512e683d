package match

import (
	"fmt"
	"math"
	"strings"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
)

// mistake is a mistake of frame or unit that a sheet may carry, and what to add to
// the map then: true axes, ground metres.
type mistake struct {
	name        string
	east, north float64
	toleranceM  float64 // how well the shift is known there
}

const (
	mistakeM = 3  // smaller ones are within the votes' reach
	exactM   = 3  // a shift that follows from a definition, over a region
	nad27M   = 14 // EPSG's mean shift of NAD27 is good to 10 m
	// mistakeEpoch is for frames that drift: a decade moves them by decimetres.
	mistakeEpoch = 2020
)

// knownMistakes are those that are possible for each layer of records.
func knownMistakes(s *survey.Survey) [][]mistake {
	out := make([][]mistake, len(s.Layers))
	plane, err := crs.Parse(s.Plane)
	if err != nil || !plane.Projected() {
		return append(out, nil)
	}
	first := make([]*survey.Record, len(s.Layers))
	extent := make([]orb.Bound, len(s.Layers))
	for i := range s.Records {
		r := &s.Records[i]
		if r.Layer < 0 || r.Layer >= len(first) || len(r.Parts) == 0 {
			continue
		}
		if b := r.Parts.Bound(); first[r.Layer] == nil {
			first[r.Layer], extent[r.Layer] = r, b
		} else {
			extent[r.Layer] = extent[r.Layer].Union(b)
		}
	}
	for i := range out {
		if first[i] != nil {
			out[i] = mistakesOf(s.Layers[i].CRS, plane, extent[i], first[i])
		}
	}
	return out
}

func mistakesOf(definition string, plane *crs.System, extent orb.Bound, r *survey.Record) []mistake {
	own, err := crs.Parse(definition)
	if err != nil {
		return nil
	}
	metres := plane.Metres()
	op, err := crs.NewOperation(metres, own)
	if err != nil {
		return nil
	}
	p, err := op.Apply(extent.Center())
	if err != nil {
		return nil
	}
	var out []mistake
	add := func(name string, x, y, tolerance float64) {
		// From the plane's axes to true ones.
		sin, cos := math.Sincos(r.Convergence)
		m := mistake{name: name, east: (x*cos + y*sin) / r.Scale, north: (-x*sin + y*cos) / r.Scale, toleranceM: tolerance}
		if d := math.Hypot(m.east, m.north); d > mistakeM && d < blunderM {
			out = append(out, m)
		}
	}
	hypotheses := func(stated *crs.System, p orb.Point) {
		hs, err := crs.Hypotheses([]orb.Point{p}, stated, metres, extent, crs.Options{Epoch: mistakeEpoch})
		if err != nil {
			return
		}
		for i := range hs {
			tolerance := float64(exactM)
			if strings.HasPrefix(hs[i].Name, "NAD27") {
				tolerance = nad27M
			}
			if d := hs[i].ShiftM; !math.IsNaN(d[0] + d[1]) {
				add(hs[i].Name, d[0], d[1], tolerance)
			}
		}
	}
	hypotheses(own, p)
	// A sheet may also have been put into its grid from degrees of another frame.
	if own.Projected() {
		degrees := own.Geographic()
		if op, err := crs.NewOperation(own, degrees); err == nil {
			if q, err := op.Apply(p); err == nil {
				hypotheses(degrees, q)
			}
		}
	}
	if own.Projected() && r.Scale > 0 {
		u := own.UnitM()
		add(fmt.Sprintf("ground distances drawn as grid distances, at scale %.6f", r.Scale), p[0]*u*(1-1/r.Scale), p[1]*u*(1-1/r.Scale), exactM)
		add("grid distances drawn as ground distances", p[0]*u*(1/r.Scale-1), p[1]*u*(1/r.Scale-1), exactM)
	}
	return out
}
