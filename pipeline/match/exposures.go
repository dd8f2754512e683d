package match

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/pipeline/survey"
)

// Exposures finds the record that each exposed line is: the nearest one of its
// utility, on the map as the earlier rounds have moved it (prior; nil in the
// first), where no other comes into question. A surveyed fitting is the record
// that the map has it on. The result has one Match an exposure; what is held out of
// the adjustment has the status check.
func Exposures(s *survey.Survey, prior *survey.Model, o Options) []survey.Match {
	out := make([]survey.Match, len(s.Exposures))
	if len(out) == 0 {
		return out
	}
	m := &exposedMap{s: s, prior: prior, o: o, fittings: s.FittingsByID()}
	var segs []spatial.Segment
	for r := range s.Records {
		for _, part := range s.Records[r].Parts {
			for k := 1; k < len(part); k++ {
				segs = append(segs, spatial.Segment{A: part[k-1], B: part[k]})
				m.owner = append(m.owner, r)
			}
		}
	}
	m.index = spatial.New(segs, 10)
	for i := range out {
		e := &s.Exposures[i]
		if e.Fitting != "" {
			out[i] = m.fitting(e)
		} else {
			out[i] = m.exposed(e)
		}
		if e.Check && out[i].Status == survey.StatusUsed {
			out[i].Status = survey.StatusCheck
		}
	}
	return out
}

// exposedMap is the map as exposures are matched to it.
type exposedMap struct {
	s        *survey.Survey
	prior    *survey.Model
	o        Options
	index    *spatial.Index
	owner    []int                      // record of each segment
	fittings map[string]*survey.Fitting // by id; nil: more than one has it
}

// onFittingM is how far from its line a fitting may be drawn.
const onFittingM = 0.5

// fitting matches the exposure of a fitting: to the record that it is drawn on,
// at the place where it is.
func (m *exposedMap) fitting(e *survey.Exposure) survey.Match {
	f, known := m.fittings[e.Fitting]
	if f == nil {
		reason := fmt.Sprintf("no fitting %s on the map", e.Fitting)
		if known {
			reason = fmt.Sprintf("several fittings on the map are called %s", e.Fitting)
		}
		return unmatched(survey.StatusAmbiguous, reason)
	}
	best := unmatched(survey.StatusUnmapped, fmt.Sprintf("fitting %s is drawn on no record", e.Fitting))
	nearest := onFittingM
	for _, r := range m.near(f.Point, onFittingM, cmp.Or(e.Utility, f.Utility)) {
		line := lineref.New(m.s.Records[r].Parts, m.s.Records[r].Scale)
		foot, _ := line.Nearest(f.Point)
		if d := math.Abs(foot.OffsetM); d < nearest {
			nearest = d
			best = used(r, foot)
			best.AtEnd = false // both components are seen
		}
	}
	return best
}

// candidateRecord is one that an exposed line may be.
type candidateRecord struct {
	record int
	foot   lineref.Foot // on the record as it is drawn
	weight float64
}

// exposed matches a line exposed somewhere along its length.
func (m *exposedMap) exposed(e *survey.Exposure) survey.Match {
	var cs []candidateRecord
	none := m.o.UnmappedShare / (2 * m.o.SearchRadiusM) // as likely at one distance as at another
	sum := none
	for _, r := range m.near(e.Point, m.o.SearchRadiusM, e.Utility) {
		c := m.weigh(r, e)
		cs = append(cs, c)
		sum += c.weight
	}
	if len(cs) == 0 {
		return unmatched(survey.StatusUnmapped, fmt.Sprintf("no record within %g m", m.o.SearchRadiusM))
	}
	best := slices.MaxFunc(cs, func(a, b candidateRecord) int { return cmp.Compare(a.weight, b.weight) })
	p := best.weight / sum
	switch {
	case none/sum >= m.o.MinProbability:
		return unmatched(survey.StatusUnmapped, "fits no record")
	case p < m.o.MinProbability:
		return unmatched(survey.StatusAmbiguous, fmt.Sprintf("probability %.2f that it is record %s, under %.2f", p, m.s.Records[best.record].ID, m.o.MinProbability))
	}
	match := used(best.record, best.foot)
	match.Probability = p
	return match
}

// weigh says how likely a record is to lie where the line was exposed: its offset
// from the displaced record has a Student-t distribution of three degrees of
// freedom, as wide as the model is unsure.
func (m *exposedMap) weigh(r int, e *survey.Exposure) candidateRecord {
	rec := &m.s.Records[r]
	line := lineref.New(rec.Parts, rec.Scale)
	foot, _ := line.Nearest(e.Point)
	scale2 := m.o.SheetM*m.o.SheetM + m.o.OwnM*m.o.OwnM + m.o.LocalM*m.o.LocalM
	displaced := foot
	if node := m.nodeAt(r, foot); node != nil {
		sin, cos := math.Sincos(rec.Convergence)
		east, north := node.D.East, node.D.North
		at := orb.Point{e.Point[0] - (east*cos-north*sin)*line.Scale, e.Point[1] - (north*cos+east*sin)*line.Scale}
		displaced, _ = line.Nearest(at)
		foot = line.OnSegment(displaced.Part, displaced.Segment, e.Point)
		foot.StationM, foot.Square = displaced.StationM, displaced.Square
		scale2 = node.OffsetU * node.OffsetU
	}
	sigma := m.o.AccuracyFactor * e.SigmaM
	if !(sigma > 0) {
		sigma = m.o.DefaultSigmaM
	}
	scale2 += sigma*sigma + m.o.PoleM*m.o.PoleM
	q := displaced.OffsetM * displaced.OffsetM / scale2
	return candidateRecord{r, foot, math.Pow(1+q/3, -2) / math.Sqrt(scale2)}
}

// nodeAt is the node of a record's profile nearest to a foot point.
func (m *exposedMap) nodeAt(r int, f lineref.Foot) *survey.Node {
	if m.prior == nil || r >= len(m.prior.Profiles) {
		return nil
	}
	var best *survey.Node
	nodes := m.prior.Profiles[r].Nodes
	for k := range nodes {
		n := &nodes[k]
		if n.Part == f.Part && (best == nil || math.Abs(n.StationM-f.StationM) < math.Abs(best.StationM-f.StationM)) {
			best = n
		}
	}
	return best
}

// near lists the records of a utility ("" any) within a distance, by key.
func (m *exposedMap) near(p orb.Point, radiusM float64, utility string) []int {
	var out []int
	for _, id := range m.index.Within(p, radiusM, nil) {
		r := m.owner[id]
		if !foreign(utility, m.s.Records[r].Utility) && !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	slices.SortFunc(out, func(a, b int) int { return cmp.Compare(m.s.Records[a].Key(), m.s.Records[b].Key()) })
	return out
}

func used(record int, f lineref.Foot) survey.Match {
	return survey.Match{
		Record: record, Part: f.Part, Segment: f.Segment, StationM: f.StationM, OffsetM: f.OffsetM, AtEnd: !f.Square,
		Probability: 1, Status: survey.StatusUsed, Inflate: 1,
	}
}

func unmatched(status survey.Status, reason string) survey.Match {
	return survey.Match{Record: -1, Status: status, Reason: reason, Inflate: 1, StationM: math.NaN(), OffsetM: math.NaN()}
}
