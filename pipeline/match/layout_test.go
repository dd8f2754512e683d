package match

import (
	"fmt"
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// streets is a town of streets a block apart, both ways, each with a gas main on a
// sheet of its own, and in every other street a second one apart metres beside it
// on another. It returns the first mains' indices too.
func streets(n int, apart float64) (records []survey.Record, firsts []int) {
	const block = 60
	for i := range n {
		for k := range 1 + i%2 {
			at := float64(i)*block + float64(k)*apart
			sheet := fmt.Sprintf("S%d.%d", i, k)
			if k == 0 {
				firsts = append(firsts, len(records), len(records)+1)
			}
			records = append(records,
				line("E"+sheet, "gas", sheet, orb.Point{0, at}, orb.Point{float64(n) * block, at}),
				line("N"+sheet, "gas", sheet, orb.Point{at + 7, -30}, orb.Point{at + 7, float64(n) * block}))
		}
	}
	return records, firsts
}

// walked are some records, each walked once, off by (east, north) from the map.
func walked(records []survey.Record, which []int, name string, east, north float64) []*walker {
	var out []*walker
	for _, i := range which {
		l := records[i].Parts[0]
		w := walk("gas", uint64(i+1)).to(orb.Point{l[0][0] + east, l[0][1] + north}, orb.Point{l[1][0] + east, l[1][1] + north}, 3)
		w.tr.ID, w.tr.Positions, w.tr.Session = fmt.Sprint(name, i), "network", fmt.Sprint(name, i)
		out = append(out, w)
	}
	return out
}

// Where all positions are off by the same, a sheet with one walk is expected where
// the others are, though a line of the same utility lies nearer to the walk.
func TestSourceOffByAsMuchAsLinesLieApart(t *testing.T) {
	records, firsts := streets(6, 1.1)
	s := town(records, walked(records, firsts, "s", 0.9, 0.9)...)
	right, all := 0, 0
	for i, ms := range Traces(s, nil, ordinary) {
		for _, m := range ms {
			all++
			if m.Status == survey.StatusUsed && m.Record == firsts[i] {
				right++
			}
		}
	}
	if right < all*9/10 {
		t.Errorf("%d of %d readings used for the right record", right, all)
	}
	l := newTestLayout(s)
	for i := range l.common {
		if g := l.common[i]; math.Hypot(g.east-0.9, g.north-0.9) > 0.1 {
			t.Errorf("session %d: its source is off by %.2f, %.2f, want 0.9, 0.9", i, g.east, g.north)
		}
	}
}

func newTestLayout(s *survey.Survey) *layout {
	sheets, sessions := sheetNames(s.Records), sessionNames(s.Traces)
	net := newNetwork(s, sheets, ordinary)
	return newLayout(net.samples(s, sessions, voteM, 1), len(sessions), make(memory, len(sheets)), ordinary)
}

// A few sheets that are off say nothing of the source.
func TestSourceIsNotBlamedForSheets(t *testing.T) {
	records, firsts := streets(6, 1.1)
	off := walked(records, firsts[:4], "off", 0.9, 0.9)
	right := walked(records, firsts[4:], "right", 0.02, -0.03)
	for i, g := range newTestLayout(town(records, append(off, right...)...)).common {
		if g != (shift{}) {
			t.Errorf("session %d: its source is said to be off by %.2f, %.2f", i, g.east, g.north)
		}
	}
}

// Two sheets side by side, both walked, the second sheet off by nearly as much as
// they lie apart: the walks fit the wrong records too, but only with both sheets
// off.
func TestUntangle(t *testing.T) {
	var records []survey.Record
	var walks []*walker
	add := func(id, sheet string, a, b orb.Point, east, north float64) {
		records = append(records, line(id, "gas", sheet, orb.Point{a[0] + east, a[1] + north}, orb.Point{b[0] + east, b[1] + north}))
		w := walk("gas", uint64(len(records))).to(a, b, 2)
		w.tr.ID, w.tr.Session = "walk "+id, "day"
		walks = append(walks, w)
	}
	for i := range 3 {
		y := float64(i) * 80
		add(fmt.Sprintf("A%d", i), "A", orb.Point{0, y}, orb.Point{70, y}, 0, 0)
		add(fmt.Sprintf("B%d", i), "B", orb.Point{0, y + 1.3}, orb.Point{70, y + 1.3}, 0.2, -1.2)
		x := 100 + float64(i)*80
		add(fmt.Sprintf("a%d", i), "A", orb.Point{x, 0}, orb.Point{x, 70}, 0, 0)
		add(fmt.Sprintf("b%d", i), "B", orb.Point{x + 8, 0}, orb.Point{x + 8, 70}, 0.2, -1.2)
	}
	s := town(records, walks...)
	wrong := 0
	for i, ms := range Traces(s, nil, ordinary) {
		for _, m := range ms {
			if m.Status == survey.StatusUsed && m.Record != i {
				wrong++
			}
		}
	}
	if wrong > 0 {
		t.Errorf("%d readings used for the other sheet's records", wrong)
	}
	b := newTestLayout(s).sheets[1].shifts[0]
	if math.Hypot(b.east+0.2, b.north-1.2) > 0.15 {
		t.Errorf("sheet B taken to be off by %.2f, %.2f, want -0.2, 1.2", b.east, b.north)
	}
}
