package adjust

import (
	"cmp"
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// exposedSigma is the standard deviation per axis of a surveyed line or fitting:
// its position and the pole on it. Nothing stands between them.
func (o *Options) exposedSigma(e *survey.Exposure) float64 {
	return math.Hypot(o.position(e.SigmaM), o.PoleM)
}

// byPlace is the order of the exposures that does not depend on the input's.
func byPlace(es []survey.Exposure) []int {
	return orderOf(len(es), func(a, b int) int {
		x, y := &es[a], &es[b]
		return cmp.Or(cmp.Compare(x.Session, y.Session), x.Time.Compare(y.Time), cmp.Compare(x.ID, y.ID),
			cmp.Compare(x.Point[0], y.Point[0]), cmp.Compare(x.Point[1], y.Point[1]))
	})
}

// addExposures adds the exposures that were matched: one equation across the line,
// or one along each axis where a fitting tells of both.
func (ev *evidence) addExposures(s *survey.Survey, exposed []survey.Match, n *network, o Options) {
	if len(exposed) == 0 {
		return
	}
	for _, i := range byPlace(s.Exposures) {
		m, e := &exposed[i], &s.Exposures[i]
		if m.Status != survey.StatusUsed || m.AtEnd {
			continue
		}
		rn := &n.records[m.Record]
		at, alpha := rn.between(m.Part, m.StationM)
		ob := observation{
			trace: -1, reading: int32(i), record: int32(m.Record), point: e.Point, node: int32(at), alpha: alpha,
			bias: -1, knot: -1, session: int32(ev.setups[setup{e.Session, e.Positions}]), weight: 1, sigma: o.exposedSigma(e),
		}
		if e.Fitting == "" {
			ob.measure(rn, m.Part, m.Segment, m.StationM)
			ev.obs = append(ev.obs, ob)
			continue
		}
		// As the map has it: beside its line, if it is drawn so.
		drawn := rn.line.AtPart(m.Part, m.Segment, m.StationM)
		east, north := rn.axes.ground(e.Point[0]-drawn[0], e.Point[1]-drawn[1])
		right, up := rn.axes.right(&rn.line, m.Part, m.Segment)
		ob.fixed = true
		ob.east, ob.north, ob.value = 1, 0, east-m.OffsetM*right
		ev.obs = append(ev.obs, ob)
		ob.east, ob.north, ob.value = 0, 1, north-m.OffsetM*up
		ev.obs = append(ev.obs, ob)
	}
}
