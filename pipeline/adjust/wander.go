package adjust

import "github.com/asfound/asfound/internal/estimate"

// tie is an entry that a session's wandering puts on two of its knots, or on one
// (a == b): an Ornstein-Uhlenbeck process of unit variance per axis, which every
// reading scales by its own accuracy.
type tie struct {
	a, b      int
	diag, off float64
}

func (t *tie) add(m entries) {
	m.Add(t.a, t.a+1, 0)
	for axis := range 2 {
		a, b := t.a+axis, t.b+axis
		m.Add(a, a, t.diag)
		if t.a != t.b {
			m.Add(b, b, t.diag)
			m.Add(a, b, t.off)
		}
	}
}

// tiedOn says whether the process goes on from a knot to the next.
func (p *problem) tiedOn(k int) bool { return k+1 < len(p.ev.knots) && p.ev.knots[k+1].follows }

// tieKnot yields the ties of a knot that belong with it: its free ends, and those
// to its neighbours that are not the neighbours' to add. Between a cell's own knot
// and a shared one the tie is the cell's.
func (p *problem) tieKnot(k int, yield func(tie)) {
	if !p.ev.knots[k].follows {
		yield(tie{k, k, estimate.OUEnd(1), 0})
	}
	if !p.tiedOn(k) {
		yield(tie{k, k, estimate.OUEnd(1), 0})
	}
	edge := func(a, b int) {
		diag, off := estimate.OUEdge(p.ev.knots[b].timeS-p.ev.knots[a].timeS, p.o.WanderS, 1)
		yield(tie{a, b, diag, off})
	}
	own := !p.sharedKnot[k]
	if p.tiedOn(k) && (own || p.sharedKnot[k+1]) {
		edge(k, k+1)
	}
	if own && p.ev.knots[k].follows && p.sharedKnot[k-1] {
		edge(k-1, k)
	}
}
