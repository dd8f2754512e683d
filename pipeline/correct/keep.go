package correct

import (
	"math"
	"slices"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// change is something that the corrected lines break: along a record, and beside
// which other one.
type change struct {
	kind   changeKind
	on     stretch
	beside stretch // record -1: none
	left   float64 // what may be left of the moves for nothing to break
	wouldM float64 // how far past the other line it would go
	seen   bool    // readings on both lines ask for it
}

// stretch is a part of a record.
type stretch struct {
	record int
	span   survey.Span
}

type changeKind int

const (
	changesSide changeKind = iota
	crossesItself
)

const (
	rounds = 8 // of holding back and laying anew
	firm   = 4 // from this round on what still breaks something stays where it is
)

// settle lays the lines and, as long as they break something, holds back what
// breaks it. It ends, since what is held back again and again stays where it is,
// and a map that stays breaks nothing.
func (w *network) settle() {
	dirty := make([]int, len(w.plans))
	for r := range dirty {
		dirty[r] = r
	}
	for round := range rounds {
		w.lay(dirty)
		w.look(dirty)
		if round == rounds-1 {
			return
		}
		if dirty = w.hold(dirty, round >= firm); len(dirty) == 0 {
			return
		}
	}
}

// lay builds some records.
func (w *network) lay(records []int) {
	parallel.Each(len(records), 0, func() func(int) {
		return func(i int) {
			r := records[i]
			p := &w.plans[r]
			w.built[r], w.lines[r] = p.build(w.o), p.line
			if w.built[r] == nil {
				return
			}
			parts := slices.Clone(p.rec.Parts)
			for k := range w.built[r] {
				parts[k] = w.built[r][k].Line
			}
			w.lines[r] = lineref.New(parts, p.rec.Scale)
		}
	})
}

// look finds what the lines of some records, as they are laid, break.
func (w *network) look(records []int) {
	sureU := math.Sqrt2 * math.Erfinv(2*w.o.SideShare-1)
	parallel.Each(len(records), 0, func() func(int) {
		look := sides{network: w, sureU: sureU}
		return func(i int) {
			r := records[i]
			if w.breaks[r] = nil; w.built[r] != nil {
				w.breaks[r] = append(look.of(r), w.crossings(r)...)
			}
		}
	})
}

// hold has what breaks something go less far or, when stay is set, nowhere, and
// gives the records to lay anew.
func (w *network) hold(records []int, stay bool) []int {
	touched := map[int]bool{}
	fresh := map[int][]hold{} // beside those that made what was looked at
	hold := func(on stretch, left float64) {
		if on.record < 0 || w.built[on.record] == nil || w.plans[on.record].pinned {
			return
		}
		touched[on.record] = true
		left *= w.plans[on.record].held(on.span.Part, (on.span.FromM+on.span.ToM)/2)
		fresh[on.record] = append(fresh[on.record], hold{span: on.span, factor: left, fadeM: w.o.BesideM})
	}
	for _, r := range records {
		for i := range w.breaks[r] {
			if c := &w.breaks[r][i]; !c.seen {
				hold(c.on, c.left)
				hold(c.beside, c.left)
				w.held = append(w.held, *c)
			}
		}
	}
	for r, holds := range fresh {
		p := &w.plans[r]
		p.holds, p.pinned = append(p.holds, holds...), stay
	}
	places := map[int]bool{}
	for r := range touched {
		for i := range w.plans[r].pulls {
			places[w.plans[r].pulls[i].place] = true
		}
	}
	for k := range places {
		w.agree(k)
		for _, mb := range w.places[k].members {
			touched[mb.record] = true
		}
	}
	dirty := make([]int, 0, len(touched))
	for r := range touched {
		dirty = append(dirty, r)
	}
	slices.Sort(dirty)
	return dirty
}
