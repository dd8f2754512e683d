package match

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/pipeline/survey"
)

// network is the map as the matcher walks it: every segment of every record in
// one slice, an index over them, and the joints where records meet.
//
// Records stand in the order of their keys, whatever the input's order, so that
// ties and sums come out the same.
type network struct {
	records []record
	segs    []segment
	parts   []part
	index   *spatial.Index
	joints  []joint // by record, then station
	// shortest is the ground length of the shortest part.
	shortest float64
	widestM  float64 // widest gap of a joint
}

// record is what the matcher needs to know of one survey.Record.
type record struct {
	input      int // its index in Survey.Records
	utility    string
	sheet      int32 // index into the shifts; -1 where it names no sheet
	noSignal   bool
	scale      float64 // grid over ground
	joints     [2]int32
	network    int32   // the same for records that hang together
	start      shift   // by which the record has been moved from where the map has it
	sinC, cosC float64 // of the meridian convergence
}

// segment is a piece of a record that has a length. prev and next are the
// segments it runs on to in its part, -1 at an open end.
type segment struct {
	a          orb.Point
	ux, uy     float64 // unit vector, grid axes
	length     float64 // grid
	station    float64 // of a, ground
	record     int32
	part, seg  int32 // in its record
	of         int32 // index into network.parts
	prev, next int32
}

// part is one part of a record, from station to station.
type part struct {
	from, to float64
	closed   bool
}

// joint is a place where a record goes on along another one: its end, or the
// other's, lies within the snap distance of the other. Where two drawings were
// never joined, a gap takes the place of a joint, at a price.
type joint struct {
	other       int32
	here, there float64 // stations
	gap         float64 // ground metres; 0 where they are joined
	weight      float64 // 1 where they are joined
	atEnd       bool    // here is an end of this record
	straight    bool    // and the other record goes on straight ahead
}

// newNetwork lays the records out, each sheet moved by its starting shift where
// there are any (by sheet).
func newNetwork(s *survey.Survey, sheets map[string]int32, start []shift, o Options) *network {
	n := &network{records: make([]record, len(s.Records))}
	total := 0
	for i := range s.Records {
		for _, part := range s.Records[i].Parts {
			total += max(len(part)-1, 0)
		}
	}
	n.segs = make([]segment, 0, total)
	for at, i := range canonical(s.Records) {
		r := &s.Records[i]
		sheet, ok := sheets[r.Sheet]
		if !ok {
			sheet = -1
		}
		scale := r.Scale
		if !(scale > 0) {
			scale = 1
		}
		sin, cos := math.Sincos(r.Convergence)
		n.records[at] = record{
			input: i, utility: r.Utility, sheet: sheet, noSignal: r.Conductor == survey.ConductorNone,
			scale: scale, sinC: sin, cosC: cos,
		}
		if sheet >= 0 && start != nil {
			n.records[at].start = start[sheet]
		}
		n.addSegments(int32(at), r.Parts, scale)
	}
	lines := make([]spatial.Segment, len(n.segs))
	for i := range n.segs {
		lines[i] = spatial.Segment{A: n.segs[i].a, B: n.segs[i].end()}
	}
	n.index = spatial.New(lines, 2*o.SearchRadiusM)
	return n
}

// canonical is the order of records by key, then geometry.
func canonical(records []survey.Record) []int {
	order := make([]int, len(records))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		ra, rb := &records[a], &records[b]
		switch {
		case ra.Source != rb.Source:
			return cmp.Compare(ra.Source, rb.Source)
		case ra.ID != rb.ID:
			return cmp.Compare(ra.ID, rb.ID)
		}
		return compareParts(ra.Parts, rb.Parts)
	})
	return order
}

func compareParts(a, b orb.MultiLineString) int {
	return slices.CompareFunc(a, b, func(x, y orb.LineString) int {
		return slices.CompareFunc(x, y, func(p, q orb.Point) int {
			return cmp.Or(cmp.Compare(p[0], q[0]), cmp.Compare(p[1], q[1]))
		})
	})
}

func (n *network) addSegments(rec int32, parts orb.MultiLineString, scale float64) {
	station := 0.0
	dx, dy := n.records[rec].toGrid(n.records[rec].start.east, n.records[rec].start.north)
	for p, line := range parts {
		first := int32(len(n.segs))
		from := station
		for i := 0; i+1 < len(line); i++ {
			a, b := line[i], line[i+1]
			l := math.Hypot(b[0]-a[0], b[1]-a[1])
			if !(l > 0) || math.IsInf(l, 0) {
				continue
			}
			id := int32(len(n.segs))
			n.segs = append(n.segs, segment{
				a: orb.Point{a[0] + dx, a[1] + dy}, ux: (b[0] - a[0]) / l, uy: (b[1] - a[1]) / l, length: l, station: station,
				record: rec, part: int32(p), seg: int32(i), of: int32(len(n.parts)), prev: id - 1, next: id + 1,
			})
			station += l / scale
		}
		last := int32(len(n.segs)) - 1
		if last < first {
			continue
		}
		n.segs[first].prev, n.segs[last].next = -1, -1
		closed := last > first && line[0] == line[len(line)-1]
		if closed {
			n.segs[first].prev, n.segs[last].next = last, first
		}
		n.parts = append(n.parts, part{from, station, closed})
		if len(n.parts) == 1 || station-from < n.shortest {
			n.shortest = station - from
		}
	}
}

// starts are the sheets' starting shifts.
func (n *network) starts(sheets int) []shift {
	out := make([]shift, sheets)
	for i := range n.records {
		if r := &n.records[i]; r.sheet >= 0 {
			out[r.sheet] = r.start
		}
	}
	return out
}

func (s *segment) end() orb.Point {
	return orb.Point{s.a[0] + s.length*s.ux, s.a[1] + s.length*s.uy}
}

// along is the grid distance of p's foot from the segment's start on its
// infinite line; across the distance of p from that line, + right.
func (s *segment) along(p orb.Point) float64 { return (p[0]-s.a[0])*s.ux + (p[1]-s.a[1])*s.uy }

func (s *segment) across(p orb.Point) float64 {
	return (p[0]-s.a[0])*s.uy - (p[1]-s.a[1])*s.ux
}

// pair is a joint with the record that it is of.
type pair struct {
	rec int32
	joint
}

// join finds the joints and gaps: for every open end of a part the records of
// the same utility, or of none, that are near it on the map, or would be if the
// sheets lay where they seem to.
func (n *network) join(ps *priors, o Options) {
	const chunk = 1024
	found := make([][]pair, (len(n.segs)+chunk-1)/chunk)
	parallel.Each(len(found), o.Workers, func() func(int) {
		var buf []int32
		return func(i int) {
			for id := i * chunk; id < min((i+1)*chunk, len(n.segs)); id++ {
				found[i], buf = n.joinEnds(int32(id), ps, &o, buf, found[i])
			}
		}
	})
	n.keep(found)
	n.number()
}

// joinEnds appends the joints at the open ends of a segment, of both records, to
// dst.
func (n *network) joinEnds(id int32, ps *priors, o *Options, buf []int32, dst []pair) ([]pair, []int32) {
	s := &n.segs[id]
	r := &n.records[s.record]
	for _, end := range [2]bool{false, true} {
		if (end && s.next >= 0) || (!end && s.prev >= 0) {
			continue
		}
		p, station := s.a, s.station
		if end {
			p, station = s.end(), s.station+s.length/r.scale
		}
		buf = n.index.Within(p, o.GapM*r.scale, buf)
		for _, id := range buf {
			t := &n.segs[id]
			q := &n.records[t.record]
			if t.record == s.record || foreign(r.utility, q.utility) {
				continue
			}
			there := t.station + min(max(t.along(p), 0), t.length)/q.scale
			toEnd := math.Inf(1)
			if p := &n.parts[t.of]; !p.closed {
				toEnd = min(there-p.from, p.to-there)
			}
			j := joint{other: t.record, here: station, there: there, atEnd: true, weight: 1}
			if j.gap = n.gap(p, s, t, ps); j.gap <= o.SnapM {
				j.gap = 0
			} else if j.weight = o.GapShare * closeness(j.gap, o.OwnM+o.LocalM); toEnd > o.GapM {
				continue // an end beside a line is no gap
			}
			back := joint{other: s.record, here: j.there, there: j.here, gap: j.gap, weight: j.weight, atEnd: toEnd < o.GapM}
			j.straight = n.straight(s, end, t, there)
			back.straight = j.straight && back.atEnd
			dst = append(dst, pair{s.record, j}, pair{t.record, back})
		}
	}
	return dst, buf
}

// keep lays the joints out by record and station, the best of those that are one
// place.
func (n *network) keep(found [][]pair) {
	next := make([]int32, len(n.records)+1) // where the next joint of a record goes
	for _, pairs := range found {
		for i := range pairs {
			next[pairs[i].rec+1]++
			n.widestM = max(n.widestM, pairs[i].gap)
		}
	}
	for r := range n.records {
		next[r+1] += next[r]
	}
	all := make([]joint, next[len(n.records)])
	for _, pairs := range found {
		for i := range pairs {
			p := &pairs[i]
			all[next[p.rec]] = p.joint
			next[p.rec]++
		}
	}
	from, at := int32(0), int32(0)
	for r := range n.records {
		js := all[from:next[r]]
		from = next[r]
		slices.SortFunc(js, func(a, b joint) int { return a.compare(&b) })
		js = slices.CompactFunc(js, func(a, b joint) bool {
			return a.here == b.here && a.other == b.other && a.there == b.there
		})
		n.records[r].joints = [2]int32{at, at + int32(copy(all[at:], js))}
		at += int32(len(js))
	}
	n.joints = all[:at]
}

// straight says whether t goes on, from a station of it, in the direction in
// which s ends there.
func (n *network) straight(s *segment, end bool, t *segment, there float64) bool {
	cos := s.ux*t.ux + s.uy*t.uy
	if !end {
		cos = -cos
	}
	along := there - t.station
	rest := t.length/n.records[t.record].scale - along
	return cos > goesOnCos && rest > samePlaceM || cos < -goesOnCos && along > samePlaceM
}

// goesOnCos is the cosine of the sharpest bend at which a line still goes on
// straight ahead: 45 degrees. Common practice, no source.
const goesOnCos = 0.7

// number gives records that hang together one number.
func (n *network) number() {
	for i := range n.records {
		n.records[i].network = int32(i)
	}
	root := func(i int32) int32 {
		for n.records[i].network != i {
			n.records[i].network = n.records[n.records[i].network].network
			i = n.records[i].network
		}
		return i
	}
	for i := range n.records {
		r := &n.records[i]
		for _, j := range n.joints[r.joints[0]:r.joints[1]] {
			a, b := root(int32(i)), root(j.other)
			n.records[max(a, b)].network = min(a, b)
		}
	}
	for i := range n.records {
		n.records[i].network = root(int32(i))
	}
}

// compare orders a record's joints by station; of those that are one place, the
// best joined and those at an end come first.
func (j *joint) compare(k *joint) int {
	switch {
	case j.here != k.here:
		return cmp.Compare(j.here, k.here)
	case j.other != k.other:
		return cmp.Compare(j.other, k.other)
	case j.there != k.there:
		return cmp.Compare(j.there, k.there)
	case j.gap != k.gap:
		return cmp.Compare(j.gap, k.gap)
	case j.atEnd != k.atEnd:
		return yesFirst(j.atEnd)
	case j.straight != k.straight:
		return yesFirst(j.straight)
	}
	return 0
}

func yesFirst(yes bool) int {
	if yes {
		return -1
	}
	return 1
}

// gap is how far the end p of s lies from t on the map, or would lie if both
// sheets were where they seem to be, whichever is less; ground metres.
func (n *network) gap(p orb.Point, s, t *segment, ps *priors) float64 {
	q := &n.records[t.record]
	raw := t.distance(p) / q.scale
	a, b := &ps.sheets[n.records[s.record].sheet+1], &ps.sheets[q.sheet+1]
	dx, dy := q.toGrid(a.east-b.east, a.north-b.north)
	return min(raw, t.distance(orb.Point{p[0] + dx, p[1] + dy})/q.scale)
}

// toGrid turns a vector from true axes and ground metres to grid axes and
// metres.
func (r *record) toGrid(east, north float64) (x, y float64) {
	return r.scale * (east*r.cosC - north*r.sinC), r.scale * (east*r.sinC + north*r.cosC)
}

func (s *segment) distance(p orb.Point) float64 {
	t := min(max(s.along(p), 0), s.length)
	return math.Hypot(p[0]-s.a[0]-t*s.ux, p[1]-s.a[1]-t*s.uy)
}
