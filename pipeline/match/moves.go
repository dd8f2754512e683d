package match

import (
	"math"
	"slices"
)

// start fills the first reading's states: which line a trace begins on, and how
// far from it.
func (c *chain) start(utility string) {
	c.enter(0, utility, c.fwd[:c.states(0)], 1-c.o.UnmappedShare-c.o.ForeignShare, c.o.ForeignShare)
	m := c.states(0)
	// A line that is not on the map may be anywhere within the radius.
	c.fwd[m-1] = c.o.UnmappedShare / (2 * c.o.SearchRadiusM) * c.o.freeDirection()
	sum := 0.0
	for _, v := range c.fwd[:m] {
		sum += v
	}
	scaleTo1(c.fwd[:m], sum)
	copy(c.best[:m], c.fwd[:m])
}

// enter writes to w the weights of beginning on each of reading i's candidates
// from no line: the share own or foreign, divided among the records of that
// kind in reach, times the densities of offset and direction.
func (c *chain) enter(i int, utility string, w []float64, own, foreign float64) {
	cands := c.candidates(i)
	o := &c.obs[i]
	var count [3]int
	c.reached = c.reached[:0]
	for j := range cands {
		if kind := c.kind(cands[j].rec, utility, o); isNew(&c.reached, cands[j].rec) {
			count[kind]++
		}
	}
	share := [3]float64{own, foreign, own * c.o.NoSignalShare}
	for j := range cands {
		a := &cands[j]
		kind := c.kind(a.rec, utility, o)
		v := c.spread(a, o)
		w[j] = share[kind] / float64(count[kind]) * student(a.across-a.shift, v) *
			c.parallel(a, o) * c.tail(a, o)
	}
}

// spread is the variance of a first offset: sheet, session, own and local error
// and the reading's noise.
func (c *chain) spread(a *candidate, o *observation) float64 {
	return a.sheetVar + c.o.SessionM*c.o.SessionM + c.o.OwnM*c.o.OwnM + c.o.LocalM*c.o.LocalM + o.noise
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

// Kinds of record that a trace may enter.
const (
	kindOwn = iota
	kindForeign
	kindNoSignal
)

func (c *chain) kind(rec int32, utility string, o *observation) int {
	r := &c.net.records[rec]
	switch {
	case r.noSignal && !o.anyRecord:
		return kindNoSignal
	case r.utility != utility && r.utility != "" && utility != "":
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

// freeDirection is the mean of parallel over directions, for a line that has
// none to be compared with.
func (o *Options) freeDirection() float64 { return 0.5 }

// tail is the probability that the map's line ends this much too early.
func (c *chain) tail(a *candidate, o *observation) float64 {
	over := a.beyond - a.beyondShift
	if a.beyond == 0 || over <= 0 {
		return 1
	}
	v := c.spread(a, o)
	return 1 / math.Pow(1+over*over/(3*v), 1.5)
}

// moves fills w, row by row, with the weights of all moves from reading i-1 to
// reading i.
func (c *chain) moves(i int, utility string, w []float64) {
	from, to := c.candidates(i-1), c.candidates(i)
	b, o := &c.obs[i-1], &c.obs[i]
	m := len(to) + 1
	g := o.ground
	jump := 1 - math.Exp(-c.o.JumpPerM*g)
	leave := 1 - math.Exp(-c.o.LeavePerM*g)
	back := 1 - math.Exp(-c.o.ReturnPerM*g)
	decay := math.Exp(-g / c.o.LambdaM)
	free := c.unmapped(i) * o.onLine
	// A receiver that leaves its line for one that is not on the map may be
	// anywhere within the radius.
	away := o.offLine / (2 * c.o.SearchRadiusM)

	// From unmapped.
	last := w[len(from)*m:]
	found := back*o.onLine + jump*o.offLine
	c.enter(i, utility, last, found*(1-c.o.ForeignShare), found*c.o.ForeignShare)
	last[m-1] = (1-back-jump)*free + jump*away

	for a := range from {
		row := w[a*m : (a+1)*m]
		off := jump
		if c.kind(from[a].rec, utility, b) == kindForeign {
			off = back // a crew finds its own line again
		}
		c.row(&from[a], to, b, o, utility, decay, (1-off-leave)*o.onLine, off*o.offLine, row)
		row[m-1] = leave*free + jump*c.o.UnmappedShare*away
	}
}

// row fills the weights from one candidate to all of the next reading's.
func (c *chain) row(a *candidate, to []candidate, b, o *observation, utility string, decay, stay, jump float64, row []float64) {
	noise := math.Sqrt(b.noise + o.noise)
	limit := 1.5*o.ground + 4*c.o.SnapM + 2*noise
	others, turns := 0.0, false
	c.ends, c.middles, c.reached = c.ends[:0], c.middles[:0], c.reached[:0]

	// First the density of the position; a minus stands for a jump.
	for j := range to {
		z := &to[j]
		if z.rec == a.rec {
			w := c.fits(c.net.along(a, z, o.ground)-o.ground, noise, o.ground)
			row[j] = w * c.goesOn(a, z, b, o, decay, true) * min(1, c.tail(z, o)/c.tail(a, b))
			continue
		}
		if route, atEnd, ok := c.net.route(a.rec, a.virtual, z.rec, z.virtual, limit); ok {
			row[j] = c.fits(route-o.ground, noise, o.ground) * c.goesOn(a, z, b, o, decay, true) * c.tail(z, o)
			if atEnd {
				isNew(&c.ends, z.rec)
			} else {
				isNew(&c.middles, z.rec)
				turns = true
			}
			continue
		}
		row[j] = -c.goesOn(a, z, b, o, 0, false) * c.parallel(z, o) * c.tail(z, o)
		if isNew(&c.reached, z.rec) {
			others += c.attraction(z.rec, utility, o)
		}
	}
	// Then the probability of the move. Past the end of a record nothing is
	// chosen but one of those that go on there; in its middle few turn off.
	straight := stay
	if turns {
		straight *= 1 - c.o.Branch
	}
	for j := range to {
		switch {
		case to[j].rec == a.rec:
			row[j] *= straight
		case row[j] > 0 && slices.Contains(c.ends, to[j].rec):
			row[j] *= straight / float64(len(c.ends))
		case row[j] > 0:
			row[j] *= stay * c.o.Branch / float64(len(c.middles))
		case others > 0:
			row[j] *= -jump * c.attraction(to[j].rec, utility, o) / others
		default:
			row[j] = 0
		}
	}
}

// goesOn is the density of the next offset given the last one: across lines
// that are joined, or one line, or (after a jump) two lines of which only the
// sheet and the session may be the same.
func (c *chain) goesOn(a, z *candidate, b, o *observation, decay float64, joined bool) float64 {
	own, local := c.o.OwnM*c.o.OwnM, c.o.LocalM*c.o.LocalM
	session := c.o.SessionM * c.o.SessionM
	same := z.rec == a.rec
	dot := a.nEast*z.nEast + a.nNorth*z.nNorth
	shared := session + o.kept*min(b.noise-b.white, o.noise-o.white)
	if same {
		shared += own
	}
	if joined {
		shared += local * decay
	}
	shared *= dot
	if s := c.net.records[a.rec].sheet; same || (s >= 0 && s == c.net.records[z.rec].sheet) {
		shared += c.sh[s+1].covariance(a.nEast, a.nNorth, z.nEast, z.nNorth)
	}
	before := a.sheetVar + session + own + local + b.noise
	after := z.sheetVar + session + own + local + o.noise
	gain := shared / before
	change := z.across - z.shift - gain*(a.across-a.shift)
	best := student(change, after-gain*shared)
	if !joined {
		return best
	}
	// A map error may also have a slope that the walk has shown already, or
	// shows from here on.
	white := b.white + o.white
	for _, slope := range [2]float64{
		math.Copysign(1, dot) * (b.before.x*a.uy - b.before.y*a.ux),
		o.after.x*z.uy - o.after.y*z.ux,
	} {
		steep := slope / c.o.SlopeRad
		best = max(best, student(change-slope*o.ground, white)*math.Exp(-steep*steep/2*o.ground/c.o.SlopeM))
	}
	return best
}

// fits is the weight of a route that is longer or shorter than the ground
// covered: 1 within the noise, falling with its fourth power beyond.
func (c *chain) fits(misfit, noise, groundM float64) float64 {
	z := max(math.Abs(misfit)-3*noise, 0) / (noise + c.o.RouteShare*groundM)
	y := 1 + z*z
	return 1 / (y * y)
}

// attraction is the relative rate at which a receiver jumps to a record.
func (c *chain) attraction(rec int32, utility string, o *observation) float64 {
	switch c.kind(rec, utility, o) {
	case kindForeign:
		return c.o.ForeignJump
	case kindNoSignal:
		return c.o.NoSignalShare
	}
	return 1
}

// unmapped is the density of reading i across a walk along a line that is not
// on the map: it lies on in the walk's direction, or the line bends.
func (c *chain) unmapped(i int) float64 {
	b, o := &c.obs[i-1], &c.obs[i]
	turns := 1 - math.Exp(-c.o.BendPerM*o.ground)
	return (1-turns)*student(o.bend, b.white+o.white) + turns/(math.Pi*max(o.ground, 1))
}
