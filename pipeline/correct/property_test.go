package correct

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"pgregory.net/rapid"
)

// shutM is how far apart a junction is still shut: what lies within a millimetre of
// a vertex is taken for it, and what the drawing bends there is on top.
const shutM = 0.01

// block is a made-up block of streets: a chain of mains with services, a closed
// loop on its end, lines of other utilities beside them, valves; some of it read.
func block(rt *rapid.T) *town {
	w := &town{}
	jitter := func(name string, m float64) float64 { return rapid.Float64Range(-m, m).Draw(rt, name) }
	at := orb.Point{0, 0}
	mains := rapid.IntRange(2, 4).Draw(rt, "mains")
	for i := range mains {
		line := orb.LineString{at}
		for range rapid.IntRange(1, 3).Draw(rt, "pieces") {
			at = orb.Point{at[0] + rapid.Float64Range(15, 40).Draw(rt, "dx"), at[1] + jitter("dy", 8)}
			line = append(line, at)
		}
		r := w.record(fmt.Sprintf("M%d", i), line...)
		w.s.Records[r].Sheet = []string{"S", "T"}[i%2]
		on := w.lineOf(r)
		for k := range rapid.IntRange(0, 2).Draw(rt, "services") {
			foot := on.At(rapid.Float64Range(0, on.LengthM()).Draw(rt, "tee"))
			w.record(fmt.Sprintf("M%d-%d", i, k), foot, orb.Point{foot[0] + jitter("sx", 4), foot[1] + 12})
		}
		if rapid.Bool().Draw(rt, "beside") {
			off := rapid.Float64Range(0.1, 2).Draw(rt, "off") * []float64{-1, 1}[rapid.IntRange(0, 1).Draw(rt, "side")]
			var other orb.LineString
			for _, p := range line {
				other = append(other, orb.Point{p[0], p[1] + off})
			}
			w.s.Records[w.record(fmt.Sprintf("G%d", i), other...)].Utility = "gas"
		}
		w.s.Fittings = append(w.s.Fittings, survey.Fitting{ID: fmt.Sprintf("V%d", i), Utility: "water", Scale: 1, Point: on.At(rapid.Float64Range(0, on.LengthM()).Draw(rt, "valve"))})
	}
	w.record("L", at, orb.Point{at[0] + 20, at[1]}, orb.Point{at[0] + 20, at[1] + 20}, orb.Point{at[0], at[1] + 20}, at)
	for r := range w.s.Records {
		if rapid.Bool().Draw(rt, "read") {
			w.readSomeOf(rt, r)
		}
	}
	return w
}

func (w *town) lineOf(r int) lineref.Line { return lineref.New(w.s.Records[r].Parts, 1) }

// readSomeOf surveys a stretch of a record; its move turns and grows along it.
func (w *town) readSomeOf(rt *rapid.T, r int) {
	line := w.lineOf(r)
	long := line.LengthM()
	from := rapid.Float64Range(0, long).Draw(rt, "from")
	w.survey(r, from, rapid.Float64Range(from, long).Draw(rt, "to"), 0, 0)
	size, turn := rapid.Float64Range(0, 3).Draw(rt, "size"), rapid.Float64Range(0, 6).Draw(rt, "turn")
	for i := range w.m.Profiles[r].Nodes {
		n := &w.m.Profiles[r].Nodes[i]
		d := size * (1 + n.StationM/100)
		n.D.East, n.D.North = d*math.Sin(turn+n.StationM/80), d*math.Cos(turn+n.StationM/80)
	}
	w.fs[len(w.fs)-1].ID = "P-" + w.s.Records[r].ID
}

// after is a record's corrected line, the map's where it stays.
func (w *town) after(out *Outcome, r int) lineref.Line {
	if !out.Lines[r].Moved {
		return w.lineOf(r)
	}
	return lineref.New(orb.MultiLineString{out.Lines[r].Parts[0].Line}, 1)
}

// Whatever the evidence: what met meets, loops stay closed, valves stay on their
// lines, no line crosses itself that did not, what lies beyond the fade-out keeps
// every bit; and where sides change, a finding says so.
func TestPromises(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := block(rt)
		o := testOptions()
		out := w.run(o)
		for a := range w.s.Records {
			before, now := w.lineOf(a), w.after(&out, a)
			if len(selfCrossings(now.Parts[0])) > len(selfCrossings(before.Parts[0])) {
				rt.Fatalf("%s now crosses itself", w.s.Records[a].ID)
			}
			for b := range w.s.Records {
				if w.s.Records[a].Utility == w.s.Records[b].Utility {
					w.meet(rt, &out, a, b)
				}
			}
			w.beyond(rt, &out, a)
		}
		for i, f := range out.Fittings {
			line := w.after(&out, f.Record)
			if foot, _ := line.Nearest(f.Point); math.Abs(foot.OffsetM) > 0.002 {
				rt.Fatalf("%s lies %.4f m off its line", w.s.Fittings[i].ID, foot.OffsetM)
			}
		}
		w.sides(rt, &out)
	})
}

// meet sees that every end of a that was on b still is.
func (w *town) meet(rt *rapid.T, out *Outcome, a, b int) {
	was, is := w.lineOf(a), w.after(out, a)
	on, now := w.lineOf(b), w.after(out, b)
	for _, end := range [2]func(orb.LineString) orb.Point{func(l orb.LineString) orb.Point { return l[0] }, last} {
		if foot, _ := on.Nearest(end(was.Parts[0])); math.Abs(foot.OffsetM) > 1e-6 {
			continue
		}
		if foot, _ := now.Nearest(end(is.Parts[0])); math.Abs(foot.OffsetM) > shutM {
			rt.Fatalf("%s ended on %s and is %.4f m off now", w.s.Records[a].ID, w.s.Records[b].ID, foot.OffsetM)
		}
	}
	if p := was.Parts[0]; p[0] == last(p) && planar.Distance(is.Parts[0][0], last(is.Parts[0])) > 1e-9 {
		rt.Fatalf("the loop %s came open", w.s.Records[a].ID)
	}
}

// beyond sees that nothing moved that is farther than the fade-out from every
// reading of its record and from every place where another one ends on it.
func (w *town) beyond(rt *rapid.T, out *Outcome, a int) {
	if !out.Lines[a].Moved {
		return
	}
	line := w.lineOf(a)
	var near []float64
	for _, n := range w.m.Profiles[a].Nodes {
		if n.Readings > 0 {
			near = append(near, n.StationM)
		}
	}
	for b := range w.s.Records {
		p := w.s.Records[b].Parts[0]
		for _, end := range []orb.Point{p[0], last(p)} {
			if foot, _ := line.Nearest(end); (b != a || p[0] == last(p)) && w.s.Records[a].Utility == w.s.Records[b].Utility && math.Abs(foot.OffsetM) < 0.05 {
				near = append(near, foot.StationM)
				if foot.StationM == 0 || foot.StationM == line.LengthM() { // a loop's end is both
					near = append(near, 0, line.LengthM())
				}
			}
		}
	}
	own := w.s.Records[a].Parts[0]
	for b := range w.s.Records { // its own ends, where they are on another
		on := w.lineOf(b)
		for _, end := range []orb.Point{own[0], last(own)} {
			if foot, _ := on.Nearest(end); b != a && w.s.Records[a].Utility == w.s.Records[b].Utility && math.Abs(foot.OffsetM) < 0.05 {
				at, _ := line.Nearest(end)
				near = append(near, at.StationM)
			}
		}
	}
	part := out.Lines[a].Parts[0]
	for i, m := range part.StationM {
		allowed := slices.ContainsFunc(near, func(s float64) bool { return math.Abs(s-m) < 10+1e-9 }) // the fade-out of these tests
		if !allowed && part.MovedM[i] != 0 {
			rt.Fatalf("%s moved by %.3f m at station %.1f, where nothing is near", w.s.Records[a].ID, part.MovedM[i], m)
		}
		if v := part.From[i]; part.MovedM[i] == 0 && v >= 0 && part.Line[i] != w.s.Records[a].Parts[0][v] {
			rt.Fatalf("%s: vertex %d stayed and changed", w.s.Records[a].ID, v)
		}
	}
}

// sides sees that where a gas line has come to the other side of its main, a
// finding on one of both says so.
func (w *town) sides(rt *rapid.T, out *Outcome) {
	index := map[string]int{}
	for r := range w.s.Records {
		index[w.s.Records[r].ID] = r
	}
	for g := range w.s.Records {
		if w.s.Records[g].Utility != "gas" {
			continue
		}
		m := index["M"+w.s.Records[g].ID[1:]]
		was, is := [2]lineref.Line{w.lineOf(m), w.lineOf(g)}, [2]lineref.Line{w.after(out, m), w.after(out, g)}
		for at := 8.0; at < was[0].LengthM()-8; at++ { // the ends of short lines have no sides
			p := was[0].At(at)
			_, seg := was[0].Locate(at)
			d := was[0].Direction(0, seg)
			side := func(l [2]lineref.Line) float64 {
				a, _ := l[0].Nearest(p)
				b, _ := l[1].Nearest(p)
				if !a.Square || !b.Square {
					return 0
				}
				return (b.Point[0]-a.Point[0])*d[1] - (b.Point[1]-a.Point[1])*d[0]
			}
			before, now := side(was), side(is)
			if before*now < 0 && math.Abs(now) > 0.3 && len(about(out.Findings, m, w.s.Records[g].ID))+len(about(out.Findings, g, w.s.Records[m].ID)) == 0 {
				rt.Fatalf("%s went from %.2f to %.2f m beside %s at %.0f m, and nothing is said", w.s.Records[g].ID, before, now, w.s.Records[m].ID, at)
			}
		}
	}
}

// The order of the records changes no line and no finding, nor the order of these.
func TestOrderChangesNothing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := block(rt)
		want := w.run(testOptions())
		order := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "order"), 1)).Perm(len(w.js))
		mixed, to := town{}, make([]int, len(order))
		mixed.s.Fittings = w.s.Fittings
		for i, r := range order {
			to[r] = i
			mixed.s.Records = append(mixed.s.Records, w.s.Records[r])
			mixed.js = append(mixed.js, w.js[r])
			mixed.m.Profiles = append(mixed.m.Profiles, w.m.Profiles[r])
		}
		for _, f := range w.fs {
			f.Record = to[f.Record]
			mixed.fs = append(mixed.fs, f)
		}
		got := mixed.run(testOptions())
		for r := range order {
			if !reflect.DeepEqual(want.Lines[r].Parts, got.Lines[to[r]].Parts) {
				rt.Fatalf("%s: another line in another order", w.s.Records[r].ID)
			}
		}
		said := func(fs []survey.Finding) (out []string) {
			for _, f := range fs {
				out = append(out, f.ID+" "+f.Sentence)
			}
			return out
		}
		if !reflect.DeepEqual(said(want.Findings), said(got.Findings)) {
			rt.Fatalf("said\n%q\nin another order\n%q", said(want.Findings), said(got.Findings))
		}
	})
}
