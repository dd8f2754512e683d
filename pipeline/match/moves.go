package match

import "math"

// start fills the first reading's states: which line a trace begins on, and how
// far from it.
func (c *chain) start() {
	c.enter(0, c.fwd[:c.states(0)], 1-c.o.UnmappedShare)
	m := c.states(0)
	// A line that is not on the map may be anywhere within the radius, but seldom
	// beside one of its own utility that is.
	c.fwd[m-1] = c.o.UnmappedShare / (2 * c.o.SearchRadiusM)
	if c.hasOwnBeside(0) {
		c.fwd[m-1] *= c.o.BesideShare
	}
	sum := 0.0
	for _, v := range c.fwd[:m] {
		sum += v
	}
	scaleTo1(c.fwd[:m], sum)
	copy(c.best[:m], c.fwd[:m])
}

// enter writes to w the weights of beginning on each of reading i's candidates
// from no line: a total probability, parted into lines of the label's utility
// and others, divided among the records of each kind in reach, times the
// densities of offset and direction.
func (c *chain) enter(i int, w []float64, total float64) {
	cands := c.candidates(i)
	o := &c.obs[i]
	var count [3]int
	c.reached = c.reached[:0]
	for j := range cands {
		if isNew(&c.reached, cands[j].rec) {
			count[cands[j].kind]++
		}
	}
	others := min(c.o.ForeignShare*o.foreign, 0.5)
	own := total * (1 - others)
	share := [3]float64{own, total * others, own * c.o.NoSignalShare}
	for j := range cands {
		a := &cands[j]
		w[j] = share[a.kind] / float64(count[a.kind]) * c.first(a) * a.parallel * a.covers
	}
}

// hasOwnBeside says whether a record of the walk's utility runs beside reading i.
func (c *chain) hasOwnBeside(i int) bool {
	if c.utility == 0 {
		return false
	}
	for j := range c.candidates(i) {
		if a := &c.candidates(i)[j]; a.kind == kindOwn && a.beyond == 0 && a.parallel > 0.5 {
			return true
		}
	}
	return false
}

// mapError is the density of a map error x that a record has for itself: most are
// ordinary, with this squared scale, some far off.
func (c *chain) mapError(x, scale2 float64) float64 {
	return (1-c.o.FarOwnShare)*student(x, scale2) + c.o.FarOwnShare*student(x, scale2+c.o.FarOwnM*c.o.FarOwnM)
}

// first is the density of a first offset: sheet, session, own and local error
// and the reading's noise, under every shift that the sheet may have.
func (c *chain) first(a *candidate) float64 {
	rest := a.spread - a.sheetVar
	rivals := c.ps.sheets[c.net.records[a.rec].sheet+1].rivals
	if rivals == nil {
		return c.mapError(a.across-a.shift, a.sheetVar+rest)
	}
	sum := 0.0
	for i := range rivals {
		m := &rivals[i]
		sum += m.weight * c.mapError(a.across-a.nEast*m.east-a.nNorth*m.north, m.variance(a.nEast, a.nNorth)+rest)
	}
	return sum
}

// isNew says whether a record is not in the list yet, and adds it.
func isNew(list *[]int32, rec int32) bool {
	for _, r := range *list {
		if r == rec {
			return false
		}
	}
	*list = append(*list, rec)
	return true
}

// kind is a kind of record that a trace may enter.
type kind uint8

const (
	kindOwn kind = iota
	kindForeign
	kindNoSignal
)

func (c *chain) kind(rec int32, o *observation) kind {
	r := &c.net.records[rec]
	switch {
	case r.noSignal && !o.anyRecord:
		return kindNoSignal
	case c.utility.foreign(r.utility):
		return kindForeign
	}
	return kindOwn
}

// parallel is the weight of the walk's direction against the record's, either
// way, on entry. Afterwards the change of offset speaks for it.
func (c *chain) parallel(a *candidate, o *observation) float64 {
	h := o.after
	if !h.known() {
		h = o.before
	}
	sin2 := a.ux*h.y - a.uy*h.x
	sin2 *= sin2
	spread := c.o.AngleRad*c.o.AngleRad + 2*o.noise/max(o.ground*o.ground, 1)
	return max(1/(1+sin2/spread), c.o.CrossingShare)
}

// step is what all moves between two readings have in common.
type step struct {
	slow   float64 // variance of the slow noise that the two readings have in common
	local  float64 // variance of the local error that is left of the first at the second
	smooth float64 // density of the later reading beside the walk's own course
	turns  float64 // probability that a line turns on the way
	noise  float64 // of the distance between the two
	limit  float64 // longest route, but for what a candidate is beyond an end
}

// moves fills w, row by row, with the weights of all moves from reading i-1 to
// reading i.
func (c *chain) moves(i int, w []float64) {
	from, to := c.candidates(i-1), c.candidates(i)
	b, o := &c.obs[i-1], &c.obs[i]
	m := len(to) + 1
	g := o.ground
	jump := 1 - math.Exp(-c.o.JumpPerM*g)
	leave := 1 - math.Exp(-c.o.LeavePerM*g)
	back := 1 - math.Exp(-c.o.ReturnPerM*g)
	st := step{
		slow:   o.kept * min(b.noise-b.white, o.noise-o.white),
		local:  c.o.LocalM * c.o.LocalM * math.Exp(-g/c.o.LambdaM),
		smooth: student(o.bend, b.white+o.white),
		turns:  1 - math.Exp(-c.o.BendPerM*g),
		noise:  math.Sqrt(b.noise + o.noise),
	}
	st.limit = 1.5*g + 4*c.o.SnapM + 2*st.noise
	c.arrivals(to, &st)
	// Along a line that is not on the map: it goes on smoothly, or it turns.
	free := ((1-st.turns)*st.smooth + st.turns/(math.Pi*max(g, 1))) * o.signal.onLine * c.apart(i)
	// A receiver that leaves its line for one that is not on the map may be
	// anywhere within the radius.
	away := 1 / (2 * c.o.SearchRadiusM)

	// From unmapped.
	last := w[len(from)*m:]
	// Either the line meets the map, whose records are anywhere within the
	// radius otherwise, or the receiver leaps to one.
	found := back*o.signal.onLine*st.smooth*2*c.o.SearchRadiusM + jump
	c.enter(i, last, found)
	last[m-1] = (1-back-jump)*free + jump*away

	reached := c.fwd[c.stateFrom(i-1):]
	for a := range from {
		row := w[a*m : (a+1)*m]
		if reached[a] < hopeless {
			clear(row)
			continue
		}
		off, leave := jump, leave
		switch end, on := c.ends(&from[a], b, o); on {
		case nothing:
			leave += end * c.o.LongerShare // most walks stop there
		case branches:
			leave += end * c.o.MissingShare
		case straight:
			leave += end * c.o.MissingShare * c.o.StraightShare
		}
		if from[a].kind == kindForeign {
			off = back // a crew finds its own line again
		}
		c.row(&from[a], to, o, &st, 1-off-min(leave, 1-off), off, row)
		row[m-1] = leave*free + off*c.o.UnmappedJump*away
	}
}

// hopeless is the probability, given the readings so far, below which a state is
// not followed any further.
const hopeless = 1e-9

// apart is the weight of a line that is not on the map where one of the walk's
// own utility is: two lines of one utility do not lie on top of each other.
func (c *chain) apart(i int) float64 {
	o := &c.obs[i]
	near := 0.0
	for j := range c.candidates(i) {
		if a := &c.candidates(i)[j]; a.kind == kindOwn && a.beyond == 0 {
			near = max(near, closeness2(a.across-a.shift, a.spread)*a.parallel)
		}
	}
	return math.Exp(-c.o.ApartPerM * o.ground * near)
}

// row fills the weights from one candidate to all of the next reading's: along
// its record, over joints to others, or by a leap to any other.
func (c *chain) row(a *candidate, to []candidate, o *observation, st *step, stay, jump float64, row []float64) {
	noise, limit := st.noise, st.limit
	joints := c.net.joined(a, limit+a.beyond+c.o.SearchRadiusM)
	others := 0.0
	c.leaps = grow(c.leaps, len(to))
	for j := range to {
		z := &to[j]
		if z.rec == a.rec {
			// On the inside of a bend the foot leaps ahead.
			ahead := math.Abs(a.across) * math.Hypot(z.ux-a.ux, z.uy-a.uy)
			signal := o.signal.onLine
			if joints && signal != o.signal.atTee && c.net.teeBetween(a, z) {
				signal = o.signal.atTee
			}
			row[j] = stay * signal * c.fits(c.net.along(a, z, o.ground)-o.ground, noise+ahead, o.ground) *
				c.goesOn(a, z, st) * c.staysOn(a, z)
			c.leaps[j] = 0
			continue
		}
		row[j] = 0
		if !joints || len(c.doors[j]) == 0 {
			// nothing joins the records within reach
		} else if way, ok := c.net.route(a, z, c.doors[j], limit+a.beyond+z.beyond); ok {
			row[j] = stay * o.signal.atTee * way.weight * c.follows(a, z) * c.fits(way.length-o.ground, noise+way.gaps, o.ground) *
				c.goesOn(a, z, st) * c.turnsInto(a, z, &way)
			// Past the end of a record the walk goes on; in its middle few turn off.
			if !way.atEnd {
				row[j] *= c.o.Branch
			}
		}
		c.leaps[j] = c.next(a, z, st.slow) * z.parallel * z.covers * z.attraction
		if c.fresh[j] {
			others += z.attraction
		}
	}
	for j := range to {
		if c.leaps[j] > 0 {
			row[j] += jump * c.leaps[j] / others
		}
	}
}

// arrivals finds for every candidate the joints by which a route may come to it,
// those within the longest route, with its last joint's gap; and which candidate
// is the first of its record.
func (c *chain) arrivals(to []candidate, st *step) {
	c.doors, c.fresh = grow(c.doors, len(to)), grow(c.fresh, len(to))
	c.reached = c.reached[:0]
	for j := range to {
		c.doors[j] = c.net.jointsWithin(&to[j], st.limit+to[j].beyond+c.o.SearchRadiusM+c.net.widestM+1)
		c.fresh[j] = isNew(&c.reached, to[j].rec)
	}
}

// goesOn is the density of the next position along a line, or past a joint of
// two.
//
// Either the walk goes on smoothly: then its own course says where the next
// reading lies, and how the map runs beside it says nothing, since what a map has
// wrong grows and shrinks along its lines. Or the walk turns, as it does now and
// then, and mostly where the map does: then the next offset follows from the last
// one, by what two places of a map have in common.
func (c *chain) goesOn(a, z *candidate, st *step) float64 {
	turns := st.turns
	if math.Abs(a.ux*z.ux+a.uy*z.uy) < straightCos {
		turns = turnsWithMap
	}
	return (1-turns)*st.smooth + turns*c.next(a, z, st.slow+st.local)
}

// turnsWithMap is the probability that a line turns sharply where its record
// does; most vertices are a record's own kinks and jogs, or bends taken slowly. Common practice, no source.
const turnsWithMap = 0.2

// follows is the weight of a record's own error when a walk comes onto it from
// another one: what its offsets on this trace typically are beside what the
// other's lead to expect, 1 where they agree. At the joint itself the two
// records' offsets agree anyway, since drafters draw ends together.
func (c *chain) follows(a, z *candidate) float64 {
	shared := c.session.covariance(a.nEast, a.nNorth, z.nEast, z.nNorth)
	if s := c.net.records[a.rec].sheet; s >= 0 && s == c.net.records[z.rec].sheet {
		shared += c.ps.sheets[s+1].covariance(a.nEast, a.nNorth, z.nEast, z.nNorth)
	}
	gain := shared / a.spread
	scale2 := z.spread - gain*shared
	return c.o.FarOwnShare + (1-c.o.FarOwnShare)*closeness2(c.typical(z.rec)-gain*c.typical(a.rec), scale2)
}

// next is the density of an offset given the last one: the regression of two
// values whose covariance is that of the sheet, the session, the record and what
// else the two places share.
func (c *chain) next(a, z *candidate, shared float64) float64 {
	same := z.rec == a.rec
	if same {
		shared += c.o.OwnM * c.o.OwnM
	}
	shared *= a.nEast*z.nEast + a.nNorth*z.nNorth
	shared += c.session.covariance(a.nEast, a.nNorth, z.nEast, z.nNorth)
	if s := c.net.records[a.rec].sheet; same || (s >= 0 && s == c.net.records[z.rec].sheet) {
		shared += c.ps.sheets[s+1].covariance(a.nEast, a.nNorth, z.nEast, z.nNorth)
	}
	gain := shared / a.spread
	return student(z.across-z.shift-gain*(a.across-a.shift), z.spread-gain*shared)
}

// fits is the weight of a route that is longer or shorter than the ground
// covered: 1 within the noise, falling with its fourth power beyond.
func (c *chain) fits(misfit, noise, groundM float64) float64 {
	z := max(math.Abs(misfit)-3*noise, 0) / (noise + c.o.RouteShare*groundM)
	y := 1 + z*z
	return 1 / (y * y)
}
