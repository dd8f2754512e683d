package match

import (
	"math"
	"slices"

	"github.com/asfound/asfound/internal/parallel"
)

// Two sheets of one utility that run side by side can be told apart by the votes
// only together: as long as the one lies where the other's walks are, the other
// has no choice but to lie somewhere else. So for every sheet the places that it
// might have for itself are tried with its neighbours voted anew. What explains
// the samples better is kept; what comes close stays as a rival, of the sheet and
// of the neighbours that it moves.

const (
	aloneNats = 12 // how far below its best place by itself a sheet may lie to be tried
	sameM     = 0.3
)

// untangle tries for every sheet the places that it might have.
func (l *layout) untangle(e *electorate) {
	alone := make([][]mode, len(l.sheets))
	parallel.Each(len(alone), e.o.Workers, func() func(int) {
		var b ballots
		return func(s int) { alone[s] = l.alone(e, int32(s), &b) }
	})
	rivals := make([][]mode, len(l.sheets))
	for s := range l.sheets {
		for _, m := range alone[s] {
			if top := l.sheets[s].shifts; len(top) > 0 && !near(&top[0], &m) {
				l.place(e, int32(s), m, rivals)
			}
		}
	}
	for s := range l.sheets {
		l.sheets[s].shifts = contend(l.sheets[s].shifts, rivals[s])
	}
}

func near(a, b *mode) bool { return math.Hypot(a.east-b.east, a.north-b.north) < sameM }

// alone are the places that a sheet might have if it had the samples for itself.
func (l *layout) alone(e *electorate, sheet int32, b *ballots) []mode {
	b.reset()
	contested := false
	for _, at := range e.bySheet[sheet] {
		s := &e.ss[at]
		b.cast(s.trace, e.weights[at])
		for _, v := range s.views {
			if v.sheet != sheet {
				contested = contested || v.sheet >= 0
				continue
			}
			v.offset -= l.sessionPart(s.session, &v)
			b.add(v)
		}
	}
	if len(b.list) == 0 || !contested {
		return nil
	}
	return b.peaks(e.forSheets, aloneNats)
}

// place lays a sheet at m, has its neighbours voted anew, and keeps that if it
// explains the samples better. If it comes close, what differs goes to the rivals.
func (l *layout) place(e *electorate, sheet int32, m mode, rivals [][]mode) {
	touched := e.sheetsOf(e.bySheet[sheet])
	concerned := e.samplesOf(touched)
	others := slices.DeleteFunc(slices.Clone(touched), func(s int32) bool { return s == sheet })

	before := l.explains(e, concerned, touched, -1)
	old := l.saved(touched)
	m.weight = 1
	l.sheets[sheet] = verdict{shifts: []mode{m}, supported: l.sheets[sheet].supported}
	l.voteSheets(e, others)
	l.voteSheets(e, touched)
	l.voteSheets(e, others)
	after := l.explains(e, concerned, touched, -1)
	moved := l.saved(touched)
	winner, loser, gap := old, moved, after-before
	if gap > 0 {
		winner, loser = moved, old
	}
	l.restore(touched, winner)
	if math.Abs(gap) > rivalNats {
		return
	}
	for i, s := range touched {
		if len(loser[i].shifts) == 0 || len(winner[i].shifts) == 0 || near(&loser[i].shifts[0], &winner[i].shifts[0]) {
			continue
		}
		r := loser[i].shifts[0]
		r.weight = math.Exp(-math.Abs(gap))
		rivals[s] = append(rivals[s], r)
	}
}

// contend adds rivals to the shifts of a sheet, whose first is the likeliest.
func contend(shifts, more []mode) []mode {
	if len(shifts) == 0 || len(more) == 0 {
		return shifts
	}
	out := slices.Clone(shifts)
	for _, m := range more {
		m.weight *= shifts[0].weight
		at := slices.IndexFunc(out, func(o mode) bool { return near(&o, &m) })
		if at < 0 {
			out = append(out, m)
		} else {
			out[at].weight = max(out[at].weight, m.weight)
		}
	}
	return normalised(out)
}
