package match

import (
	"cmp"
	"math"
	"slices"
)

// Competing shifts are found by voting: every sample says, for each record it
// may belong to, that the sheet's shift plus the session's error has a certain
// component across that record. A shift that explains many samples on many
// records wins; one that comes close competes.

const (
	voteCellM   = 0.5  // grid on which shifts are tried
	voteM       = 6    // largest shift tried
	sessionM    = 3    // largest session error tried
	unexplained = 0.02 // weight of a sample that nothing explains, beside 1 for a perfect fit
	explained   = 0.3  // fit from which on a sample counts as explained
	votesPer    = 2    // votes on one record, however many its samples: they share its errors
	minRecords  = 3    // records that must support a sheet's shift, or sheets a session's error
	minTraces   = 2    // walks that must: one trace on the wrong line is wrong all along
	maxModes    = 3    // shifts that compete
	sessionNats = 3.0  // how much better the samples must be explained for a session to be wrong
	rivalNats   = 5    // how far below the best a rival may lie
)

// mode is one shift that a sheet may have, with what is left to know of it.
type mode struct {
	shift
	weight float64 // among its rivals
}

// ballot is one sample's say about one shift: the views that would be of the
// unit in question, and how well everything else explains the sample.
type ballot struct {
	trace  int32
	weight float64
	base   float64
	views  []view // offsets already less what is known of the rest
}

// score is the log weight of a shift (e, n): its prior and the ballots'.
func score(bs []ballot, e, n float64, prior shiftPrior, spreadM float64) float64 {
	sum := prior.log(e, n)
	for i := range bs {
		b := &bs[i]
		sum += b.weight * math.Log(max(b.base, b.fit(e, n, spreadM)))
	}
	// Rounded, so that ties do not hang on the order of a sum.
	return math.Round(sum*1e8) / 1e8
}

// shiftPrior is what is expected of a shift before the votes: most are ordinary,
// some far off; both normal, with these standard deviations per axis.
type shiftPrior struct{ nearM, farM, farShare float64 }

// log is the log density of a shift, against none.
func (p shiftPrior) log(e, n float64) float64 {
	r2 := (e*e + n*n) / 2
	near, far := (1-p.farShare)/(p.nearM*p.nearM), p.farShare/(p.farM*p.farM)
	return math.Log((near*math.Exp(-r2/(p.nearM*p.nearM)) + far*math.Exp(-r2/(p.farM*p.farM))) / (near + far))
}

// weight is the weight (an inverse variance) with which the prior holds a shift
// to zero.
func (p shiftPrior) weight(e, n float64) float64 {
	r2 := (e*e + n*n) / 2
	a, b := p.nearM*p.nearM, p.farM*p.farM
	near, far := (1-p.farShare)/a*math.Exp(-r2/a), p.farShare/b*math.Exp(-r2/b)
	return (near/a + far/b) / (near + far)
}

// fit is how well the best view of a ballot fits a shift, 1 for perfectly.
func (b *ballot) fit(e, n, spreadM float64) float64 {
	best := 0.0
	for i := range b.views {
		v := &b.views[i]
		best = max(best, closeness(v.offset-v.east*e-v.north*n, spreadM))
	}
	return best
}

// supports says whether the ballots that a shift explains come from enough walks
// and, by what key says of a view, from enough units.
func supports(bs []ballot, m *mode, spreadM float64, key func(*view) int32) bool {
	traces, units := map[int32]bool{}, map[int32]bool{}
	for i := range bs {
		for k := range bs[i].views {
			if v := &bs[i].views[k]; closeness(v.offset-v.east*m.east-v.north*m.north, spreadM) > explained {
				traces[bs[i].trace], units[key(v)] = true, true
			}
		}
	}
	return len(traces) >= minTraces && len(units) >= minRecords
}

func closeness(misfit, spreadM float64) float64 {
	y := 1 + misfit*misfit/(3*spreadM*spreadM)
	return 1 / (y * y)
}

// modes are the shifts that the ballots leave, the likeliest first, at most
// maxModes.
func modes(bs []ballot, reachM float64, prior shiftPrior, spreadM float64) []mode {
	cells := int(math.Round(reachM / voteCellM))
	side := 2*cells + 1
	grid := make([]float64, side*side)
	for i := range grid {
		e, n := float64(i%side-cells)*voteCellM, float64(i/side-cells)*voteCellM
		grid[i] = score(bs, e, n, prior, spreadM)
	}
	var out []mode
	for i := range grid {
		if isPeak(grid, side, i) {
			m, s := refine(bs, float64(i%side-cells)*voteCellM, float64(i/side-cells)*voteCellM, prior, spreadM)
			m.weight = s
			out = append(out, m)
		}
	}
	slices.SortStableFunc(out, func(a, b mode) int {
		return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.east, b.east), cmp.Compare(a.north, b.north))
	})
	return rivals(out)
}

// isPeak says whether no neighbour of a cell scores higher; of equal ones the
// first is it.
func isPeak(grid []float64, side, i int) bool {
	x, y := i%side, i/side
	for dy := max(y-1, 0); dy <= min(y+1, side-1); dy++ {
		for dx := max(x-1, 0); dx <= min(x+1, side-1); dx++ {
			if j := dy*side + dx; grid[j] > grid[i] || (grid[j] == grid[i] && j < i) {
				return false
			}
		}
	}
	return true
}

// rivals keeps, of shifts in the order of their log weights, those that come
// close to the best and are not the same hill as a better one, and turns their
// weights into shares.
func rivals(ms []mode) []mode {
	best := ms[0].weight
	kept := ms[:0]
	for _, m := range ms {
		same := slices.ContainsFunc(kept, func(o mode) bool { return math.Hypot(o.east-m.east, o.north-m.north) < voteCellM })
		if m.weight >= best-rivalNats && !same && len(kept) < maxModes {
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
func refine(bs []ballot, e, n float64, prior shiftPrior, spreadM float64) (mode, float64) {
	var m mode
	for range 4 {
		hold := prior.weight(e, n)
		ee, en, nn, le, ln := hold, 0.0, hold, 0.0, 0.0
		for i := range bs {
			b := &bs[i]
			for k := range b.views {
				v := &b.views[k]
				f := closeness(v.offset-v.east*e-v.north*n, spreadM)
				// The share of the ballot that goes to this view, times Student's
				// weight for its misfit.
				w := b.weight * f / (b.base + f) * math.Sqrt(f) / (spreadM * spreadM)
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
	return m, score(bs, e, n, prior, spreadM)
}
