package adjust

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/junction"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// network is the map as the adjustment sees it: points that move, edges along
// which their movements hang together, and joins between drawings.
type network struct {
	records []recordNet
	rank    []int // of each record among the keys: unknowns are numbered by it
	sheets  []string
	points  int      // 2-D displacements
	degree  []int32  // edges at each point
	joins   [][2]int // points at one place on two sheets
	parts   []int32  // component of each point
	levels  []string // what records have in common, of which strata are made: decade, material, quality

	junctions [][]junction.Member // of the lines in the order of their keys
}

// recordNet is one record in the network.
type recordNet struct {
	line  lineref.Line
	nodes []node // by part, then station
	sheet int    // -1: no sheet
	axes  axes
	level [kinds]int32 // its levels; -1: unknown
	// corrected says that the record has been corrected on the map: its neighbours
	// were drawn to its end then, which tells nothing of their drawing.
	corrected bool
}

// node is a place on a record; nodes at one place of one sheet share a point.
type node struct {
	point, part, segment, vertex int // vertex -1: not a vertex
	stationM                     float64
}

// axes turn the plane's grid metres into true east and north in ground metres
// and back, at one record.
type axes struct{ cos, sin, scale float64 }

func axesOf(scale, convergence float64) axes {
	if scale == 0 {
		scale = 1
	}
	return axes{math.Cos(convergence), math.Sin(convergence), scale}
}

// ground turns a grid vector into true east and north, ground metres. With the
// convergence g positive where grid north lies east of true north, a grid
// bearing t is the true bearing t + g.
func (a axes) ground(x, y float64) (east, north float64) {
	return (x*a.cos + y*a.sin) / a.scale, (y*a.cos - x*a.sin) / a.scale
}

// grid is the inverse of ground.
func (a axes) grid(east, north float64) (x, y float64) {
	return (east*a.cos - north*a.sin) * a.scale, (north*a.cos + east*a.sin) * a.scale
}

// right is the unit vector to the right of a segment, true east and north.
func (a axes) right(l *lineref.Line, part, segment int) (east, north float64) {
	d := l.Direction(part, segment)
	e, n := a.ground(d[1], -d[0])
	return e * a.scale, n * a.scale
}

// buildNetwork lays nodes on every record: its vertices, where another record
// ends on it, and feet, the places that readings ask for. Junctions are those that
// an earlier network of the survey has found; nil: they are looked for.
func buildNetwork(s *survey.Survey, feet [][]foot, junctions [][]junction.Member, o Options) *network {
	n := &network{records: make([]recordNet, len(s.Records))}
	n.nameSheets(s, o.BlockM)
	n.nameLevels(s)
	order := s.ByKey()
	n.rank = make([]int, len(order))
	for i, r := range order {
		n.rank[r] = i
	}
	lines := make([]junction.Line, len(order))
	for i, r := range order {
		rec, rn := &s.Records[r], &n.records[r]
		rn.line = lineref.New(rec.Parts, rec.Scale)
		rn.axes, rn.corrected = axesOf(rec.Scale, rec.Convergence), rec.Corrected
		lines[i] = junction.Line{Line: rn.line, Group: rec.Utility}
	}
	if junctions == nil {
		junctions = junction.Find(lines, o.SnapM)
	}
	n.junctions = junctions
	for _, j := range junctions {
		for _, m := range j {
			feet[order[m.Line]] = append(feet[order[m.Line]], foot{m.Part, m.StationM, true})
		}
	}
	parallel.Each(len(order), 0, func() func(int) {
		return func(r int) {
			rn := &n.records[r]
			rn.nodes = layNodes(&rn.line, feet[r])
			for i := range rn.nodes {
				rn.nodes[i].point = -1
			}
		}
	})
	for _, j := range junctions {
		n.meet(j, order)
	}
	for _, r := range order {
		nodes := n.records[r].nodes
		for i := range nodes {
			if nodes[i].point < 0 {
				nodes[i].point = n.newPoint()
			}
		}
	}
	n.findComponents()
	return n
}

func (n *network) newPoint() int {
	n.points++
	return n.points - 1
}

// meet gives the records at a junction one point a sheet, and joins those of
// different sheets: two drawings of one place need not share an error. A record
// without a sheet stands for itself.
func (n *network) meet(members []junction.Member, order []int) {
	type drawing struct{ sheet, record int }
	at := map[drawing]int{}
	var first []int // the points met here, in order
	for _, m := range members {
		r := order[m.Line]
		rn := &n.records[r]
		nd := rn.nodeAt(m.Part, m.StationM)
		d := drawing{rn.sheet, -1}
		if rn.sheet < 0 {
			d.record = r
		}
		p, ok := at[d]
		if nd.point >= 0 { // already laid by a junction within the snap distance
			p, ok = nd.point, true
		}
		if !ok {
			p = n.newPoint()
		}
		if _, met := at[d]; !met {
			at[d] = p
			if !rn.corrected {
				first = append(first, p)
			}
		}
		nd.point = p
	}
	for _, p := range first {
		if p != first[0] {
			n.joins = append(n.joins, [2]int{first[0], p})
		}
	}
}

// nodeAt is the node laid at a station.
func (rn *recordNet) nodeAt(part int, stationM float64) *node {
	i, alpha := rn.between(part, stationM)
	if alpha > 0.5 {
		i++
	}
	return &rn.nodes[i]
}

// foot is a place on a record that wants a node.
type foot struct {
	part     int
	stationM float64
	meets    bool // another record ends here
}

// compareFeet sorts by place; at one place a meeting goes before a reading.
func compareFeet(a, b foot) int {
	meeting := func(f foot) int {
		if f.meets {
			return 0
		}
		return 1
	}
	return cmp.Or(cmp.Compare(a.part, b.part), cmp.Compare(a.stationM, b.stationM), cmp.Compare(meeting(a), meeting(b)))
}

// nodeGapM is how near to another node a foot point needs none of its own: between
// nodes a line's error is taken as straight; practice.
const nodeGapM = 1.0

// layNodes lists the nodes of one line: every vertex, every meeting that is not
// at one, and every other foot that is not near either.
func layNodes(l *lineref.Line, feet []foot) []node {
	var nodes []node
	for p := range l.Parts {
		st := l.Stations(p)
		for v := range st {
			nodes = append(nodes, node{part: p, segment: min(v, len(st)-2), vertex: v, stationM: st[v]})
		}
	}
	feet = slices.Clone(feet)
	slices.SortFunc(feet, compareFeet)
	nodes = addNodes(l, nodes, feet, true, 1e-6)
	return addNodes(l, nodes, feet, false, nodeGapM)
}

// addNodes lays nodes at the meetings, or at the other feet, that are farther
// than gapM from one that is there.
func addNodes(l *lineref.Line, nodes []node, feet []foot, meets bool, gapM float64) []node {
	there := nodes
	last := foot{part: -1}
	for _, f := range feet {
		if f.meets != meets || last.part == f.part && f.stationM-last.stationM <= gapM {
			continue
		}
		near, _ := slices.BinarySearchFunc(there, f, func(n node, f foot) int {
			return cmp.Or(cmp.Compare(n.part, f.part), cmp.Compare(n.stationM, f.stationM-gapM))
		})
		if near < len(there) && there[near].part == f.part && there[near].stationM <= f.stationM+gapM {
			continue
		}
		nodes = append(nodes, node{part: f.part, segment: l.Segment(f.part, f.stationM), vertex: -1, stationM: f.stationM})
		last = f
	}
	slices.SortFunc(nodes, func(a, b node) int {
		return cmp.Or(cmp.Compare(a.part, b.part), cmp.Compare(a.stationM, b.stationM), cmp.Compare(a.vertex, b.vertex))
	})
	return nodes
}

// edge is the length to the next node, if that lies at another point of the part:
// along such an edge their movements hang together. It is at least a millimetre.
func (rn *recordNet) edge(k int) (lengthM float64, ok bool) {
	if k+1 >= len(rn.nodes) {
		return 0, false
	}
	a, b := &rn.nodes[k], &rn.nodes[k+1]
	return max(b.stationM-a.stationM, 1e-3), a.part == b.part && a.point != b.point
}

// edges yields the nodes at which edges begin.
func (rn *recordNet) edges(yield func(k int, lengthM float64)) {
	for k := range rn.nodes {
		if lengthM, ok := rn.edge(k); ok {
			yield(k, lengthM)
		}
	}
}

// freeEnds is how many edges a node's point lacks of two, at the first of the
// record's nodes that lie there.
func (rn *recordNet) freeEnds(k int, degree []int32) float64 {
	missing := 2 - int(degree[rn.nodes[k].point])
	if missing <= 0 || slices.ContainsFunc(rn.nodes[:k], func(n node) bool { return n.point == rn.nodes[k].point }) {
		return 0
	}
	return float64(missing)
}

// findComponents counts the edges at every point and numbers what hangs
// together, drawings joined on paper included.
func (n *network) findComponents() {
	n.degree = make([]int32, n.points)
	parent := make([]int32, n.points)
	for i := range parent {
		parent[i] = int32(i)
	}
	find := func(i int32) int32 {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	union := func(a, b int) {
		x, y := find(int32(a)), find(int32(b))
		parent[max(x, y)] = min(x, y)
	}
	for r := range n.records {
		rn := &n.records[r]
		rn.edges(func(k int, _ float64) {
			a, b := rn.nodes[k].point, rn.nodes[k+1].point
			n.degree[a]++
			n.degree[b]++
			union(a, b)
		})
	}
	for _, j := range n.joins {
		union(j[0], j[1])
	}
	n.parts = parent
	for i := range parent {
		n.parts[i] = find(int32(i))
	}
}

// nameSheets gives every record its sheet. A blank sheet is none; a layer
// without any sheet is cut into square blocks, so that neighbours drawn
// together can share an error.
func (n *network) nameSheets(s *survey.Survey, blockM float64) {
	named := map[string]bool{} // sources that name sheets
	for i := range s.Records {
		if s.Records[i].Sheet != "" {
			named[s.Records[i].Source] = true
		}
	}
	index := map[string]int{}
	names := make([]string, len(s.Records))
	for i := range s.Records {
		names[i] = s.Records[i].SharedSheet()
		if !named[s.Records[i].Source] && !s.Records[i].Corrected && blockM > 0 {
			c := s.Records[i].Parts.Bound().Center()
			names[i] = fmt.Sprintf("block %d,%d", int(math.Floor(c[0]/blockM)), int(math.Floor(c[1]/blockM)))
		}
		if names[i] != "" {
			index[names[i]] = 0
		}
	}
	for name := range index {
		n.sheets = append(n.sheets, name)
	}
	slices.Sort(n.sheets)
	for i, name := range n.sheets {
		index[name] = i
	}
	for i := range names {
		n.records[i].sheet = -1
		if names[i] != "" {
			n.records[i].sheet = index[names[i]]
		}
	}
}
