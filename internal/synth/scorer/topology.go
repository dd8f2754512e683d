package scorer

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/spatial"
)

const (
	shutM    = 0.01  // ends this near are one
	snapM    = 0.05  // of the towns' jobs: what is drawn this near may be taken for one place, and move as one
	onLineM  = 0.5   // a fitting drawn this near to a line is on it
	fadeOutM = 20    // of the towns' jobs: beyond the evidence nothing moves from here on
	stillM   = 0.001 // a smaller move is none
	besideM  = 4     // parallel lines this near have sides
	sureM    = 0.02  // and this far apart they have them without doubt
)

// topology scores what corrections must not break.
func (x *scoring) topology() {
	now := make([]lineref.Line, len(x.records))
	there := make([]bool, len(x.records))
	for r := range x.records {
		now[r], there[r] = x.after(r)
		x.count(SelfCrossings, selfCrossings(now[r].Parts) > selfCrossings(x.records[r].before.Parts))
	}
	x.loops(now)
	x.fittings(now)
	tees := x.junctions(now, there)
	x.sides(now)
	x.moves(now, tees)
}

// drawn are the records' lines before.
func (x *scoring) drawn() []lineref.Line {
	lines := make([]lineref.Line, len(x.records))
	for r := range lines {
		lines[r] = x.records[r].before
	}
	return lines
}

// joint is one end of one part of a record.
type joint struct {
	record, part int
	last         bool
}

func (j joint) of(l *lineref.Line) orb.Point {
	part := l.Parts[j.part]
	if j.last {
		return part[len(part)-1]
	}
	return part[0]
}

// junctions counts those that were shut and are open: ends drawn at one place
// that no longer are, ends drawn on another record's line that no longer are. It
// gives the stations at which other records end on each record.
func (x *scoring) junctions(now []lineref.Line, there []bool) (tees [][]float64) {
	tees = make([][]float64, len(x.records))
	lines := x.drawn()
	joints := make([][]joint, len(x.records))
	for r := range lines {
		for p := range lines[r].Parts {
			joints[r] = append(joints[r], joint{r, p, false}, joint{r, p, true})
		}
	}
	near := newNeighbours(lines)
	open := func(a joint, b int, apartM func(p orb.Point) float64) {
		same := there[a.record] && there[b] && len(now[a.record].Parts) == len(lines[a.record].Parts)
		x.count(JunctionsOpened, !same || apartM(a.of(&now[a.record])) > shutM)
	}
	for r := range joints {
		for _, a := range joints[r] {
			p := a.of(&lines[r])
			for _, b := range near.at(p, 2*snapM) {
				f, ok := lines[b].Nearest(p)
				if b == r || !ok || math.Abs(f.OffsetM) > snapM || x.records[b].Utility != x.records[r].Utility {
					continue
				}
				tees[b] = append(tees[b], f.StationM)
				if math.Abs(f.OffsetM) > shutM {
					continue
				}
				if c, ok := meets(joints[b], &lines[b], p); ok {
					if b > r { // each pair once
						open(a, b, func(q orb.Point) float64 { return apart(q, c.of(&now[b])) })
					}
					continue
				}
				open(a, b, func(q orb.Point) float64 {
					foot, _ := now[b].Nearest(q)
					return math.Abs(foot.OffsetM)
				})
			}
		}
	}
	return tees
}

// loops counts the closed lines among the junctions: those whose own ends meet.
func (x *scoring) loops(now []lineref.Line) {
	for r := range x.records {
		before := x.records[r].before.Parts
		for p, part := range before {
			if len(part) > 2 && apart(part[0], part[len(part)-1]) <= shutM {
				open := p >= len(now[r].Parts)
				if !open {
					is := now[r].Parts[p]
					open = apart(is[0], is[len(is)-1]) > shutM
				}
				x.count(JunctionsOpened, open)
			}
		}
	}
}

// fittings counts those drawn on a line of their utility that now lie farther
// from it, or nearer to it, than they did.
func (x *scoring) fittings(now []lineref.Line) {
	for i, r := range x.fittingLines() {
		if r < 0 {
			continue
		}
		f := &x.s.Fittings[i]
		at, there := x.o.Fittings[f.ID]
		if !there {
			at = f.Point
		}
		was, _ := x.records[r].before.Nearest(f.Point)
		is, _ := now[r].Nearest(at)
		x.count(FittingsLeft, math.Abs(math.Abs(is.OffsetM)-math.Abs(was.OffsetM)) > shutM)
	}
}

// fittingLines are the records that the fittings are drawn on; -1 none.
func (x *scoring) fittingLines() []int {
	lines := x.drawn()
	near := newNeighbours(lines)
	out := make([]int, len(x.s.Fittings))
	for i := range out {
		f := &x.s.Fittings[i]
		best := onLineM
		out[i] = -1
		for _, r := range near.at(f.Point, onLineM) {
			foot, ok := lines[r].Nearest(f.Point)
			if d := math.Abs(foot.OffsetM); ok && d < best && x.records[r].Utility == f.Utility {
				best, out[i] = d, r
			}
		}
	}
	return out
}

// neighbours finds the lines near a point.
type neighbours struct {
	index  *spatial.Index
	owners []int // per segment: the line
	ids    []int32
	found  []int
}

func newNeighbours(lines []lineref.Line) *neighbours {
	n := &neighbours{}
	var segments []spatial.Segment
	for l := range lines {
		for _, part := range lines[l].Parts {
			for i := 0; i+1 < len(part); i++ {
				segments = append(segments, spatial.Segment{A: part[i], B: part[i+1]})
				n.owners = append(n.owners, l)
			}
		}
	}
	n.index = spatial.New(segments, 2*besideM)
	return n
}

// at lists the lines within a distance (grid) of a point, in their order. The
// slice is good until the next call.
func (n *neighbours) at(p orb.Point, within float64) []int {
	n.ids, n.found = n.index.Within(p, within, n.ids), n.found[:0]
	for _, id := range n.ids {
		n.found = append(n.found, n.owners[id])
	}
	slices.Sort(n.found)
	n.found = slices.Compact(n.found)
	return n.found
}

// meets is the end of a line that lies at a point.
func meets(ends []joint, l *lineref.Line, p orb.Point) (joint, bool) {
	for _, c := range ends {
		if apart(c.of(l), p) <= shutM {
			return c, true
		}
	}
	return joint{}, false
}

// selfCrossings counts the places where a line's segments cross each other.
func selfCrossings(parts orb.MultiLineString) int {
	n := 0
	for _, part := range parts {
		for i := 0; i+1 < len(part); i++ {
			for k := i + 2; k+1 < len(part); k++ {
				if crosses(part[i], part[i+1], part[k], part[k+1]) {
					n++
				}
			}
		}
	}
	return n
}

// crosses says whether two segments cross inside both.
func crosses(a, b, c, d orb.Point) bool {
	side := func(a, b, p orb.Point) float64 { return (b[0]-a[0])*(p[1]-a[1]) - (b[1]-a[1])*(p[0]-a[0]) }
	return side(a, b, c)*side(a, b, d) < 0 && side(c, d, a)*side(c, d, b) < 0
}

// sideStepM is how closely pairs of lines are looked at.
const sideStepM = 5

// sides counts, of pairs of parallel lines, those that were drawn side by side as
// they lie and somewhere no longer are.
func (x *scoring) sides(now []lineref.Line) {
	lines := make([]lineref.Line, len(x.records)) // without parts where none is shown
	for r := range x.records {
		if x.shows(r) {
			lines[r] = *x.records[r].line
		}
	}
	near := newNeighbours(lines)
	for a := range lines {
		var beside []int
		for m := sideStepM / 2.0; m < lines[a].LengthM(); m += sideStepM {
			beside = append(beside, near.at(lines[a].At(m), besideM*1.01)...)
		}
		slices.Sort(beside)
		for _, b := range slices.Compact(beside) {
			if b <= a {
				continue
			}
			if was, is := x.pair(a, b, now); was {
				x.count(SideChanges, !is)
			}
		}
	}
}

// shows says whether a record is the first that shows a line.
func (x *scoring) shows(r int) bool {
	return x.records[r].line != nil && x.byLine[x.records[r].truth.Line][0] == r
}

// pair says whether two records that run beside each other were on their sides
// before, and whether they still are wherever they were.
func (x *scoring) pair(a, b int, now []lineref.Line) (was, is bool) {
	ra, rb := &x.records[a], &x.records[b]
	is = true
	for m := sideStepM / 2.0; m < ra.line.LengthM(); m += sideStepM {
		p := ra.line.At(m)
		f, ok := rb.line.Nearest(p)
		if !ok || !f.Square || math.Abs(f.OffsetM) > besideM {
			continue
		}
		part, seg := ra.line.Locate(m)
		d, e := ra.line.Direction(part, seg), rb.line.Direction(f.Part, f.Segment)
		if math.Abs(d[0]*e[0]+d[1]*e[1]) < 0.9 {
			continue
		}
		truth := (f.Point[0]-p[0])*d[1] - (f.Point[1]-p[1])*d[0]
		if math.Abs(truth) < sureM {
			continue
		}
		// side is how far b lies on its true side of a.
		side := func(la, lb *lineref.Line) (float64, bool) {
			fa, okA := la.Nearest(p)
			fb, okB := lb.Nearest(p)
			v := (fb.Point[0]-fa.Point[0])*d[1] - (fb.Point[1]-fa.Point[1])*d[0]
			return v * math.Copysign(1, truth), okA && okB && fa.Square && fb.Square
		}
		before, ok1 := side(&ra.before, &rb.before)
		after, ok2 := side(&now[a], &now[b])
		if ok1 && before > sureM {
			was = true
			is = is && !(ok2 && after < -sureM)
		}
	}
	return was, is
}

// moves counts the records that moved where nothing could have moved them:
// farther than the fade-out from every reading used on them, from their ends and
// from the ends of others on them.
func (x *scoring) moves(now []lineref.Line, tees [][]float64) {
	evidence := make([][]float64, len(x.records))
	for i := range x.readings {
		got := x.o.Readings[x.readings[i].at]
		r, ok := x.index[got.Record]
		if !ok || got.Status != "used" {
			continue
		}
		if f, ok := x.records[r].before.Nearest(x.readings[i].seen.Point); ok {
			evidence[r] = append(evidence[r], f.StationM)
		}
	}
	for r := range x.records {
		before := &x.records[r].before
		allowed := append(evidence[r], tees[r]...)
		for p := range before.Parts {
			s := before.Stations(p)
			allowed = append(allowed, s[0], s[len(s)-1])
		}
		beyond := false
		for _, part := range now[r].Parts {
			for _, q := range part {
				f, ok := before.Nearest(q)
				if moved := math.Abs(f.OffsetM); ok && moved > stillM {
					beyond = beyond || !near(allowed, f.StationM, fadeOutM+1+moved)
				}
			}
		}
		x.count(MovedBeyond, beyond)
	}
}

func near(stations []float64, m, within float64) bool {
	for _, s := range stations {
		if math.Abs(s-m) <= within {
			return true
		}
	}
	return false
}
