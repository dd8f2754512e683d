package match

import "math"

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
		v := a.sheetVar + c.o.OwnM*c.o.OwnM + c.o.LocalM*c.o.LocalM + o.noise
		w[j] = share[kind] / float64(count[kind]) * student(a.across-a.shift, v) *
			c.parallel(a, o) * c.beyond(a, o)
	}
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
	sin2 := a.ux*o.dy - a.uy*o.dx
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
	v := a.sheetVar + c.o.OwnM*c.o.OwnM + c.o.LocalM*c.o.LocalM + o.noise
	return 1 / math.Pow(1+over*over/(3*v), 1.5)
}

// beyond is the weight of a reading beyond a record's open end on entry.
func (c *chain) beyond(a *candidate, o *observation) float64 {
	if a.beyond == 0 {
		return 1
	}
	return c.tail(a, o)
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
	free := c.unmapped(i)

	// From unmapped.
	last := w[len(from)*m:]
	c.enter(i, utility, last, back*(1-c.o.ForeignShare)*o.offLine, back*c.o.ForeignShare*o.offLine)
	last[m-1] = (1 - back) * o.onLine * free

	for a := range from {
		row := w[a*m : (a+1)*m]
		off := jump
		if c.kind(from[a].rec, utility, b) == kindForeign {
			off = back // a crew finds its own line again
		}
		c.row(&from[a], to, b, o, utility, decay, (1-off-leave)*o.onLine, off*o.offLine, row)
		row[m-1] = leave * o.offLine * free
	}
}

// row fills the weights from one candidate to all of the next reading's.
func (c *chain) row(a *candidate, to []candidate, b, o *observation, utility string, decay, stay, jump float64, row []float64) {
	own := c.o.OwnM * c.o.OwnM
	local := c.o.LocalM * c.o.LocalM
	before := a.sheetVar + own + local + b.noise
	sheet := c.net.records[a.rec].sheet
	limit := 1.5*o.ground + 4*c.o.SnapM + 2*math.Sqrt(b.noise+o.noise)
	tolerance := math.Sqrt(b.noise+o.noise) + c.o.RouteShare*o.ground
	others := 0.0
	c.joined, c.reached = c.joined[:0], c.reached[:0]

	for j := range to {
		z := &to[j]
		// First pass: the density of the position, and the kind of move in the
		// sign: minus is a jump.
		route, same := 0.0, z.rec == a.rec
		connected := same
		if same {
			route = c.net.along(a, z, o.ground)
		} else {
			route, connected = c.net.route(a.rec, a.virtual, z.rec, z.virtual, limit)
		}
		dot := a.nEast*z.nEast + a.nNorth*z.nNorth
		shared := 0.0
		if sz := c.net.records[z.rec].sheet; same || (sz == sheet && sz >= 0) {
			shared = c.sh[sheet+1].covariance(a.nEast, a.nNorth, z.nEast, z.nNorth)
		}
		if same {
			shared += dot * own
		}
		if connected {
			shared += dot * local * decay
		}
		after := z.sheetVar + own + local + o.noise
		gain := shared / before
		density := student(z.across-z.shift-gain*(a.across-a.shift), after-gain*shared)
		switch {
		case same:
			row[j] = density * fits(route-o.ground, tolerance) * min(1, c.tail(z, o)/c.tail(a, b))
		case connected:
			row[j] = density * fits(route-o.ground, tolerance) * c.beyond(z, o)
			isNew(&c.joined, z.rec)
		default:
			row[j] = -density * c.parallel(z, o) * c.beyond(z, o)
			if isNew(&c.reached, z.rec) {
				others += c.attraction(z.rec, utility, o)
			}
		}
	}
	// Second pass: the probability of the move.
	branch := 0.0
	if len(c.joined) > 0 {
		branch = c.branch(a)
	}
	for j := range to {
		switch {
		case to[j].rec == a.rec:
			row[j] *= stay * (1 - branch)
		case row[j] > 0:
			row[j] *= stay * branch / float64(len(c.joined))
		case others > 0:
			row[j] *= -jump * c.attraction(to[j].rec, utility, o) / others
		default:
			row[j] = 0
		}
	}
}

// branch is the share of walks that go on along a joined record.
func (c *chain) branch(a *candidate) float64 {
	if a.beyond > 0 {
		return 1 - c.o.Branch
	}
	r := &c.net.records[a.rec]
	for _, jt := range c.net.joints[r.joints[0]:r.joints[1]] {
		if jt.atEnd && math.Abs(jt.here-a.station) < 0.5 {
			return 1 - c.o.Branch
		}
	}
	return c.o.Branch
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
	v := b.noise + o.noise + 2*c.o.LocalM*c.o.LocalM*(1-math.Exp(-o.ground/c.o.LambdaM))
	return (1-turns)*student(o.bend, v) + turns/(math.Pi*max(o.ground, 1))
}
