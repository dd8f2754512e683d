package match

import (
	"math"

	"github.com/paulmach/orb"
)

// fit is how well samples lie on a sheet that is moved by a shift.
type fit struct {
	shift
	records int // with samplesEach samples on them
	traces  int // that a sample on the sheet is of
	on      int // samples on the sheet
	beside  int // samples within fitReachM of it, those on it too
}

const (
	fitReachM  = 3   // a sample this near to a moved line may belong to it
	fitM       = 0.1 // how far it typically is off then, common practice, no source
	onFits     = 3   // times as far it is still on the line
	fitRounds  = 3   // of laying and moving
	fitWeights = 10  // rounds of weighing

	likelyShare = 0.5 // of the samples beside the sheet must be on it, whatever the mistake

	// What a known mistake needs where too few records agree for the count of
	// records alone: fits that happened by chance on made-up towns had fewer
	// samples, of one walk, or others beside them.
	fitSamples = 4
	fitPerMet  = 5
	fitShare   = 0.75
	fitTraces  = 2
)

// likely says whether most samples beside the moved sheet are on it.
func (f *fit) likely() bool { return float64(f.on) >= likelyShare*float64(f.beside) }

// certain says whether a sheet that lies where met of its records are met must
// have been moved.
func (f *fit) certain(met int) bool {
	return f.records >= likelyNeeds && f.traces >= fitTraces && f.on >= fitSamples+fitPerMet*met && float64(f.on) >= fitShare*float64(f.beside)
}

// pair is a sample beside a moved segment.
type pair struct {
	off         float64 // square to the line, + right, ground metres
	east, north float64 // the line's normal, + right, true axes
	rec, trace  int32
}

// fit lays samples upon a sheet's segments moved by a shift, improves the shift
// by what most of them are off, and counts.
func (n *network) fit(near []stray, segs []int32, start shift) fit {
	f := fit{shift: start}
	pairs := n.pairs(near, segs, f.shift)
	for range fitRounds - 1 {
		east, north := improve(pairs)
		f.east, f.north = f.east+east, f.north+north
		pairs = n.pairs(near, segs, f.shift)
	}
	f.beside = len(pairs)
	records, traces := map[int32]int{}, map[int32]bool{}
	for i := range pairs {
		if p := &pairs[i]; math.Abs(p.off) < onFits*fitM {
			f.on++
			traces[p.trace] = true
			if records[p.rec]++; records[p.rec] == samplesEach {
				f.records++
			}
		}
	}
	f.traces = len(traces)
	return f
}

// pairs finds for each sample the nearest moved segment that runs its way.
func (n *network) pairs(near []stray, segs []int32, moved shift) []pair {
	var out []pair
	for i := range near {
		s := &near[i]
		best := pair{off: fitReachM}
		for _, id := range segs {
			g := &n.segs[id]
			r := &n.records[g.record]
			if !s.alongside(g, r) {
				continue
			}
			dx, dy := r.toGrid(moved.east, moved.north)
			p := orb.Point{s.p[0] - dx, s.p[1] - dy}
			if along := g.along(p); along < -fitReachM || along > g.length+fitReachM {
				continue
			}
			if off := g.across(p) / r.scale; math.Abs(off) < math.Abs(best.off) {
				east, north := r.toTrue(g.ux, g.uy)
				best = pair{off, north, -east, g.record, s.trace}
			}
		}
		if best.off < fitReachM {
			out = append(out, best)
		}
	}
	return out
}

// improve is by how much most pairs are off: least squares with a Cauchy weight,
// and no step where nothing is seen.
func improve(pairs []pair) (east, north float64) {
	const ridge = fitM * fitM / (fitReachM * fitReachM)
	for range fitWeights {
		ee, en, nn, ge, gn := ridge, 0.0, ridge, 0.0, 0.0
		for i := range pairs {
			p := &pairs[i]
			z := (p.off - p.east*east - p.north*north) / fitM
			w := 1 / (1 + z*z)
			ee += w * p.east * p.east
			en += w * p.east * p.north
			nn += w * p.north * p.north
			ge += w * p.east * p.off
			gn += w * p.north * p.off
		}
		det := ee*nn - en*en
		east, north = (nn*ge-en*gn)/det, (ee*gn-en*ge)/det
	}
	return east, north
}
