package synth

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/simplify"
)

// drawn is one record as a drafter drew it, in the site frame.
type drawn struct {
	line      int // true line; -1 none
	sheet     int
	points    orb.LineString
	reversed  bool
	abandoned bool
	duplicate int // index of the record that shows the same line; -1 none
	faults    []Fault
}

// draftsman draws the records sheet by sheet and snaps ends as drafters do.
type draftsman struct {
	p      Map
	topo   *topology
	sheets []sheet
	seed   uint64
	// nodes are where ends were first drawn, on whatever sheet; ends where each
	// sheet has them.
	nodes map[int]orb.Point
	ends  map[place]orb.Point
	// lines are the records drawn so far, by true line, before they may be
	// turned round: what services are snapped to.
	lines map[int]orb.LineString
	out   []drawn
}

type place struct{ sheet, node int }

// draft draws every line that is on the map, mains before services.
func (m *draftsman) draft(missing []bool) {
	order := roll(m.seed, phaseDrafting, 0).Perm(len(m.sheets))
	for _, services := range []bool{false, true} {
		for _, s := range order {
			for _, l := range m.sheets[s].lines {
				if m.topo.lines[l].Service == services && !missing[l] {
					m.record(l, s, roll(m.seed, phaseDrafting, l+1), true)
				}
			}
		}
	}
}

// record draws one line on one sheet. A record that is not joined leaves the
// ends of others alone.
func (m *draftsman) record(l, s int, d dice, joined bool) {
	line := &m.topo.lines[l]
	r := drawn{line: l, sheet: s, duplicate: -1}
	local, knots := m.localErrors(d, l, &r)
	own := d.vector(m.p.OwnSigmaM)
	if d.chance(m.p.OwnShifted) {
		own = d.arrow(d.between(m.p.OwnShiftM))
		r.faults = append(r.faults, FaultOwnShift)
	}
	for _, at := range m.vertices(l, knots) {
		p, along := pointAt(line.Points, m.topo.stations[l], at)
		p = moved(p, along.right().times(local(at)).plus(own).plus(d.vector(m.p.VertexSigmaM)))
		r.points = append(r.points, m.sheets[s].draw(p))
	}
	if line.Points[0] == line.endPoint(1) {
		r.points[len(r.points)-1] = r.points[0]
	}
	if joined {
		m.snap(d, l, s, r.points)
		m.lines[l] = r.points
	}
	if d.chance(0.5) {
		r.points, r.reversed = reversed(r.points), true
	}
	m.out = append(m.out, r)
}

// vertices are the stations that a drafter draws: the line's own bends that
// matter, and those that an error needs.
func (m *draftsman) vertices(l int, knots []float64) []float64 {
	pts, s := m.topo.lines[l].Points, m.topo.stations[l]
	total := s[len(s)-1]
	out := []float64{0}
	if len(pts) > 2 {
		kept := simplify.DouglasPeucker(0.08).LineString(pts.Clone())
		k := 1
		for i := 1; i+1 < len(pts) && k+1 < len(kept); i++ {
			if pts[i] == kept[k] {
				out = append(out, s[i])
				k++
			}
		}
	}
	for _, at := range knots {
		if at > 0.3 && at < total-0.3 {
			out = append(out, at)
		}
	}
	out = append(out, total)
	slices.Sort(out)
	apart := out[:1]
	for _, at := range out[1:] {
		if at == total || (at-last(apart) > 0.2 && total-at > 0.2) {
			apart = append(apart, at)
		}
	}
	return apart
}

// snap moves the ends of a record to where they have been drawn before: always
// on its own sheet, mostly on another.
func (m *draftsman) snap(d dice, l, s int, points orb.LineString) {
	for w := range 2 {
		i := w * (len(points) - 1)
		across := d.chance(m.p.SnapAcross)
		if a := m.topo.attached[l][w]; a.line >= 0 {
			if on, ok := m.lines[a.line]; ok && across {
				total := last(m.topo.stations[a.line])
				st := stations(on)
				points[i], _ = pointAt(on, st, a.stationM/total*last(st))
			}
			continue
		}
		node := m.topo.ends[l][w]
		here := place{s, node}
		if at, ok := m.ends[here]; ok {
			points[i] = at
			continue
		}
		if at, ok := m.nodes[node]; ok && across {
			points[i] = at
		} else if !ok {
			m.nodes[node] = points[i]
		}
		m.ends[here] = points[i]
	}
}

func last(s []float64) float64 { return s[len(s)-1] }

// localErrors says how far to the right of the truth a drafter puts the line at
// a station, and at which stations he needs a vertex for that. None of them is a
// stationary process: each is one mistake with a beginning and an end.
func (m *draftsman) localErrors(d dice, l int, r *drawn) (func(at float64) float64, []float64) {
	total := last(m.topo.stations[l])
	var parts []func(at float64) float64
	var knots []float64
	add := func(f Fault, part func(float64) float64, at ...float64) {
		r.faults, parts, knots = append(r.faults, f), append(parts, part), append(knots, at...)
	}
	service := m.topo.lines[l].Service
	if long := d.logBetween(m.p.BumpLengthM); d.chance(m.p.Bumps) && total > 8 {
		long = min(long, 0.9*total)
		high, middle := d.sign()*d.between(m.p.BumpM), d.between([2]float64{long / 2, total - long/2})
		add(FaultBump, func(at float64) float64 {
			if u := (at - middle) / long; math.Abs(u) < 0.5 {
				return high * (1 + math.Cos(2*math.Pi*u)) / 2
			}
			return 0
		}, middle-long/2, middle-0.3*long, middle-0.15*long, middle, middle+0.15*long, middle+0.3*long, middle+long/2)
	}
	if d.chance(m.p.Kinks) && total > 6 {
		at, off := d.between([2]float64{0.2 * total, 0.8 * total}), d.sign()*d.between(m.p.KinkM)
		add(FaultKink, func(s float64) float64 {
			if math.Abs(s-at) < 0.01 {
				return off
			}
			return 0
		}, at)
	}
	if d.chance(m.p.WrongSide) && total > 20 && !service {
		side := -2 * m.topo.lines[l].sideM
		if math.IsNaN(side) || math.Abs(side) < 1.5 {
			side = d.sign() * d.between([2]float64{3, 8})
		}
		add(FaultWrongSide, plateau(0, total, 2.5, side), 2.5, total-2.5)
	}
	if d.chance(m.p.Copied) && total > 20 {
		from := d.between([2]float64{0, 0.4 * total})
		to := from + d.between([2]float64{0.3, 0.6})*total
		if side, ok := m.neighbour(l, (from+to)/2); ok {
			add(FaultCopied, plateau(from, to, 2, side+d.normal(0.05)), from, from+2, to-2, to)
		}
	}
	return func(at float64) float64 {
		sum := 0.0
		for _, f := range parts {
			sum += f(at)
		}
		return sum
	}, knots
}

// plateau is 0 outside a stretch and a constant inside, with ramps at its ends.
func plateau(from, to, ramp, value float64) func(float64) float64 {
	return func(at float64) float64 {
		return value * min(max(min(at-from, to-at)/ramp, 0), 1)
	}
}

// neighbour is how far to the right the nearest parallel line lies.
func (m *draftsman) neighbour(l int, at float64) (float64, bool) {
	p, along := pointAt(m.topo.lines[l].Points, m.topo.stations[l], at)
	side, found := math.Inf(1), false
	for _, id := range m.topo.segments.near(p, reachM, nil) {
		g := m.topo.segments.all[id]
		o := int(g.line)
		if m.topo.run[o] == m.topo.run[l] {
			continue
		}
		if x, _, _, ok := m.topo.section(g, p, along); ok && math.Abs(x) > 0.3 && math.Abs(x) < math.Abs(side) {
			side, found = x, true
		}
	}
	return side, found
}

// section is where a segment passes through the vertical plane across a
// direction at a point: how far right, at what share of the segment, and the
// cosine between the two directions. It is false for a segment that misses it or crosses steeply.
func (t *topology) section(g segment, p orb.Point, along vector) (x, u, cosine float64, ok bool) {
	pts := t.lines[g.line].Points
	a, b := minus(pts[g.at], p), minus(pts[g.at+1], p)
	sa, sb := a.dot(along), b.dot(along)
	if sa == sb || (sa > 0) == (sb > 0) && sa != 0 && sb != 0 {
		return 0, 0, 0, false
	}
	u = sa / (sa - sb)
	right := along.right()
	x = a.dot(right) + u*(b.dot(right)-a.dot(right))
	cosine = (sb - sa) / vector{b[0] - a[0], b[1] - a[1]}.length()
	return x, u, cosine, math.Abs(cosine) > 0.7 && math.Abs(x) <= reachM
}
