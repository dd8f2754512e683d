package correct

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// findings say what the corrected lines do not follow, and what they do not keep:
// nothing is broken in silence.
func (w *network) findings() []survey.Finding {
	var out []survey.Finding
	for _, k := range w.placesByKey() {
		out = append(out, w.strained(k)...)
		out = append(out, w.opened(k)...)
	}
	for _, c := range w.heldBack() {
		out = append(out, w.heldFinding(&c))
	}
	for _, r := range w.order {
		for i := range w.breaks[r] {
			if c := &w.breaks[r][i]; c.kind == crossesItself || w.built[c.beside.record] == nil || w.plans[r].rec.Key() < w.plans[c.beside.record].rec.Key() {
				out = append(out, w.changeFinding(c))
			}
		}
		out = append(out, w.leaves(r)...)
	}
	return unique(out)
}

// placesByKey are the places that ask for something, in an order that does not
// depend on that of the records.
func (w *network) placesByKey() []int {
	var out []int
	for k := range w.places {
		if w.places[k].asked != (move{}) {
			out = append(out, k)
		}
	}
	slices.SortFunc(out, func(a, b int) int {
		x, y := w.places[a].members[0], w.places[b].members[0]
		return cmp.Or(cmp.Compare(w.plans[x.record].rec.Key(), w.plans[y.record].rec.Key()), cmp.Compare(x.at, y.at))
	})
	return out
}

// finding is one on a stretch of a record; id tells it from others on it.
func (w *network) finding(on stretch, id string, offM float64, sentence string) survey.Finding {
	p := &w.plans[on.record]
	sum := sha256.Sum256([]byte("correction|" + p.rec.Key() + "|" + id))
	f := survey.Finding{
		ID: "X-" + hex.EncodeToString(sum[:5]), Kind: survey.KindCorrection, Record: on.record,
		Utility: p.rec.Utility, Sheet: p.rec.Sheet, FromM: on.span.FromM, ToM: on.span.ToM,
		OffsetM: offM, OffsetU: math.NaN(), Probability: math.NaN(), Sentence: sentence,
	}
	if on.span.LengthM() > 0 {
		f.Line = p.line.Between(on.span.FromM, on.span.ToM)
	} else {
		at := p.line.AtPart(on.span.Part, p.line.Segment(on.span.Part, on.span.FromM), on.span.FromM)
		f.Line = orb.MultiLineString{{at}}
	}
	return f
}

// strained says of a shared place that stays, because a person or the map says
// so, how far the evidence of those that meet there would move it.
func (w *network) strained(k int) []survey.Finding {
	at := &w.places[k]
	strain := at.asked.plus(at.agreed, -1).length()
	if strain <= w.o.SnapM {
		return nil
	}
	for _, mb := range at.members {
		p := &w.plans[mb.record]
		q := &p.pulls[mb.at]
		if why := p.decidedAt(q.part, q.stationM); why != "" {
			on := stretch{mb.record, survey.Span{Part: q.part, FromM: q.stationM, ToM: q.stationM}}
			return []survey.Finding{w.finding(on, fmt.Sprintf("strain|%d", mb.at), strain, fmt.Sprintf(
				"At station %.1f m the record stays, since %s. The evidence of what meets there asks for a move that is not made: %.2f m of it.",
				q.stationM, why, strain))}
		}
	}
	return nil
}

// decidedAt is the decision that holds a record at a station; "" none.
func (p *plan) decidedAt(part int, stationM float64) string {
	if p.decided != "" {
		return p.decided
	}
	for _, h := range p.holds {
		if h.decided != "" && h.span.Part == part && beyond(h.span, stationM) < h.fadeM {
			return h.decided
		}
	}
	return ""
}

// opened looks at a shared place as it was laid: whether its records still meet.
func (w *network) opened(k int) (out []survey.Finding) {
	at := &w.places[k]
	p := &w.plans[at.members[0].record]
	q := &p.pulls[at.members[0].at]
	drawn := p.line.AtPart(q.part, p.line.Segment(q.part, q.stationM), q.stationM)
	to := orb.Point{drawn[0] + q.grid[0], drawn[1] + q.grid[1]}
	for _, mb := range at.members {
		foot, _ := w.lines[mb.record].Nearest(to)
		was, _ := w.plans[mb.record].line.Nearest(drawn)
		if gap := math.Abs(foot.OffsetM); gap > math.Abs(was.OffsetM)+w.o.DropM {
			on := w.plans[mb.record].pulls[mb.at]
			f := w.finding(stretch{mb.record, survey.Span{Part: on.part, FromM: on.stationM, ToM: on.stationM}},
				fmt.Sprintf("opened|%d", mb.at), gap, fmt.Sprintf("At station %.1f m the corrected line no longer meets record %s: they are %.2f m apart.", on.stationM, p.rec.ID, gap))
			f.Basis = p.rec.ID
			out = append(out, f)
		}
	}
	return out
}

// heldBack is what was held back, once for each pair of records.
func (w *network) heldBack() []change {
	held := slices.Clone(w.held)
	key := func(s stretch) string {
		if s.record < 0 {
			return ""
		}
		return w.plans[s.record].rec.Key()
	}
	slices.SortStableFunc(held, func(a, b change) int {
		return cmp.Or(cmp.Compare(key(a.on), key(b.on)), cmp.Compare(a.kind, b.kind), cmp.Compare(key(a.beside), key(b.beside)))
	})
	return slices.CompactFunc(held, func(a, b change) bool {
		return a.on.record == b.on.record && a.beside.record == b.beside.record && a.kind == b.kind
	})
}

func (w *network) heldFinding(c *change) survey.Finding {
	if c.kind == crossesItself {
		return w.finding(c.on, "crossing held", 0, fmt.Sprintf(
			"Between stations %.1f m and %.1f m the corrected line would cross itself where the map's does not: it is held back there.", c.on.span.FromM, c.on.span.ToM))
	}
	other := w.plans[c.beside.record].rec
	f := w.finding(c.on, "side held|"+other.Key(), c.wouldM, fmt.Sprintf(
		"Between stations %.1f m and %.1f m the corrected line would run %.2f m on the other side of record %s than it is drawn, and the evidence is not sure of where both lie: it is held back there. Survey record %s beside it.",
		c.on.span.FromM, c.on.span.ToM, c.wouldM, other.ID, other.ID))
	f.Basis = other.ID
	return f
}

// changeFinding is of what the lines as laid have changed.
func (w *network) changeFinding(c *change) survey.Finding {
	if c.kind == crossesItself {
		return w.finding(c.on, "crossing", 0, fmt.Sprintf(
			"Between stations %.1f m and %.1f m the corrected line crosses itself where the map's does not.", c.on.span.FromM, c.on.span.ToM))
	}
	other, why := w.plans[c.beside.record].rec, "though the evidence is not sure of it"
	if c.seen {
		why = "as the adjusted map has both"
	}
	f := w.finding(c.on, "side|"+other.Key(), c.wouldM, fmt.Sprintf(
		"Between stations %.1f m and %.1f m the corrected line runs up to %.2f m on the other side of record %s than it is drawn, %s.",
		c.on.span.FromM, c.on.span.ToM, c.wouldM, other.ID, why))
	f.Basis = other.ID
	return f
}

// leaves says where a record that moves on its own account does not go where its
// readings have it: by the worst place.
func (w *network) leaves(r int) []survey.Finding {
	p := &w.plans[r]
	worst, over, limit := survey.Node{}, 0.0, 0.0
	for i := range p.profile.Nodes {
		n := &p.profile.Nodes[i]
		if n.Readings == 0 || !within(p.moves, n.Part, n.StationM) {
			continue
		}
		seg := p.line.Segment(n.Part, n.StationM)
		at, g := p.line.AtPart(n.Part, seg, n.StationM), p.onGrid(move{n.D.East, n.D.North})
		foot, _ := w.lines[r].Nearest(orb.Point{at[0] + g[0], at[1] + g[1]})
		allowed := max(1.96*n.OffsetU, w.o.DropM)
		if d := math.Abs(foot.OffsetM); d > allowed+1e-9 && d-allowed > over {
			worst, over, limit = *n, d-allowed, allowed
		}
	}
	if over <= w.o.DropM {
		return nil
	}
	on := stretch{r, survey.Span{Part: worst.Part, FromM: worst.StationM, ToM: worst.StationM}}
	f := w.finding(on, "leaves", limit+over, fmt.Sprintf(
		"At station %.1f m the corrected line lies %.2f m from where the adjusted evidence has it, beyond its interval of %.2f m: what meets it or is held there keeps it back.",
		worst.StationM, limit+over, limit))
	f.ToleranceM = limit
	return []survey.Finding{f}
}

// unique gives findings of one id a number behind it.
func unique(fs []survey.Finding) []survey.Finding {
	seen := map[string]int{}
	for i := range fs {
		id := fs[i].ID
		if seen[id]++; seen[id] > 1 {
			fs[i].ID = fmt.Sprintf("%s-%d", id, seen[id])
		}
	}
	return fs
}
