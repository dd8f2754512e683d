package match

import (
	"cmp"
	"math"
	"slices"
)

// Walks go in few directions, and all ballots of one direction depend on a shift
// by one number, how far it takes a line across. So the grid of shifts is filled
// from one table a direction; only its peaks are weighed exactly.

const (
	directions = 15   // of half a circle
	acrossM    = 0.25 // between two entries of a table
	maxPeaks   = 8    // peaks of the grid that are weighed exactly
	plainShare = 0.9  // of the ballots must be explained for the search to end at the nearest hill
)

// search is where and how shifts are sought.
type search struct {
	prior   shiftPrior
	spreadM float64
	cells   int                 // from the middle of the grid to its sides
	prices  []float64           // log prior of every cell
	half    int                 // from the middle of a direction's table to its ends
	entries [directions][]int32 // by direction: every cell's entry in its table
}

func newSearch(prior shiftPrior, reachM, spreadM float64) *search {
	k := &search{prior: prior, spreadM: spreadM, cells: int(math.Round(reachM / voteCellM))}
	for i := range k.side() * k.side() {
		k.prices = append(k.prices, prior.log(k.at(i)))
	}
	k.half = int(float64(k.cells)*voteCellM*math.Sqrt2/acrossM) + 1
	for d := range k.entries {
		sin, cos := middleOf(d)
		for y := range k.side() {
			for x := range k.side() {
				p := (cos*float64(x-k.cells) + sin*float64(y-k.cells)) * (voteCellM / acrossM)
				k.entries[d] = append(k.entries[d], int32(int(math.Round(p))+k.half))
			}
		}
	}
	return k
}

func (k *search) side() int { return 2*k.cells + 1 }

// at is the shift of a cell.
func (k *search) at(cell int) (e, n float64) {
	return float64(cell%k.side()-k.cells) * voteCellM, float64(cell/k.side()-k.cells) * voteCellM
}

// middleOf is a direction's own.
func middleOf(d int) (sin, cos float64) {
	return math.Sincos((float64(d) + 0.5) * math.Pi / directions)
}

// modes are the shifts that the ballots leave, the likeliest first, at most
// maxModes. Where the hill about no shift explains nearly all, there is no other.
func (b *ballots) modes(k *search) []mode {
	if m, s := b.refine(0, 0, k); b.explainsAll(&m, k.spreadM) {
		m.weight = s
		return rivals([]mode{m}, rivalNats)
	}
	return b.peaks(k, rivalNats)
}

// peaks are the same shifts wherever they are, down to a log weight so far below
// the best.
func (b *ballots) peaks(k *search, nats float64) []mode {
	b.fill(k)
	side := k.side()
	var peaks []int
	for i := range b.grid {
		if isPeak(b.grid, side, i) {
			peaks = append(peaks, i)
		}
	}
	slices.SortStableFunc(peaks, func(x, y int) int { return cmp.Compare(b.grid[y], b.grid[x]) })
	var out []mode
	for _, i := range peaks[:min(len(peaks), maxPeaks)] {
		e, n := k.at(i)
		m, s := b.refine(e, n, k)
		m.weight = s
		out = append(out, m)
	}
	slices.SortStableFunc(out, func(x, y mode) int {
		return cmp.Or(cmp.Compare(y.weight, x.weight), cmp.Compare(x.east, y.east), cmp.Compare(x.north, y.north))
	})
	return rivals(out, nats)
}

// explainsAll says whether a shift, or what else is known, explains nearly all
// ballots.
func (b *ballots) explainsAll(m *mode, spreadM float64) bool {
	all, fit := 0.0, 0.0
	for i := range b.list {
		x := &b.list[i]
		all += x.weight
		if max(x.base, b.fit(x, m.east, m.north, spreadM)) > explained {
			fit += x.weight
		}
	}
	return fit >= plainShare*all
}

// fill gives every cell of the grid its rough log weight.
func (b *ballots) fill(k *search) {
	for d := range b.across {
		b.across[d] = b.across[d][:0]
	}
	for i := range b.list {
		x := &b.list[i]
		if x.from == x.to {
			continue
		}
		v := &b.views[x.from]
		d := direction15(v.east, v.north)
		t := b.across[d]
		if len(t) == 0 {
			t = grow(t, 2*k.half+1)
			clear(t)
			b.across[d] = t
		}
		b.tabulate(x, d, k, t)
	}
	b.grid = append(b.grid[:0], k.prices...)
	for d, t := range b.across {
		if len(t) == 0 {
			continue
		}
		for i, at := range k.entries[d] {
			b.grid[i] += t[at]
		}
	}
	// Rounded, so that peaks do not hang on the order of a sum.
	for i := range b.grid {
		b.grid[i] = math.Round(b.grid[i]*1e6) / 1e6
	}
}

// direction15 is which of the directions a normal has, either way.
func direction15(east, north float64) int {
	a := math.Atan2(north, east)
	if a < 0 {
		a += math.Pi
	}
	return min(int(a/math.Pi*directions), directions-1)
}

// tabulate adds a ballot's log weight to the table of its direction.
func (b *ballots) tabulate(x *ballot, d int, k *search, t []float64) {
	sin, cos := middleOf(d)
	half, spreadM := k.half, k.spreadM
	best := grow(b.best, len(t))
	b.best = best
	for i := range best {
		best[i] = x.base
	}
	// Farther off than this no view fits better than the base.
	reach := spreadM*math.Sqrt(3*(1/math.Sqrt(x.base)-1)) + 1e-6
	for j := x.from; j < x.to; j++ {
		v := &b.views[j]
		o := v.offset
		if v.east*cos+v.north*sin < 0 {
			o = -o
		}
		from := max(int(math.Ceil((o-reach)/acrossM))+half, 0)
		to := min(int(math.Floor((o+reach)/acrossM))+half, len(t)-1)
		for i := from; i <= to; i++ {
			best[i] = max(best[i], closeness(o-float64(i-half)*acrossM, spreadM))
		}
	}
	nothing := x.weight * math.Log(x.base)
	for i := range t {
		if best[i] == x.base {
			t[i] += nothing
		} else {
			t[i] += x.weight * math.Log(best[i])
		}
	}
}

// isPeak says whether no neighbour of a cell scores higher; of equal ones the
// first is it.
func isPeak(grid []float64, side, i int) bool {
	x, y, v := i%side, i/side, grid[i]
	if x > 0 && grid[i-1] >= v || x < side-1 && grid[i+1] > v {
		return false
	}
	for _, row := range [2]int{y - 1, y + 1} {
		if row < 0 || row >= side {
			continue
		}
		for j := row*side + max(x-1, 0); j <= row*side+min(x+1, side-1); j++ {
			if grid[j] > v || grid[j] == v && j < i {
				return false
			}
		}
	}
	return true
}

// rivals keeps, of shifts in the order of their log weights, those that come
// close to the best and are not the same hill as a better one, and turns their
// weights into shares.
func rivals(ms []mode, nats float64) []mode {
	best := ms[0].weight
	kept := ms[:0]
	for _, m := range ms {
		same := slices.ContainsFunc(kept, func(o mode) bool { return math.Hypot(o.east-m.east, o.north-m.north) < voteCellM })
		if m.weight >= best-nats && !same && len(kept) < maxModes {
			kept = append(kept, m)
		}
	}
	sum := 0.0
	for i := range kept {
		kept[i].weight = math.Exp(kept[i].weight - best)
		sum += kept[i].weight
	}
	for i := range kept {
		kept[i].weight /= sum
	}
	return kept
}

// refine moves a shift to the top of its hill by reweighted least squares, and
// gives its covariance and score.
func (b *ballots) refine(e, n float64, k *search) (mode, float64) {
	var m mode
	spread2 := k.spreadM * k.spreadM
	for range 4 {
		hold := k.prior.weight(e, n)
		ee, en, nn, le, ln := hold, 0.0, hold, 0.0, 0.0
		for i := range b.list {
			x := &b.list[i]
			for j := x.from; j < x.to; j++ {
				v := &b.views[j]
				f := closeness(v.offset-v.east*e-v.north*n, k.spreadM)
				// The share of the ballot that goes to this view, times Student's
				// weight for its misfit.
				w := x.weight * f / (x.base + f) * math.Sqrt(f) / spread2
				ee += w * v.east * v.east
				en += w * v.east * v.north
				nn += w * v.north * v.north
				le += w * v.east * v.offset
				ln += w * v.north * v.offset
			}
		}
		det := ee*nn - en*en
		e, n = (nn*le-en*ln)/det, (ee*ln-en*le)/det
		m.shift = shift{east: e, north: n, ee: nn / det, en: -en / det, nn: ee / det}
	}
	return m, b.score(e, n, k)
}
