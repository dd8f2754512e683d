package match

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/pipeline/survey"
)

// network is the map as the matcher walks it: every segment of every record in
// one slice, an index over them, and the places where records meet.
//
// Records stand in the order of their keys, whatever the input's order, so that
// ties and sums come out the same.
type network struct {
	records []record
	segs    []segment
	parts   []part
	index   *spatial.Index
	// shortest is the ground length of the shortest part.
	shortest float64
	labels   map[string]utility

	meetings  []meeting // by record, then station
	meetsFrom []int32   // by record: where its meetings begin; and the end of the last's
}

// record is what the matcher needs to know of one survey.Record.
type record struct {
	input      int // its index in Survey.Records
	utility    utility
	sheet      int32 // index into the shifts; -1 where it names no sheet
	noSignal   bool
	depth      float64 // of its signal, as the map has it; NaN unknown
	scale      float64 // grid over ground
	network    int32   // the same for records that hang together
	start      shift   // by which the record has been moved from where the map has it
	sinC, cosC float64 // of the meridian convergence
}

// utility is the number of a kind of line, so that two are compared at no cost:
// 0 where none is named, strangeUtility where no record has the label.
type utility int32

const strangeUtility utility = -1

func (u utility) foreign(v utility) bool { return u != v && u != 0 && v != 0 }

// utility is the number of a label.
func (n *network) utility(label string) utility {
	u, known := n.labels[label]
	if !known && label != "" {
		return strangeUtility
	}
	return u
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

// newNetwork lays the records out.
func newNetwork(s *survey.Survey, sheets map[string]int32, o Options) *network {
	n := &network{records: make([]record, len(s.Records)), labels: map[string]utility{}}
	for name, i := range numbered(len(s.Records), func(i int) string { return s.Records[i].Utility }) {
		n.labels[name] = utility(i) + 1
	}
	total := 0
	for i := range s.Records {
		for _, part := range s.Records[i].Parts {
			total += max(len(part)-1, 0)
		}
	}
	n.segs = make([]segment, 0, total)
	for at, i := range canonical(s.Records) {
		r := &s.Records[i]
		sheet, ok := sheets[r.SharedSheet()]
		if !ok {
			sheet = -1
		}
		scale := r.Scale
		if !(scale > 0) {
			scale = 1
		}
		sin, cos := math.Sincos(r.Convergence)
		n.records[at] = record{
			input: i, utility: n.labels[r.Utility], sheet: sheet, noSignal: r.Conductor == survey.ConductorNone, depth: signalDepth(r),
			scale: scale, sinC: sin, cosC: cos,
		}
		n.addSegments(int32(at), r.Parts, scale)
	}
	n.find(o)
	return n
}

// find builds the index.
func (n *network) find(o Options) {
	lines := make([]spatial.Segment, len(n.segs))
	for i := range n.segs {
		lines[i] = spatial.Segment{A: n.segs[i].a, B: n.segs[i].end()}
	}
	n.index = spatial.New(lines, 2*o.SearchRadiusM)
}

// moved is the network with each sheet moved by its starting shift (by sheet).
func (n *network) moved(start []shift, o Options) *network {
	m := *n
	m.records, m.segs = slices.Clone(n.records), slices.Clone(n.segs)
	for i := range m.records {
		if r := &m.records[i]; r.sheet >= 0 {
			r.start = start[r.sheet]
		}
	}
	for i := range m.segs {
		s := &m.segs[i]
		r := &m.records[s.record]
		dx, dy := r.toGrid(r.start.east, r.start.north)
		s.a[0], s.a[1] = s.a[0]+dx, s.a[1]+dy
	}
	m.find(o)
	return &m
}

// canonical is the order of records by key, then geometry.
func canonical(records []survey.Record) []int {
	order := make([]int, len(records))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		ra, rb := &records[a], &records[b]
		switch {
		case ra.Source != rb.Source:
			return cmp.Compare(ra.Source, rb.Source)
		case ra.ID != rb.ID:
			return cmp.Compare(ra.ID, rb.ID)
		}
		return cmp.Or(compareParts(ra.Parts, rb.Parts), cmp.Compare(a, b))
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
				a: a, ux: (b[0] - a[0]) / l, uy: (b[1] - a[1]) / l, length: l, station: station,
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

// toGrid turns a vector from true axes and ground metres to grid axes and
// metres.
func (r *record) toGrid(east, north float64) (x, y float64) {
	return r.scale * (east*r.cosC - north*r.sinC), r.scale * (east*r.sinC + north*r.cosC)
}

// toTrue turns a unit vector from grid axes to true ones.
func (r *record) toTrue(x, y float64) (east, north float64) {
	return x*r.cosC + y*r.sinC, -x*r.sinC + y*r.cosC
}

func (s *segment) distance(p orb.Point) float64 {
	t := min(max(s.along(p), 0), s.length)
	return math.Hypot(p[0]-s.a[0]-t*s.ux, p[1]-s.a[1]-t*s.uy)
}
