package judge

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/paulmach/orb/simplify"
)

// When runs are of one line, and how its readings become a polyline. Common
// practice, no source.
const (
	sameLineM  = 0.6  // two walks along one line lie that near
	sameShare  = 0.6  // most of the shorter one
	goesOnM    = 10   // the ends of two runs of a ticket, or of a walk, that go on
	goesOnCos  = 0.85 // in one direction
	smoothM    = 2    // readings within this are taken together
	skeletonM  = 0.3  // bends that are more than noise
	straightM  = 0.05
	endLengthM = 5 // over which an end's direction is taken
)

// group is the runs of one line.
type group struct {
	runs []run
	line orb.LineString
}

// joinRuns puts together the runs that are of one line: walks along the same
// stretch, and runs of a ticket or a walk that go on where another ends. The longest
// comes first.
func joinRuns(s *survey.Survey, runs []run) []group {
	order := make([]int, len(runs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(planar.Length(runs[b].points), planar.Length(runs[a].points))
	})
	var out []group
	taken := make([]bool, len(runs))
	for _, i := range order {
		if taken[i] {
			continue
		}
		taken[i] = true
		g := group{runs: []run{runs[i]}, line: runs[i].points.Clone()}
		for more := true; more; {
			more = false
			for _, k := range order {
				if !taken[k] && g.takes(s, &runs[k]) {
					taken[k], more = true, true
				}
			}
		}
		g.smooth()
		out = append(out, g)
	}
	return out
}

// takes adds a run that is of the group's line.
func (g *group) takes(s *survey.Survey, r *run) bool {
	a, b := &s.Traces[g.runs[0].trace], &s.Traces[r.trace]
	if a.Utility != b.Utility && a.Utility != "" && b.Utility != "" || !g.line.Bound().Pad(goesOnM).Intersects(r.points.Bound()) {
		return false
	}
	if !g.holds(r.points) {
		if r.trace != g.runs[0].trace && (a.Ticket == "" || a.Ticket != b.Ticket) || !g.extend(r.points) {
			return false
		}
	}
	g.runs = append(g.runs, *r)
	return true
}

// holds says whether most of a run lies on the group's line.
func (g *group) holds(points orb.LineString) bool {
	line, on := lineref.New(orb.MultiLineString{g.line}, 1), 0.0
	for _, p := range points {
		if f, ok := line.Nearest(p); ok && math.Abs(f.OffsetM) <= sameLineM {
			on++
		}
	}
	return on >= sameShare*float64(len(points))
}

// extend lengthens the group's line by a run that goes on at one of its ends.
func (g *group) extend(points orb.LineString) bool {
	for range 2 {
		for range 2 {
			from, to := g.line[len(g.line)-1], points[0]
			a, b := direction(g.line, true), direction(points, false)
			gap := orb.Point{to[0] - from[0], to[1] - from[1]}
			d := math.Hypot(gap[0], gap[1])
			straight := d < smoothM || dot(a, gap) > goesOnCos*d
			if d <= goesOnM && straight && dot(a, b) > goesOnCos {
				g.line = append(g.line, points...)
				return true
			}
			points = points.Clone()
			points.Reverse()
		}
		g.line.Reverse()
	}
	return false
}

func dot(a, b orb.Point) float64 { return a[0]*b[0] + a[1]*b[1] }

// direction is that of the last, or the first, part of a line.
func direction(line orb.LineString, last bool) orb.Point {
	n := len(line) - 1
	at := func(i int) orb.Point {
		if last {
			return line[n-i]
		}
		return line[i]
	}
	k := 1
	for k < n && planar.Distance(at(0), at(k)) < endLengthM {
		k++
	}
	a, b := at(0), at(k)
	if last {
		a, b = b, a
	}
	d := max(planar.Distance(a, b), 1e-9)
	return orb.Point{(b[0] - a[0]) / d, (b[1] - a[1]) / d}
}

// smooth makes the group's line that of all its readings: beside a skeleton of it,
// the median offset of those that stand together.
func (g *group) smooth() {
	skeleton := simplify.DouglasPeucker(skeletonM).Simplify(g.line.Clone()).(orb.LineString)
	line := lineref.New(orb.MultiLineString{skeleton}, 1)
	var feet []lineref.Foot
	for _, r := range g.runs {
		for _, p := range r.points {
			if f, ok := line.Nearest(p); ok {
				feet = append(feet, f)
			}
		}
	}
	slices.SortStableFunc(feet, func(a, b lineref.Foot) int {
		return cmp.Or(cmp.Compare(a.StationM, b.StationM), cmp.Compare(a.OffsetM, b.OffsetM))
	})
	var out orb.LineString
	for from := 0; from < len(feet); {
		to := from
		var offsets []float64
		station := 0.0
		for ; to < len(feet) && feet[to].StationM-feet[from].StationM < smoothM; to++ {
			offsets = append(offsets, feet[to].OffsetM)
			station += feet[to].StationM
		}
		station /= float64(to - from)
		if from == 0 {
			station = feet[0].StationM
		} else if to == len(feet) {
			station = feet[to-1].StationM
		}
		part, seg := line.Locate(station)
		p, way, off := line.At(station), line.Direction(part, seg), estimate.Median(offsets)
		out = append(out, orb.Point{p[0] + way[1]*off, p[1] - way[0]*off})
		from = to
	}
	if len(out) > 1 {
		g.line = simplify.DouglasPeucker(straightM).Simplify(out).(orb.LineString)
	}
}
