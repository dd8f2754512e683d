package match

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// sample is one reading of a straight piece of a trace, looked at before the
// matching proper to learn how whole sheets and sessions lie.
type sample struct {
	trace   int32 // rank of the trace among all, by its id
	session int32
	source  string // of its positions
	views   []view // none where no record of its utility runs along it

	p       orb.Point
	course  heading
	utility utility
}

// view is one record that a sample may belong to: it runs the same way and is of
// the trace's utility.
type view struct {
	rec         int32
	sheet       int32
	offset      float64 // ground metres, + right of the record
	east, north float64 // the record's normal, + right, true axes
}

// nearest is the view of the record that lies nearest; a sample has one at least.
func (s *sample) nearest() *view {
	best := &s.views[0]
	for k := range s.views {
		if v := &s.views[k]; math.Abs(v.offset) < math.Abs(best.offset) {
			best = v
		}
	}
	return best
}

const (
	sampleM     = 8    // ground metres of a walk between two samples
	straightCos = 0.97 // headings before and after a sample agree within 14 degrees
	alongCos    = 0.94 // a record runs the same way as a walk within 20 degrees
	maxViews    = 12
)

// samples takes them from every labelled trace, in the order of the traces' ids,
// with the records within radiusM of each.
func (n *network) samples(s *survey.Survey, sessions map[string]int32, radiusM float64, workers int) []sample {
	order := traceOrder(s.Traces)
	perTrace := make([][]sample, len(order))
	parallel.Each(len(order), workers, func() func(int) {
		c := &chain{net: &web{network: n}}
		return func(i int) {
			perTrace[i] = c.sampleTrace(&s.Traces[order[i]], int32(i), sessions, radiusM)
		}
	})
	return slices.Concat(perTrace...)
}

// traceOrder is the order of traces by id, then by their first reading.
func traceOrder(traces []survey.Trace) []int {
	order := make([]int, len(traces))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := &traces[a], &traces[b]
		if x.ID != y.ID {
			return cmp.Compare(x.ID, y.ID)
		}
		if c := cmp.Compare(len(x.Readings), len(y.Readings)); c != 0 || len(x.Readings) == 0 {
			return c
		}
		p, q := &x.Readings[0], &y.Readings[0]
		return cmp.Or(cmp.Compare(p.File, q.File), cmp.Compare(p.Row, q.Row), cmp.Compare(p.Point[0], q.Point[0]), cmp.Compare(p.Point[1], q.Point[1]))
	})
	return order
}

func (c *chain) sampleTrace(tr *survey.Trace, rank int32, sessions map[string]int32, radiusM float64) []sample {
	if tr.Utility == "" {
		return nil
	}
	c.obs = c.obs[:0]
	for i := range tr.Readings {
		if r := &tr.Readings[i]; r.Duplicate == nil && placed(r) && !r.Doubt && (r.Mode == survey.ModeActive || r.Mode == survey.ModeUnknown) {
			c.obs = append(c.obs, observation{reading: i, p: r.Point})
		}
	}
	session, utility := sessionOf(sessions, tr), c.net.utility(tr.Utility)
	var out []sample
	last := math.Inf(-1)
	walked := 0.0
	for i := range c.obs {
		if i > 0 {
			walked += dist(c.obs[i-1].p, c.obs[i].p)
		}
		if walked-last < sampleM {
			continue
		}
		c.head(i)
		o := &c.obs[i]
		if !o.before.known() || !o.after.known() || o.before.x*o.after.x+o.before.y*o.after.y < straightCos {
			continue
		}
		out = append(out, sample{
			trace: rank, session: session, source: tr.Positions, views: c.views(o, utility, radiusM),
			p: o.p, course: o.after, utility: utility,
		})
		last = walked
	}
	return out
}

func (c *chain) views(o *observation, utility utility, radiusM float64) []view {
	out := c.seen[:0]
	c.hits = c.net.index.Within(o.p, radiusM, c.hits)
	for _, id := range c.hits {
		s := &c.net.segs[id]
		r := &c.net.records[s.record]
		if utility.foreign(r.utility) || math.Abs(s.ux*o.after.x+s.uy*o.after.y) < alongCos {
			continue
		}
		t := s.along(o.p)
		// A little beyond an end, for a shift along the line.
		slack := radiusM / 2
		if t < 0 && (s.prev >= 0 || t < -slack) || t > s.length && (s.next >= 0 || t > s.length+slack) {
			continue
		}
		east, north := r.toTrue(s.ux, s.uy)
		out = append(out, view{rec: s.record, sheet: r.sheet, offset: s.across(o.p) / r.scale, east: north, north: -east})
	}
	c.seen = out
	if len(out) > maxViews {
		slices.SortStableFunc(out, func(a, b view) int { return cmp.Compare(math.Abs(a.offset), math.Abs(b.offset)) })
		return slices.Clone(out[:maxViews])
	}
	return slices.Clone(out)
}
