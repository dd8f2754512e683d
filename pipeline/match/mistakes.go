package match

import (
	"math"

	"github.com/asfound/asfound/internal/mistakes"
	"github.com/asfound/asfound/pipeline/survey"
)

// mistake is a mistake of frame or unit that a sheet may carry, and what to add to
// the map then: true axes, ground metres.
type mistake struct {
	east, north float64
	toleranceM  float64 // how well the shift is known there
}

const (
	mistakeM = 3  // smaller ones are within the votes' reach
	exactM   = 3  // a shift that is known well, over a region
	roughM   = 14 // one that is known to metres: EPSG's mean shift of NAD27 is good to 10 m
)

// knownMistakes are those that are possible for each layer of records.
func knownMistakes(s *survey.Survey) [][]mistake {
	out := make([][]mistake, len(s.Layers))
	for i, found := range mistakes.OfRecords(s, mistakes.Epoch) {
		for _, k := range found {
			m := mistake{k.East, k.North, exactM}
			if k.U > 1 {
				m.toleranceM = roughM
			}
			if d := math.Hypot(m.east, m.north); d > mistakeM && d < blunderM {
				out[i] = append(out[i], m)
			}
		}
	}
	return append(out, nil) // for records without a layer
}
