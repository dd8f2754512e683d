package judge

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// A sonde's field falls with the third power of the distance, a line's with the
// first. A receiver that is left in a line mode over a sonde makes 0.23 m of 1.0 m.
// Walks are held against the recorded covers: read as what they say, and read as
// that mistake. Shares are common practice, no source.
const (
	lineModeShare = 0.05 // of sonde walks
	sondeU        = 0.15 // of a record's cover by a sonde's depths: ups and downs of the line, where the sonde lies in the pipe
)

// sondeDepths is a record whose depths are all a sonde's.
type sondeDepths struct {
	readings int
	depthM   float64 // if the receiver was in a line mode
	lineMode float64 // how likely that is
}

// fromLineMode is the depth of a sonde that a receiver in a line mode made depthM of,
// its coils coilsM apart. The ratio of the coils' signals is 1 + s/d after the
// formula for lines, d = s/(ratio - 1), and ((d + s)/d)^3 over a sonde.
func fromLineMode(depthM, coilsM float64) float64 {
	return coilsM / (math.Cbrt(1+coilsM/depthM) - 1)
}

// sondes are the records whose depths are all a sonde's; nil entries have others.
func (o *Options) sondes(s *survey.Survey, matches [][]survey.Match) []*sondeDepths {
	depths, others := make([][]float64, len(s.Records)), make([]bool, len(s.Records))
	lineMode := make([]float64, len(s.Records)) // how likely it is of the likeliest walk on a record
	for t := range matches {
		walk := map[int][]float64{}
		for i := range matches[t] {
			m, rd := &matches[t][i], &s.Traces[t].Readings[i]
			switch {
			case m.Record < 0 || math.IsNaN(rd.DepthM) || m.Status != survey.StatusUsed && m.Status != survey.StatusSonde:
			case rd.Mode != survey.ModeSonde || !(rd.DepthM > 0):
				others[m.Record] = true
			default:
				walk[m.Record] = append(walk[m.Record], rd.DepthM)
			}
		}
		likely := 1 / (1 + math.Exp(-o.lineModeOdds(s, walk)))
		for r, ds := range walk {
			depths[r] = append(depths[r], ds...)
			lineMode[r] = max(lineMode[r], likely)
		}
	}
	out := make([]*sondeDepths, len(s.Records))
	for r, ds := range depths {
		if len(ds) > 0 && !others[r] {
			out[r] = &sondeDepths{readings: len(ds), depthM: fromLineMode(estimate.Median(ds), o.CoilsM), lineMode: lineMode[r]}
		}
	}
	return out
}

// lineModeOdds are the log odds that one walk's depths of a sonde were read in a line
// mode, by the covers that the map has of the records.
func (o *Options) lineModeOdds(s *survey.Survey, walk map[int][]float64) float64 {
	log := math.Log(lineModeShare / (1 - lineModeShare))
	for _, r := range slices.Sorted(maps.Keys(walk)) {
		rec := &s.Records[r]
		if math.IsNaN(rec.CoverM) || math.IsNaN(rec.DiameterM) {
			continue
		}
		read := estimate.Median(walk[r])
		as := func(depthM float64) float64 {
			c := toldCover{differs: depthM - rec.DiameterM/2 - rec.CoverM, u: sondeU}
			return c.likely(0)
		}
		log += as(fromLineMode(read, o.CoilsM)) - as(read)
	}
	return log
}

// words say of a depth finding what a sonde's mode may have to do with it.
func (d *sondeDepths) words(rec *survey.Record) string {
	cover := d.depthM - rec.DiameterM/2
	if d.lineMode >= patternSure {
		return fmt.Sprintf(" But all %s are a sonde's, and look as if the receiver had been in a line mode: read as a sonde's they would put the cover at %.2f m.", words.Count(d.readings, "depth"), cover)
	}
	return fmt.Sprintf(" All %s are a sonde's: had the receiver been in a line mode, which these depths do not show, the cover would be %.2f m.", words.Count(d.readings, "depth"), cover)
}
