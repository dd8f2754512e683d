package match

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// Marks finds the record that each mark stands for, one Match a mark, in the
// survey's order. A mark alone says little: those of one ticket, utility, crew and
// session that follow each other on the ground are matched together, as the
// readings of a trace are, with no signal to go by. prior is as in Traces.
func (g *Ground) Marks(prior *survey.Model) []survey.Match {
	marks := g.survey.Marks
	out := make([]survey.Match, len(marks))
	if len(out) == 0 {
		return out
	}
	e := g.expect(prior)
	rows := markRows(marks, g.o.MarkGapM)
	parallel.Each(len(rows), g.o.Workers, func() func(int) {
		w := e.worker()
		return func(i int) {
			tr := markTrace(marks, rows[i], g.o.MarkM)
			for k, m := range w.match(&tr) {
				out[rows[i][k]] = m
			}
		}
	})
	return out
}

// markRows parts marks into rows of those that follow each other, each no farther
// from the one before than gapM: indices, in the order of file and row.
func markRows(marks []survey.Mark, gapM float64) [][]int {
	order := make([]int, len(marks))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := &marks[a], &marks[b]
		return cmp.Or(compareRows(x, y), cmp.Compare(x.File, y.File), cmp.Compare(x.Row, y.Row))
	})
	var rows [][]int
	for k, i := range order {
		if k > 0 {
			before := &marks[order[k-1]]
			if m := &marks[i]; compareRows(before, m) == 0 && dist(before.Point, m.Point) <= gapM {
				rows[len(rows)-1] = append(rows[len(rows)-1], i)
				continue
			}
		}
		rows = append(rows, []int{i})
	}
	return rows
}

func compareRows(x, y *survey.Mark) int {
	return cmp.Or(cmp.Compare(x.Ticket, y.Ticket), cmp.Compare(x.Utility, y.Utility), cmp.Compare(x.Crew, y.Crew), cmp.Compare(x.Session, y.Session))
}

// markTrace is a row of marks as a walk.
func markTrace(marks []survey.Mark, row []int, markM float64) survey.Trace {
	first := &marks[row[0]]
	nan := math.NaN()
	tr := survey.Trace{
		Utility: first.Utility, Crew: first.Crew, Receiver: first.Receiver, Session: first.Session,
		Positions: first.Positions, Ticket: first.Ticket, Readings: make([]survey.Reading, len(row)),
	}
	for k, i := range row {
		m := &marks[i]
		sigma := markM
		if m.SigmaM > 0 {
			sigma = math.Hypot(m.SigmaM, markM)
		}
		tr.Readings[k] = survey.Reading{
			Place: m.Place, Point: m.Point, SigmaM: sigma,
			ElevationM: nan, DepthM: nan, CurrentA: nan, FrequencyHz: nan, SeparationM: nan,
		}
	}
	return tr
}
