package correct

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// station is a place of a record that may become a vertex of the corrected line.
type station struct {
	m      float64
	vertex int     // of the record; -1 none
	keep   bool    // becomes a vertex whatever its bend
	slackM float64 // a bend of this size here says nothing
	at     orb.Point
	moved  move
	cause  survey.Cause
}

// build lays the corrected parts of a record; nil if nothing of it moves.
func (p *plan) build(o Options) []survey.CorrectedPart {
	if p.pinned || len(p.moves) == 0 && len(p.pulls) == 0 && p.shift == (move{}) {
		return nil
	}
	var out []survey.CorrectedPart
	moved := false
	for part, line := range p.rec.Parts {
		cp, moves := p.part(part, o)
		if moved = moved || moves; !moves {
			cp = p.unchanged(part, line)
		}
		out = append(out, cp)
	}
	if !moved {
		return nil
	}
	return out
}

// part lays one part, and says whether it moves.
func (p *plan) part(part int, o Options) (cp survey.CorrectedPart, moves bool) {
	sts := p.stations(part, o)
	for i := range sts {
		p.lay(part, &sts[i])
		moves = moves || sts[i].moved != (move{})
	}
	if !moves {
		return cp, false
	}
	dropFlat(sts, p.line.Scale)
	for i := range sts {
		if st := &sts[i]; st.keep {
			p.add(&cp, part, st, o)
		}
	}
	return cp, true
}

// add makes a vertex of a station.
func (p *plan) add(cp *survey.CorrectedPart, part int, st *station, o Options) {
	cp.Line = append(cp.Line, st.at)
	cp.From = append(cp.From, st.vertex)
	cp.StationM = append(cp.StationM, st.m)
	cp.MovedM = append(cp.MovedM, st.moved.length())
	cp.U = append(cp.U, p.uncertainty(part, p.line.Segment(part, st.m), st.m, st.moved))
	cp.Cause = append(cp.Cause, st.cause)
	cp.Readings = append(cp.Readings, p.used(part, st.m, o.MaxGapM))
}

// unchanged is a part that stays beside others that move.
func (p *plan) unchanged(part int, line orb.LineString) survey.CorrectedPart {
	n := len(line)
	cp := survey.CorrectedPart{
		Line: line, From: make([]int, n), StationM: slices.Clone(p.line.Stations(part)),
		MovedM: make([]float64, n), U: make([]float64, n), Cause: make([]survey.Cause, n), Readings: make([]int, n),
	}
	for i := range cp.From {
		cp.From[i] = i
		cp.U[i] = p.uncertainty(part, p.line.Segment(part, cp.StationM[i]), cp.StationM[i], move{})
	}
	return cp
}

// lay says where a station goes, and why.
func (p *plan) lay(part int, st *station) {
	st.at = p.line.AtPart(part, p.line.Segment(part, st.m), st.m)
	if st.vertex >= 0 {
		st.at = p.rec.Parts[part][st.vertex]
	}
	st.moved = p.total(part, st.m)
	if st.moved == (move{}) {
		return
	}
	by := p.onGrid(st.moved)
	own := p.own(part, st.m).times(p.held(part, st.m))
	if i := p.firstPull(part, st.m); i < len(p.pulls) && p.pulls[i].part == part && p.pulls[i].stationM-st.m < sameM {
		by = p.pulls[i].grid
	}
	st.at = orb.Point{st.at[0] + by[0], st.at[1] + by[1]}
	switch w := p.weight(part, st.m); {
	case w == 1:
		st.cause = survey.CauseEvidence
	case own.length() < st.moved.plus(own, -1).length():
		st.cause = survey.CauseJunction
	case w > 0:
		st.cause = survey.CauseFade
	default:
		st.cause = survey.CauseShift
	}
}

const (
	fadeSteps = 4     // into how many pieces a fade-out is bent where the record has no vertices
	teeM      = 0.001 // how far off its line a tee may come to lie
)

// stations lists where the corrected part may bend: the record's vertices, the
// model's nodes, the shared places, and the fade-out of every stretch of evidence,
// every pull and every hold.
func (p *plan) stations(part int, o Options) []station {
	s := p.line.Stations(part)
	first, last := s[0], s[len(s)-1]
	var out []station
	for v := range s {
		out = append(out, station{m: s[v], vertex: v, keep: true})
	}
	fade := func(fromM, sign, reach float64) {
		for k := 0.0; k <= fadeSteps; k++ {
			if at := fromM + sign*reach*k/fadeSteps; at > first && at < last {
				out = append(out, station{m: at, vertex: -1, slackM: o.DropM})
			}
		}
	}
	for i := range p.profile.Nodes {
		n := &p.profile.Nodes[i]
		if n.Part == part && n.Vertex < 0 && within(p.moves, part, n.StationM) {
			out = append(out, station{m: n.StationM, vertex: -1, slackM: max(o.DropM, 1.96*n.OffsetU)})
		}
	}
	for _, e := range p.moves {
		if e.Part == part {
			fade(e.FromM, -1, o.FadeOutM)
			fade(e.ToM, 1, o.FadeOutM)
		}
	}
	for _, h := range p.holds {
		if h.span.Part == part {
			fade(h.span.FromM, -1, h.fadeM)
			fade(h.span.ToM, 1, h.fadeM)
		}
	}
	for i := range p.pulls {
		q := &p.pulls[i]
		if q.part != part {
			continue
		}
		out = append(out, station{m: q.stationM, vertex: -1, slackM: teeM})
		if q.by.length() > teeM {
			fade(q.stationM, -1, p.reach(i, -1))
			fade(q.stationM, 1, p.reach(i, 1))
		}
	}
	for _, f := range p.fittings {
		if f.part == part {
			out = append(out, station{m: f.stationM, vertex: -1, slackM: teeM})
		}
	}
	slices.SortStableFunc(out, func(a, b station) int { return cmp.Compare(a.m, b.m) })
	return distinct(out)
}

// reach is how far the i-th pull is felt along the record, forwards or back.
func (p *plan) reach(i, sign int) float64 {
	k := i + sign
	if k < 0 || k >= len(p.pulls) || p.pulls[k].part != p.pulls[i].part {
		return p.fadeM
	}
	return min(p.fadeM, math.Abs(p.pulls[k].stationM-p.pulls[i].stationM))
}

// distinct leaves out added places at a vertex or at another added place that
// asks for as much.
func distinct(sts []station) []station {
	out := sts[:0]
	for _, st := range sts {
		n := len(out)
		switch {
		case n == 0 || st.m-out[n-1].m >= sameM || st.vertex >= 0 && out[n-1].vertex >= 0:
			out = append(out, st)
		case st.vertex >= 0 || out[n-1].vertex < 0 && st.slackM < out[n-1].slackM:
			out[n-1] = st
		}
	}
	return out
}

// dropFlat marks as kept the added places at which the corrected line bends away
// from the straight by more than they ask for (Douglas and Peucker 1973, between
// the vertices that are kept anyway). gridM is a ground metre on the grid.
func dropFlat(sts []station, gridM float64) {
	a := 0
	for b := 1; b < len(sts); b++ {
		if sts[b].keep {
			bend(sts, a, b, gridM)
			a = b
		}
	}
}

func bend(sts []station, a, b int, gridM float64) {
	worst, over := -1, 0.0
	for i := a + 1; i < b; i++ {
		if d := planar.DistanceFromSegment(sts[a].at, sts[b].at, sts[i].at) - sts[i].slackM*gridM; d > over {
			worst, over = i, d
		}
	}
	if worst < 0 {
		return
	}
	sts[worst].keep = true
	bend(sts, a, worst, gridM)
	bend(sts, worst, b, gridM)
}
