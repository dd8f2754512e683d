package correct

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// station is a place of a record that may become a vertex of the corrected line.
type station struct {
	m      float64
	vertex int  // of the record; -1 none
	keep   bool // becomes a vertex whatever its bend
	at     orb.Point
	moved  float64
	u      float64
	noise  float64 // a bend of this size here says nothing
}

// correction builds the corrected line of one record.
func (p *plan) correction(r int, o Options) survey.Correction {
	c := survey.Correction{Record: r}
	for part, line := range p.rec.Parts {
		cp := p.part(part, o)
		if len(cp.Line) == 0 {
			cp = unchanged(line)
		}
		for i, d := range cp.MovedM {
			if d > c.MovedM {
				c.Moved, c.MovedM, c.U = true, d, cp.U[i]
			}
		}
		c.Parts = append(c.Parts, cp)
	}
	return c
}

func unchanged(line orb.LineString) survey.CorrectedPart {
	cp := survey.CorrectedPart{Line: line, From: make([]int, len(line)), MovedM: make([]float64, len(line)), U: make([]float64, len(line))}
	for i := range cp.From {
		cp.From[i] = i
	}
	return cp
}

// part builds one part, or nothing where it does not move.
func (p *plan) part(part int, o Options) survey.CorrectedPart {
	sts := p.stations(part, o)
	moves := false
	for i := range sts {
		st := &sts[i]
		m := p.total(part, st.m, o.FadeOutM)
		st.moved = m.length()
		seg := segmentOf(&p.line, part, st)
		st.at = p.line.AtPart(part, seg, st.m)
		if st.vertex >= 0 {
			st.at = p.rec.Parts[part][st.vertex]
		}
		if st.moved > 0 {
			moves = true
			st.at = displace(st.at, m, p.rec)
		}
	}
	if !moves {
		return survey.CorrectedPart{}
	}
	dropFlat(sts, o.DropM*math.Max(p.rec.Scale, 1e-9))
	var cp survey.CorrectedPart
	for i := range sts {
		if st := &sts[i]; st.keep {
			cp.Line = append(cp.Line, st.at)
			cp.From = append(cp.From, st.vertex)
			cp.MovedM = append(cp.MovedM, st.moved)
			cp.U = append(cp.U, st.u)
		}
	}
	return cp
}

func segmentOf(l *lineref.Line, part int, st *station) int {
	s := l.Stations(part)
	i, _ := slices.BinarySearch(s, st.m)
	return min(max(i-1, 0), len(s)-2)
}

// fadeSteps is into how many pieces a fade-out is bent where the record has no
// vertices.
const fadeSteps = 4

// stations lists where the corrected part may bend: the record's vertices, the
// model's nodes, and the fade-out of every stretch of evidence and every pull.
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
				out = append(out, station{m: at, vertex: -1})
			}
		}
	}
	for i := range p.profile.Nodes {
		if n := &p.profile.Nodes[i]; n.Part == part && n.Vertex < 0 && p.evidenceAt(part, n.StationM) {
			out = append(out, station{m: n.StationM, vertex: -1, noise: 1.96 * n.OffsetU})
		}
	}
	for _, e := range p.evidence {
		if e.Part == part {
			fade(e.FromM, -1, o.FadeOutM)
			fade(e.ToM, 1, o.FadeOutM)
		}
	}
	for _, q := range p.pulls {
		if q.part == part {
			out = append(out, station{m: q.stationM, vertex: -1, keep: q.by != move{}})
			for _, sign := range [2]float64{-1, 1} {
				fade(q.stationM, sign, p.reach(q, q.stationM+sign, o.FadeOutM))
			}
		}
	}
	slices.SortStableFunc(out, func(a, b station) int { return cmp.Compare(a.m, b.m) })
	out = distinct(out)
	for i := range out {
		out[i].u = p.node(part, out[i].m).OffsetU
	}
	return out
}

// distinct leaves out added places at a vertex or at another added place.
func distinct(sts []station) []station {
	const sameM = 1e-3
	out := sts[:0]
	for _, st := range sts {
		n := len(out)
		switch {
		case n == 0 || st.m-out[n-1].m >= sameM || st.vertex >= 0 && out[n-1].vertex >= 0:
			out = append(out, st)
		case st.vertex >= 0 || st.keep && out[n-1].vertex < 0:
			out[n-1] = st
		}
	}
	return out
}

func (p *plan) evidenceAt(part int, m float64) bool {
	return slices.ContainsFunc(p.evidence, func(e survey.Span) bool { return e.Part == part && e.FromM <= m && m <= e.ToM })
}

// dropFlat marks as kept the added places at which the corrected line bends
// away from the straight by more than dropM, and where readings bend it by more
// than their noise (Douglas and Peucker 1973, between the vertices that are kept
// anyway).
func dropFlat(sts []station, dropM float64) {
	a := 0
	for b := 1; b < len(sts); b++ {
		if sts[b].keep {
			bend(sts, a, b, dropM)
			a = b
		}
	}
}

func bend(sts []station, a, b int, dropM float64) {
	worst, beyond := -1, 0.0
	for i := a + 1; i < b; i++ {
		d := offLine(sts[a].at, sts[b].at, sts[i].at) - math.Max(dropM, sts[i].noise)
		if d > beyond {
			worst, beyond = i, d
		}
	}
	if worst < 0 {
		return
	}
	sts[worst].keep = true
	bend(sts, a, worst, dropM)
	bend(sts, worst, b, dropM)
}

func offLine(a, b, p orb.Point) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	l := math.Hypot(dx, dy)
	if l == 0 {
		return math.Hypot(p[0]-a[0], p[1]-a[1])
	}
	return math.Abs(dx*(p[1]-a[1])-dy*(p[0]-a[0])) / l
}
