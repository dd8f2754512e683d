package match

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// A sheet in the wrong frame or unit lies 10 to 200 m off: nothing of it is inside
// the search radius of what it should meet. Before the matching, every sheet that
// the field does not meet is tried: the samples that nothing on the map explains
// and the sheet's segments are laid upon each other with all shifts at once, as a
// Hough transform does for lines (Duda and Hart, "Use of the Hough Transformation
// to Detect Lines and Curves in Pictures", 1972). A sample of a straight walk and
// a straight segment agree on every shift that brings the one onto the other: a
// piece of a line in the plane of shifts. Where pieces of several records cross,
// is the shift.
//
// Streets repeat, so a shift by a block may fit as well. A shift that a known
// mistake would give there is believed of fewer records than any other, and any
// other must stand out.

const (
	blunderM     = 200 // largest shift tried
	blunderCellM = 2   // side of a cell in the plane of shifts
	aroundM      = 10  // shifts this near are the same one, and shorter ones fit by chance
	parallelCos  = 0.985

	samplesEach = 2    // samples that must agree on a record
	likelyNeeds = 2    // records, for a shift that a known mistake gives
	roughNeeds  = 4    // records, for one near it, where the mistake is known roughly
	anyNeeds    = 5    // records, for any other
	strayShare  = 0.25 // of as many records may be met where the sheet lies
	standOut    = 0.7  // and the best shift farther off is agreed on by this share of them at most
)

// stray is a sample that nothing on the map explains.
type stray struct {
	p       orb.Point
	course  heading
	utility utility
	trace   int32
}

// lost are the strays under a layout, in rows from south to north and from west
// to east in each.
func (l *layout) lost(ss []sample, spreadM float64) []stray {
	var out []stray
	for i := range ss {
		if s := &ss[i]; l.explained(s, spreadM) < 0 {
			out = append(out, stray{s.p, s.course, s.utility, s.trace})
		}
	}
	slices.SortStableFunc(out, func(a, b stray) int { return compareRowwise(a.p, b.p) })
	return out
}

// strayRow is the row of a point.
func strayRow(p orb.Point) float64 { return math.Floor(p[1] / blunderM) }

func compareRowwise(p, q orb.Point) int {
	return cmp.Or(cmp.Compare(strayRow(p), strayRow(q)), cmp.Compare(p[0], q[0]))
}

// within appends to dst the strays in a box that may be of a utility.
func within(lost []stray, box orb.Bound, of utility, dst []stray) []stray {
	for y := strayRow(box.Min); y <= strayRow(box.Max); y++ {
		at := orb.Point{box.Min[0], y * blunderM}
		from, _ := slices.BinarySearchFunc(lost, at, func(s stray, p orb.Point) int { return compareRowwise(s.p, p) })
		for i := from; i < len(lost) && lost[i].p[0] <= box.Max[0] && strayRow(lost[i].p) == y; i++ {
			if s := &lost[i]; box.Contains(s.p) && !s.utility.foreign(of) {
				dst = append(dst, *s)
			}
		}
	}
	return dst
}

// explained is the view that explains a sample best; -1 where none does.
func (l *layout) explained(s *sample, spreadM float64) int {
	at, best := -1, explained
	for k := range s.views {
		v := &s.views[k]
		if f := closeness(v.offset-l.sheetPart(v)-l.sessionPart(s.session, v), spreadM); f > best {
			at, best = k, f
		}
	}
	return at
}

// met counts each sheet's records that some sample is on.
func (l *layout) met(ss []sample, sheets int, spreadM float64) []int {
	seen := map[int32]bool{}
	out := make([]int, sheets)
	for i := range ss {
		if k := l.explained(&ss[i], spreadM); k >= 0 {
			if v := &ss[i].views[k]; v.sheet >= 0 && !seen[v.rec] {
				seen[v.rec] = true
				out[v.sheet]++
			}
		}
	}
	return out
}

// blunders are the starting shifts of sheets (by sheet, what to add to the map)
// that lie so far off that the votes could not see it; nil where there is none.
func (n *network) blunders(s *survey.Survey, ss []sample, l *layout, sheets int, o Options) []shift {
	spread := math.Hypot(o.OwnM, o.LocalM)
	lost := l.lost(ss, spread)
	if len(lost) < likelyNeeds*samplesEach {
		return nil
	}
	met := l.met(ss, sheets, spread)
	bySheet := make([][]int32, sheets) // segments, record by record
	for i := range n.segs {
		if s := n.records[n.segs[i].record].sheet; s >= 0 {
			bySheet[s] = append(bySheet[s], int32(i))
		}
	}
	mistakes := knownMistakes(s)
	out := make([]shift, sheets)
	found := make([]bool, sheets)
	parallel.Each(sheets, o.Workers, func() func(int) {
		h := newHough()
		return func(i int) {
			if len(bySheet[i]) > 0 {
				layer := s.Records[n.records[n.segs[bySheet[i][0]].record].input].Layer
				out[i], found[i] = h.find(n, lost, bySheet[i], met[i], mistakes[layer])
			}
		}
	})
	if !slices.Contains(found, true) {
		return nil
	}
	return out
}

// hough is the plane of shifts and what lies in it.
type hough struct {
	side  int
	cells []houghCell
	used  []int32 // cells that a sample agrees with
	most  int32   // records that agree on one
	near  []stray // scratch: those near a sheet
	some  []int32 // scratch: cells to look at
	best  []int32 // scratch: those on which most agree
}

type houghCell struct {
	records int32 // that agree
	record  int32 // the last one tried, and 1
	sample  int32 // its last sample that agrees, and 1
	samples int32 // of that record
}

func newHough() *hough {
	side := 2*(blunderM/blunderCellM) + 1
	return &hough{side: side, cells: make([]houghCell, side*side)}
}

// find lays the lost samples upon a sheet's segments and returns the shift that
// the sheet must have, if more records agree on it than are met where it lies.
func (h *hough) find(n *network, lost []stray, segs []int32, met int, known []mistake) (shift, bool) {
	records := 0
	for i, id := range segs {
		if i == 0 || n.segs[id].record != n.segs[segs[i-1]].record {
			records++
		}
	}
	if records < likelyNeeds || met+1 >= records {
		return shift{}, false
	}
	box := orb.Bound{Min: n.segs[segs[0]].a, Max: n.segs[segs[0]].a}
	for _, id := range segs {
		box = box.Extend(n.segs[id].a).Extend(n.segs[id].end())
	}
	h.near = within(lost, box.Pad(blunderM), n.records[n.segs[segs[0]].record].utility, h.near[:0])
	if len(h.near) < likelyNeeds*samplesEach {
		return shift{}, false
	}
	h.layAll(n, segs)
	// As many may agree on a small shift, which is for the votes to find.
	near := 0
	h.some = h.around(0, 0, voteM, h.some[:0])
	if c := h.top(h.some, func(e, n float64) bool { return math.Hypot(e, n) <= voteM }); c >= 0 {
		near = int(h.cells[c].records)
	}
	if there, ok := h.known(n, segs, met, max(met, near), known); ok {
		return there, true
	}
	if h.most < anyNeeds {
		return shift{}, false
	}
	best := h.top(h.used, func(e, n float64) bool { return math.Hypot(e, n) > aroundM })
	if best < 0 || !h.believed(best, anyNeeds, max(met, near)*int(1/strayShare)) {
		return shift{}, false
	}
	there := h.at(best)
	rival := h.top(h.used, func(e, n float64) bool { return math.Hypot(e-there.east, n-there.north) > aroundM })
	if rival >= 0 && float64(h.cells[rival].records) > standOut*float64(h.cells[best].records) {
		return shift{}, false
	}
	return there, true
}

// known is the shift of the known mistake that the sheet must carry, if any: near
// to where the mistake puts it, or else as far from there as it may be off.
func (h *hough) known(n *network, segs []int32, met, agreed int, known []mistake) (shift, bool) {
	for _, ring := range [2]struct {
		widest float64
		needs  int
	}{{exactM, likelyNeeds}, {blunderM, roughNeeds}} {
		var best fit
		for i := range known {
			k := &known[i]
			within := min(k.toleranceM, ring.widest)
			h.some = h.around(k.east, k.north, within, h.some[:0])
			c := h.top(h.some, func(e, n float64) bool {
				return math.Hypot(e, n) > aroundM && math.Hypot(e-k.east, n-k.north) <= within
			})
			if c < 0 {
				continue
			}
			believed := h.believed(c, ring.needs, agreed)
			if !believed && (ring.widest > exactM || len(h.near) < fitSamples+fitPerMet*met) {
				continue // it cannot be certain either
			}
			f := n.fit(h.near, segs, h.at(c))
			if math.Hypot(f.east-k.east, f.north-k.north) > within {
				f.shift = h.at(c)
			}
			if f.on > best.on && (believed && f.likely() || ring.widest == exactM && f.certain(met)) {
				best = f
			}
		}
		if best.on > 0 {
			return best.shift, true
		}
	}
	return shift{}, false
}

func (h *hough) believed(cell int32, needs, met int) bool {
	agree := int(h.cells[cell].records)
	return agree >= needs && agree > met+1
}

// alongside says whether a segment runs a stray's way and may be what was walked.
func (s *stray) alongside(g *segment, r *record) bool {
	return math.Abs(g.ux*s.course.x+g.uy*s.course.y) >= parallelCos && !s.utility.foreign(r.utility)
}

// layAll lays the strays near a sheet upon its segments.
func (h *hough) layAll(n *network, segs []int32) {
	for _, c := range h.used {
		h.cells[c] = houghCell{}
	}
	h.used, h.most = h.used[:0], 0
	for _, id := range segs {
		g := &n.segs[id]
		r := &n.records[g.record]
		for i := range h.near {
			if s := &h.near[i]; s.alongside(g, r) {
				h.lay(g, r, s, int32(i))
			}
		}
	}
}

// lay counts a stray, of the given number, in every cell of a shift that brings it
// onto a segment.
func (h *hough) lay(g *segment, r *record, s *stray, number int32) {
	across, along := g.across(s.p)/r.scale, g.along(s.p)/r.scale
	length := g.length / r.scale
	if math.Abs(across) > blunderM || along < -blunderM || along-length > blunderM {
		return
	}
	// The shift is across times the normal, and between along - length and along
	// times the direction.
	ue, un := r.toTrue(g.ux, g.uy)
	for v := max(along-length, -blunderM); v <= min(along, blunderM); v += blunderCellM {
		h.mark(across*un+v*ue, -across*ue+v*un, g.record+1, number+1)
	}
}

// mark counts a shift in the four cells nearest to it: a record as soon as
// samplesEach of its samples agree.
func (h *hough) mark(e, n float64, record, sample int32) {
	x := int(math.Floor(e/blunderCellM-0.5)) + h.side/2
	y := int(math.Floor(n/blunderCellM-0.5)) + h.side/2
	for dy := range 2 {
		for dx := range 2 {
			if x+dx < 0 || y+dy < 0 || x+dx >= h.side || y+dy >= h.side {
				continue
			}
			at := int32((y+dy)*h.side + x + dx)
			c := &h.cells[at]
			switch {
			case c.record == 0:
				h.used = append(h.used, at)
				fallthrough
			case c.record != record:
				c.record, c.sample, c.samples = record, sample, 1
			case c.sample != sample:
				c.sample = sample
				if c.samples++; c.samples == samplesEach {
					c.records++
					h.most = max(h.most, c.records)
				}
			}
		}
	}
}

// at is the shift in the middle of a cell.
func (h *hough) at(cell int32) shift {
	return shift{
		east:  float64(int(cell)%h.side-h.side/2) * blunderCellM,
		north: float64(int(cell)/h.side-h.side/2) * blunderCellM,
	}
}

// around appends to dst the cells no farther than radiusM from a shift, and a few
// more.
func (h *hough) around(e, n, radiusM float64, dst []int32) []int32 {
	from := func(v float64) int { return max(int((v-radiusM)/blunderCellM)-1+h.side/2, 0) }
	to := func(v float64) int { return min(int((v+radiusM)/blunderCellM)+1+h.side/2, h.side-1) }
	for y := from(n); y <= to(n); y++ {
		for x := from(e); x <= to(e); x++ {
			dst = append(dst, int32(y*h.side+x))
		}
	}
	return dst
}

// top is the middle of the cells on which most records agree, of those that may
// be; -1 where there is none.
func (h *hough) top(cells []int32, may func(east, north float64) bool) int32 {
	most := int32(0)
	h.best = h.best[:0]
	for _, c := range cells {
		if n := h.cells[c].records; n >= max(most, 1) {
			if s := h.at(c); may(s.east, s.north) {
				if n > most {
					most, h.best = n, h.best[:0]
				}
				h.best = append(h.best, c)
			}
		}
	}
	if len(h.best) == 0 {
		return -1
	}
	slices.Sort(h.best)
	h.best = slices.Compact(h.best)
	return h.best[len(h.best)/2]
}
