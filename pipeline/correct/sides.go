package correct

import (
	"math"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

const (
	sideStepM = 1    // how closely lines that run beside each other are looked at
	sureM     = 0.02 // lines drawn nearer than this have no sides
	alongCos  = 0.9  // lines that turn from each other by less than this run along each other; practice
	keepM     = 0.1  // what is left between lines held apart, or a quarter of what was, if that is less; practice
)

// sides looks at the lines beside a record. One worker has one.
type sides struct {
	*network
	sureU float64 // how many standard deviations on the other side are sure
	ids   []int32
	near  []neighbour
	runs  []run
}

// neighbour is the foot on another record as drawn.
type neighbour struct {
	record int
	foot   lineref.Foot
}

// run is a change that goes on from one place to the next.
type run struct {
	change
	lastM float64
}

// of are the changes of side along a record: lines that ran beside it as drawn
// and lie on its other side as laid.
func (x *sides) of(r int) (out []change) {
	p := &x.plans[r]
	x.runs = x.runs[:0]
	for part := range p.rec.Parts {
		st := p.line.Stations(part)
		n := int(math.Ceil((st[len(st)-1] - st[0]) / sideStepM))
		for k := range n {
			m := st[0] + (float64(k)+0.5)*(st[len(st)-1]-st[0])/float64(n)
			out = x.at(out, r, part, m)
		}
		for i := range x.runs {
			out = append(out, x.runs[i].change)
		}
		x.runs = x.runs[:0]
	}
	return out
}

// at adds what changes at one station to the runs, and those that end to out.
func (x *sides) at(out []change, r, part int, m float64) []change {
	p := &x.plans[r]
	seg := p.line.Segment(part, m)
	drawn, by := p.line.AtPart(part, seg, m), p.total(part, m)
	x.find(r, drawn)
	for i := range x.near {
		c, ok := x.change(r, part, seg, m, drawn, by, &x.near[i])
		if !ok {
			continue
		}
		k := 0
		for k < len(x.runs) && (x.runs[k].beside.record != c.beside.record || x.runs[k].seen != c.seen) {
			k++
		}
		if k == len(x.runs) {
			x.runs = append(x.runs, run{change: c, lastM: m})
			continue
		}
		x.runs[k].join(&c, m)
	}
	left := x.runs[:0]
	for _, run := range x.runs {
		if run.lastM < m {
			out = append(out, run.change)
		} else {
			left = append(left, run)
		}
	}
	x.runs = left
	return out
}

func (a *run) join(c *change, m float64) {
	a.lastM = m
	a.on.span.ToM = c.on.span.ToM
	a.beside.span.FromM = min(a.beside.span.FromM, c.beside.span.FromM)
	a.beside.span.ToM = max(a.beside.span.ToM, c.beside.span.ToM)
	a.left, a.wouldM = min(a.left, c.left), max(a.wouldM, c.wouldM)
}

// find lists the records beside a point of a record, each with its foot.
func (x *sides) find(r int, drawn orb.Point) {
	x.ids = x.drawn.index.Within(drawn, x.o.BesideM*x.plans[r].line.Scale, x.ids)
	x.near = x.near[:0]
next:
	for _, id := range x.ids {
		a := x.drawn.of[id]
		if a.record == r {
			continue
		}
		foot := x.plans[a.record].line.OnSegment(a.part, a.segment, drawn)
		for i := range x.near {
			if n := &x.near[i]; n.record == a.record {
				if math.Abs(foot.OffsetM) < math.Abs(n.foot.OffsetM) {
					n.foot = foot
				}
				continue next
			}
		}
		x.near = append(x.near, neighbour{a.record, foot})
	}
}

// change says whether a neighbour has come to lie on the other side at a station.
func (x *sides) change(r, part, seg int, m float64, drawn orb.Point, by move, n *neighbour) (c change, changed bool) {
	p, q := &x.plans[r], &x.plans[n.record]
	d, e := p.line.Direction(part, seg), q.line.Direction(n.foot.Part, n.foot.Segment)
	side := func(a, b orb.Point) float64 { return ((b[0]-a[0])*d[1] - (b[1]-a[1])*d[0]) / p.line.Scale }
	was := side(drawn, n.foot.Point)
	if !n.foot.Square || math.Abs(d[0]*e[0]+d[1]*e[1]) < alongCos || math.Abs(was) < sureM {
		return c, false
	}
	reach := by.length() + q.total(n.foot.Part, n.foot.StationM).length()
	if reach == 0 || reach+keepM < math.Abs(was) {
		return c, false
	}
	g := p.onGrid(by)
	mine, _ := x.lines[r].Nearest(orb.Point{drawn[0] + g[0], drawn[1] + g[1]})
	its, _ := x.lines[n.record].Nearest(mine.Point)
	is := side(mine.Point, its.Point) * math.Copysign(1, was)
	if is >= 0 {
		return c, false
	}
	known := x.known(p, q, part, m, drawn, &n.foot, side) * math.Copysign(1, was)
	was, foot := math.Abs(was), n.foot
	return change{
		kind: changesSide, left: (was - min(keepM, was/4)) / (was - is), wouldM: -is,
		on:     stretch{r, survey.Span{Part: part, FromM: m, ToM: m}},
		beside: stretch{n.record, survey.Span{Part: foot.Part, FromM: foot.StationM, ToM: foot.StationM}},
		seen:   known < -x.sureU*math.Sqrt(p.variance(part, m)+q.variance(foot.Part, foot.StationM)),
	}, true
}

// known is on which side the adjusted map, moved or not, has the neighbour.
func (x *sides) known(p, q *plan, part int, m float64, drawn orb.Point, foot *lineref.Foot, side func(a, b orb.Point) float64) float64 {
	a, b := p.onGrid(p.adjusted(part, m)), q.onGrid(q.adjusted(foot.Part, foot.StationM))
	return side(orb.Point{drawn[0] + a[0], drawn[1] + a[1]}, orb.Point{foot.Point[0] + b[0], foot.Point[1] + b[1]})
}
