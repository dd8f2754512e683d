package synth

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// sweep is an area that somebody swept for some utilities.
type sweep struct {
	ring      orb.Ring
	reachM    float64 // from its middle to its corners
	utilities []string
	method    string
	ticket    string
	lines     []int // true lines of those utilities, more than half inside
}

// sweeps chooses the areas that are swept and the lines to be found in them.
func sweeps(seed uint64, p Crews, topo *topology) []sweep {
	var out []sweep
	if len(topo.lines) == 0 {
		return nil
	}
	for a := range p.SweptAreas {
		d := roll(seed, phaseAreas, a)
		on := topo.lines[d.IntN(len(topo.lines))]
		centre := on.Points[len(on.Points)/2]
		along := on.outward(1)
		long, wide := along.times(d.between([2]float64{30, 70})), along.right().times(d.between([2]float64{15, 45}))
		corner := func(f, g float64) orb.Point { return moved(centre, long.times(f).plus(wide.times(g))) }
		w := sweep{
			ring:   orb.Ring{corner(-1, -1), corner(1, -1), corner(1, 1), corner(-1, 1), corner(-1, -1)},
			method: []string{"active", "passive"}[a%2], ticket: fmt.Sprintf("T%05d", 20000+d.IntN(70000)),
		}
		w.utilities = []string{on.Utility}
		if w.method == "passive" { // what hums by itself
			w.utilities = []string{"electric"}
		} else if u := habits[d.IntN(len(habits))].utility; u != on.Utility {
			w.utilities = append(w.utilities, u)
		}
		slices.Sort(w.utilities)
		w.reachM = math.Hypot(long.length(), wide.length())
		seen := map[int]bool{}
		for _, id := range topo.segments.near(centre, w.reachM, nil) {
			l := int(topo.segments.all[id].line)
			if !seen[l] && slices.Contains(w.utilities, topo.lines[l].Utility) && w.share(topo.lines[l].Points) > 0.5 {
				w.lines = append(w.lines, l)
			}
			seen[l] = true
		}
		out = append(out, w)
	}
	return out
}

// share is the share of a line's length inside the area.
func (w *sweep) share(ls orb.LineString) float64 {
	s := stations(ls)
	inside, n := 0, max(int(last(s)), 4)
	for k := range n {
		if p, _ := pointAt(ls, s, (float64(k)+0.5)/float64(n)*last(s)); w.holds(p) {
			inside++
		}
	}
	return float64(inside) / float64(n)
}

// holds says whether the area, a rectangle, holds a point.
func (w *sweep) holds(p orb.Point) bool {
	a, b, d := w.ring[0], w.ring[1], w.ring[3]
	v, x, y := minus(p, a), minus(b, a), minus(d, a)
	u, t := v.dot(x)/x.dot(x), v.dot(y)/y.dot(y)
	return u >= 0 && u <= 1 && t >= 0 && t <= 1
}

// publishAreas puts the areas into the survey's words; records inside that no
// line is behind go into the truth.
func (t *Town) publishAreas(areas []sweep, records []drawn) {
	for i := range areas {
		a := &areas[i]
		ring := orb.Ring(t.Frame.lineToPlane(orb.LineString(a.ring)))
		t.survey.Areas = append(t.survey.Areas, survey.Area{
			Place:   survey.Place{File: areasFile, Row: i + 1},
			Polygon: orb.MultiPolygon{{ring}}, Utilities: a.utilities, Method: a.method, Date: firstDay.Format("2006-01-02"), Ticket: a.ticket,
		})
		truth := Area{Ticket: a.ticket, Utilities: a.utilities, Method: a.method}
		middle := mix(a.ring[0], a.ring[2], 0.5)
		for k := range records {
			if r := &t.survey.Records[k]; records[k].abandoned && distance(records[k].points[0], middle) < a.reachM+200 && slices.Contains(a.utilities, r.Utility) && a.share(records[k].points) > 0.5 {
				truth.Empty = append(truth.Empty, r.ID)
			}
		}
		t.Truth.Areas = append(t.Truth.Areas, truth)
	}
}
