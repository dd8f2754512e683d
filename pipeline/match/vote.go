package match

import "math"

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

// ballots are the samples' says about one unit's shift.
type ballots struct {
	list  []ballot
	views []view // of all, ballot by ballot; offsets already less what is known of the rest
	// Memory of the search: per direction of walks, the log weight of the ballots
	// cast there by how far the shift takes a line across it; and the grid.
	across  [directions][]float64
	grid    []float64
	bridged []float64
	best    []float64 // of one ballot, by how far across
	bytes   []byte    // of all, for their digest
}

// ballot is one sample's say: the views that would be of the unit in question,
// and how well everything else explains the sample.
type ballot struct {
	trace    int32
	from, to int32 // its views
	weight   float64
	base     float64
}

func (b *ballots) reset() { b.list, b.views = b.list[:0], b.views[:0] }

func (b *ballots) cast(trace int32, weight float64) {
	at := int32(len(b.views))
	b.list = append(b.list, ballot{trace: trace, from: at, to: at, weight: weight, base: unexplained})
}

// add gives the ballot cast last one more view.
func (b *ballots) add(v view) {
	b.views = append(b.views, v)
	b.list[len(b.list)-1].to++
}

// explainedBy says that something else explains the ballot cast last so well.
func (b *ballots) explainedBy(fit float64) {
	x := &b.list[len(b.list)-1]
	x.base = max(x.base, fit)
}

// bridge lets what explains a walk before and after a sample explain the sample
// too: maps have bumps, walks do not change lines for a few metres.
func (b *ballots) bridge() {
	const reach = 4 // samples
	b.bridged = b.bridged[:0]
	for i := range b.list {
		x := &b.list[i]
		side := func(step int) float64 {
			best := 0.0
			for j := i + step; j >= 0 && j < len(b.list) && b.list[j].trace == x.trace && (j-i)*step <= reach; j += step {
				best = max(best, b.list[j].base)
			}
			return best
		}
		b.bridged = append(b.bridged, max(x.base, bridged*min(side(-1), side(1))))
	}
	for i := range b.list {
		b.list[i].base = b.bridged[i]
	}
}

// bridged is how well a sample between two that are explained perfectly is.
const bridged = 0.5

// fit is how well the best view of a ballot fits a shift, 1 for perfectly.
func (b *ballots) fit(x *ballot, e, n, spreadM float64) float64 {
	best := 0.0
	for i := x.from; i < x.to; i++ {
		v := &b.views[i]
		best = max(best, closeness(v.offset-v.east*e-v.north*n, spreadM))
	}
	return best
}

// score is the log weight of a shift (e, n): its prior and the ballots'.
func (b *ballots) score(e, n float64, k *search) float64 {
	sum := k.prior.log(e, n)
	for i := range b.list {
		x := &b.list[i]
		sum += x.weight * logFit(max(x.base, b.fit(x, e, n, k.spreadM)))
	}
	// Rounded, so that ties do not hang on the order of a sum.
	return math.Round(sum*1e8) / 1e8
}

// logFit is the logarithm of how well something is explained, which mostly is not
// at all.
func logFit(fit float64) float64 {
	if fit == unexplained {
		return logUnexplained
	}
	return math.Log(fit)
}

var logUnexplained = math.Log(unexplained)

// supports says whether the ballots that a shift explains come from enough walks
// and, by what key says of a view, from enough units.
func (b *ballots) supports(m *mode, spreadM float64, key func(*view) int32) bool {
	traces, units := b.support(m, spreadM, key)
	return len(traces) >= minTraces && len(units) >= minRecords
}

// support is the walks and units that the ballots come from which a shift explains.
func (b *ballots) support(m *mode, spreadM float64, key func(*view) int32) (traces, units map[int32]bool) {
	traces, units = map[int32]bool{}, map[int32]bool{}
	for i := range b.list {
		x := &b.list[i]
		for j := x.from; j < x.to; j++ {
			if v := &b.views[j]; closeness(v.offset-v.east*m.east-v.north*m.north, spreadM) > explained {
				traces[x.trace], units[key(v)] = true, true
			}
		}
	}
	return traces, units
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

// closeness is the weight of a misfit, 1 for none: Student's t with 3 degrees of
// freedom and this scale, against its peak.
func closeness(misfit, spreadM float64) float64 { return closeness2(misfit, spreadM*spreadM) }

func closeness2(misfit, variance float64) float64 {
	y := 1 + misfit*misfit/(3*variance)
	return 1 / (y * y)
}
