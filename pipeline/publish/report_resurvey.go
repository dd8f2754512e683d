package publish

import (
	"fmt"
	"math"
	"strconv"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// spending says what the budget buys and what twice the budget would.
func (e *edition) spending() []fact {
	if !(e.ResurveyBudget > 0) || len(e.Resurvey) == 0 {
		return nil
	}
	all := e.benefit()
	say := func(name string, money float64) fact {
		b := e.buys(money)
		return fact{Name: name, Value: fmt.Sprintf("%s of %s buys %s, %s in %s: %s weighted m, %s of what all would resolve", fixed(b.Cost, 0), fixed(money, 0),
			lengthWords(b.LengthM), counted(b.Stretches, "stretch", "stretches"), counted(b.Packages, "package"), fixed(b.Benefit, 0), percent(b.Benefit, all))}
	}
	return []fact{say("The budget", e.ResurveyBudget), say("Twice the budget", 2*e.ResurveyBudget)}
}

// resurveyRow is one stretch to survey next.
type resurveyRow struct {
	Rank, Package, Record, From, To, Length, Probability, Weight, Cost, Benefit, Total, Reason string
	InBudget                                                                                   bool
	Focus                                                                                      string
}

func (e *edition) resurveyRows(m *mapView) []resurveyRow {
	var rows []resurveyRow
	for i := range e.Resurvey[:min(len(e.Resurvey), maxRows)] {
		v := &e.Resurvey[i]
		rows = append(rows, resurveyRow{
			strconv.Itoa(v.Rank), strconv.Itoa(v.Package), e.label(v.Record), fixed(v.FromM, 1), fixed(v.ToM, 1), fixed(v.LengthM, 1),
			fixed(v.Probability, 2), fixed(v.Weight, 1), fixed(v.Cost, 0), fixed(v.Benefit, 1), fixed(v.CumulativeCost, 0), v.Reason,
			v.InBudget, m.focus(orb.MultiLineString{v.Line}),
		})
	}
	return rows
}

// curve is the benefit over the cost in a box of 300 by 120.
type curve struct {
	Path          string
	Cost, Benefit string    // at its end
	Budgets       []float64 // where the budget and twice the budget end
}

func (e *edition) benefitCurve() *curve {
	total := e.benefit()
	if len(e.Resurvey) < 2 || !(total > 0) {
		return nil
	}
	cost := e.Resurvey[len(e.Resurvey)-1].CumulativeCost
	x, y := scale{0, cost, 0, 300}, scale{0, total, 120, 0}
	b := appendXY(nil, 'M', 0, 120)
	at := 0.0
	for i := range e.Resurvey {
		at += e.Resurvey[i].Benefit
		b = appendXY(b, 'L', x.at(e.Resurvey[i].CumulativeCost), y.at(at))
	}
	c := &curve{Path: string(b), Cost: grouped(int(math.Round(cost))), Benefit: grouped(int(math.Round(total)))}
	for _, times := range []float64{1, 2} {
		if money := times * e.ResurveyBudget; money > 0 && money < cost {
			c.Budgets = append(c.Budgets, rounded(x.at(money), 1))
		}
	}
	return c
}

// calibrationTable is promised against found, in the words of the report.
type calibrationTable struct {
	LeftOut, Score string
	Tenths         []calibrationRow
}

type calibrationRow struct{ Tenth, Cases, Promised, Found string }

var leftOutWords = map[survey.LeftOut]string{
	survey.LeftOutRecord: "Each surveyed record promised without its own evidence",
	survey.LeftOutSheet:  "Each surveyed record promised without any evidence on its sheet",
}

func (e *edition) calibrationTables() (out []calibrationTable) {
	for i := range e.Calibration {
		c := &e.Calibration[i]
		if c.Cases == 0 {
			continue
		}
		t := calibrationTable{LeftOut: leftOutWords[c.LeftOut], Score: fmt.Sprintf(
			"%s, %s of them outside. Brier score %.3f: reliability %.3f, less resolution %.3f, plus uncertainty %.3f, and %+.3f within tenths.",
			counted(c.Cases, "record"), percent(c.Outside, 1), c.Brier, c.Reliability, c.Resolution, c.Uncertainty, c.Within)}
		for k := range c.Tenths {
			if d := &c.Tenths[k]; d.Cases > 0 {
				t.Tenths = append(t.Tenths, calibrationRow{
					fmt.Sprintf("%d–%d"+nbsp+"%%", 10*k, 10*(k+1)), grouped(d.Cases), percent(d.Promised, 1), percent(d.Found, 1),
				})
			}
		}
		out = append(out, t)
	}
	return out
}
