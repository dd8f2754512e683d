package correct

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// crossings are the places where a record crosses itself more often than it did.
func (w *network) crossings(r int) (out []change) {
	p := &w.plans[r]
	for part := range w.built[r] {
		cp := &w.built[r][part]
		now := selfCrossings(cp.Line)
		if len(now) == 0 || len(now) <= len(selfCrossings(p.rec.Parts[part])) {
			continue
		}
		for _, at := range now {
			out = append(out, change{
				kind: crossesItself, left: 0.5, beside: stretch{record: -1},
				on: stretch{r, survey.Span{Part: part, FromM: cp.StationM[at[0]], ToM: cp.StationM[at[1]+1]}},
			})
		}
	}
	return out
}

// selfCrossings are the pairs of a line's segments that cross each other.
func selfCrossings(line orb.LineString) (out [][2]int) {
	for i := 0; i+3 < len(line); i++ {
		west, east := math.Min(line[i][0], line[i+1][0]), math.Max(line[i][0], line[i+1][0])
		for k := i + 2; k+1 < len(line); k++ {
			a, b := line[k], line[k+1]
			if a[0] > east && b[0] > east || a[0] < west && b[0] < west {
				continue
			}
			if crosses(line[i], line[i+1], a, b) {
				out = append(out, [2]int{i, k})
			}
		}
	}
	return out
}

// crosses says whether two segments cross inside both.
func crosses(a, b, c, d orb.Point) bool {
	side := func(a, b, p orb.Point) float64 { return (b[0]-a[0])*(p[1]-a[1]) - (b[1]-a[1])*(p[0]-a[0]) }
	return side(a, b, c)*side(a, b, d) < 0 && side(c, d, a)*side(c, d, b) < 0
}
