package match

import (
	"maps"
	"math"
	"slices"
)

// Before sheets and sessions are looked at one by one, each source of positions
// is: where its positions are in another frame than the map, every sheet seems
// to be off by the same. Which of the two is off cannot be told here, and for the
// matching need not be; but sheets with too few walks to speak for themselves may
// then be expected where the others are.

const (
	sourceM      = 3   // largest error of a source tried
	sourceNats   = 6.0 // how much better the samples must be explained than by none
	sheetVotes   = 6.0 // votes of one sheet, however many its samples: they share its shift
	sourceSheets = 4   // sheets that must speak for a source's error
)

// voteSources finds what the sources of positions are off.
func (l *layout) voteSources(e *electorate) {
	bySource := map[string][]int32{}
	for i := range e.ss {
		if s := &e.ss[i]; s.session >= 0 && len(s.views) > 0 {
			bySource[s.source] = append(bySource[s.source], int32(i))
		}
	}
	var b ballots
	for _, name := range slices.Sorted(maps.Keys(bySource)) {
		g, ok := e.voteSource(bySource[name], &b)
		if !ok {
			continue
		}
		for _, i := range bySource[name] {
			l.common[e.ss[i].session] = g
		}
	}
}

// voteSource is what a source is off, if enough sheets say the same.
func (e *electorate) voteSource(samples []int32, b *ballots) (shift, bool) {
	votes := map[int32]float64{}
	for _, i := range samples {
		votes[e.ss[i].nearest().sheet] += e.weights[i]
	}
	b.reset()
	for _, i := range samples {
		b.cast(e.ss[i].trace, e.weights[i]*min(1, sheetVotes/votes[e.ss[i].nearest().sheet]))
		for _, v := range e.ss[i].views {
			b.add(v)
		}
	}
	k := e.forSources
	m := b.modes(k)[0]
	if math.Hypot(m.east, m.north) < e.spreadM || b.score(m.east, m.north, k) < b.score(0, 0, k)+sourceNats {
		return shift{}, false
	}
	_, sheets := b.support(&m, k.spreadM, func(v *view) int32 { return v.sheet })
	delete(sheets, -1)
	return m.shift, len(sheets) >= sourceSheets
}
