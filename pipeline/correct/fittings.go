package correct

import (
	"math"
	"slices"

	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// attached is where a fitting is drawn on a line; record -1 on none.
type attached struct {
	record, part, segment int
	stationM              float64
}

// drawn finds the segments of the records as drawn, in the order of their keys.
type drawn struct {
	index *spatial.Index
	of    []attached // per segment
}

func (w *network) segments() (d drawn) {
	var segs []spatial.Segment
	for _, r := range w.order {
		for part, line := range w.plans[r].rec.Parts {
			for i := 1; i < len(line); i++ {
				segs = append(segs, spatial.Segment{A: line[i-1], B: line[i]})
				d.of = append(d.of, attached{record: r, part: part, segment: i - 1})
			}
		}
	}
	d.index = spatial.New(segs, max(w.o.BesideM, 1))
	return d
}

// attach finds the line that each fitting is drawn on: the nearest of its
// utility, ties by the order of the keys. The line bends at a fitting, should it
// bend, so that the fitting stays on it; one that is fixed holds it.
func (w *network) attach() {
	w.fittings = make([]attached, len(w.survey.Fittings))
	var near []int32
	for i := range w.fittings {
		f := &w.survey.Fittings[i]
		best, at := math.Inf(1), attached{record: -1}
		near = w.drawn.index.Within(f.Point, w.o.FittingM*max(f.Scale, 1), near)
		for _, id := range near {
			a := w.drawn.of[id]
			p := &w.plans[a.record]
			if f.Utility != "" && p.rec.Utility != f.Utility {
				continue
			}
			foot := p.line.OnSegment(a.part, a.segment, f.Point)
			if d := math.Abs(foot.OffsetM); d < best {
				best, at = d, a
				at.stationM = foot.StationM
			}
		}
		w.fittings[i] = at
		if at.record < 0 {
			continue
		}
		p := &w.plans[at.record]
		p.fittings = append(p.fittings, at)
		if slices.Contains(w.o.Fixed, f.ID) {
			p.holds = append(p.holds, hold{span: survey.Span{Part: at.part, FromM: at.stationM, ToM: at.stationM}, fadeM: w.o.FadeOutM, decided: "the fitting " + f.ID + " is fixed"})
		}
	}
}

// fittingMoves takes every fitting as far as its line goes where it is drawn.
func (w *network) fittingMoves() []survey.FittingMove {
	out := make([]survey.FittingMove, len(w.fittings))
	for i, a := range w.fittings {
		f := &w.survey.Fittings[i]
		out[i] = survey.FittingMove{Fitting: i, Record: a.record, Point: f.Point, U: math.NaN()}
		if a.record < 0 {
			continue
		}
		p := &w.plans[a.record]
		st := station{m: a.stationM, vertex: -1}
		p.lay(a.part, &st)
		out[i].U = p.uncertainty(a.part, a.segment, a.stationM, st.moved)
		if st.moved == (move{}) {
			continue
		}
		drawn := p.line.AtPart(a.part, a.segment, a.stationM)
		out[i].Point = orb.Point{f.Point[0] + st.at[0] - drawn[0], f.Point[1] + st.at[1] - drawn[1]}
		out[i].MovedM = st.moved.length()
	}
	return out
}
