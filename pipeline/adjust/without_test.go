package adjust

import (
	"math"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// witnessed is two records that sessions C1 and C2 read, C2 a third one, too;
// C1 is off by offM to the north.
func witnessed(offM float64) *world {
	w := &world{}
	w.record("A", "S", orb.Point{0, 0}, orb.Point{100, 0})
	w.record("B", "S", orb.Point{0, 40}, orb.Point{100, 40})
	w.record("C", "T", orb.Point{0, 80}, orb.Point{100, 80})
	w.walk("T1", "C1", 0, false, orb.Point{50, 0.1 + offM})
	w.walk("T2", "C2", 0, false, along(0.1, 10, 90, 8)...)
	w.walk("T3", "C2", 1, true, along(40.05, 10, 90, 8)...)
	w.walk("T4", "C2", 2, false, along(79.9, 10, 90, 8)...)
	return w
}

// Where nothing is presumed of a session, its one reading says nothing of the
// line: what is left is the adjustment without that reading, in value and
// uncertainty, and the session's error is what the reading differs from it by.
func TestWithoutASessionsOwnWord(t *testing.T) {
	o := gaussian(testOptions())
	o.PositionsM = 1e-6
	o.WanderS = 0
	w := witnessed(0.4)
	m := w.adjust(t, o)
	rest := *w
	rest.s.Traces, rest.matches = w.s.Traces[1:], w.matches[1:]
	left := rest.adjust(t, o)

	found := false
	for _, without := range m.Without(0) {
		if m.Effects[without.Session].Name != "C1" {
			continue
		}
		found = true
		if without.Readings != 1 {
			t.Errorf("%d readings of C1, it took 1", without.Readings)
		}
		for k, n := range m.Profiles[0].Nodes {
			for _, l := range left.Profiles[0].Nodes {
				if l.StationM != n.StationM {
					continue
				}
				// The session may still be 10 m off at most: hence the tolerances.
				if d := without.OffsetM[k] - l.OffsetM; math.Abs(d) > 5e-5 {
					t.Errorf("station %.0f: offset %.6f with C1 unpresumed, %.6f without its reading", n.StationM, without.OffsetM[k], l.OffsetM)
				}
				if u := math.Hypot(n.OffsetU, without.AddedU[k]); math.Abs(u-l.OffsetU) > 5e-5 {
					t.Errorf("station %.0f: u %.6f with C1 unpresumed, %.6f without its reading", n.StationM, u, l.OffsetU)
				}
			}
		}
	}
	if !found {
		t.Fatal("nothing is said of C1")
	}
	at := -1
	for k, n := range left.Profiles[0].Nodes {
		if n.StationM == 50 {
			at = k
		}
	}
	if at < 0 {
		t.Fatal("no node at the reading")
	}
	want := 0.5 + left.Profiles[0].Nodes[at].OffsetM // north is to the left
	if got := effect(m, survey.EffectSession, "C1").Others.North; math.Abs(got-want) > 1e-4 {
		t.Errorf("the others say that C1 is %.5f m to the north, its reading differs from theirs by %.5f", got, want)
	}
}

// A session that alone read a sheet cannot say that it is the sheet that is off:
// that rests on its own word. Another crew there, or a control check, can.
func TestASheetRestsOnASessionsOwnWord(t *testing.T) {
	alone := func() *world {
		w := &world{}
		for i := range 6 {
			y := float64(30 * i)
			w.record(string(rune('A'+i)), "S", orb.Point{0, y}, orb.Point{100, y})
			w.walk(string(rune('a'+i)), "C1", i, false, along(y+1.5, 5, 95, 5)...)
		}
		return w
	}
	w := alone()
	m := w.adjust(t, testOptions())
	s := effect(m, survey.EffectSheet, "S")
	if !s.Significant || len(s.RestsOn) != 1 || m.Effects[s.RestsOn[0]].Name != "C1" {
		t.Errorf("read by C1 alone: %+v; its shift rests on C1", s)
	}
	if o := effect(m, survey.EffectSession, "C1").Others; !(o.NN > 0.1*0.1) {
		t.Errorf("nothing but C1 tells of C1, and u is %.3f m", math.Sqrt(o.NN))
	}

	w = alone()
	for i := range 4 {
		y := float64(30 * i)
		w.walk(string(rune('p'+i)), "C2", i, false, along(y+1.5, 7, 97, 5)...)
	}
	if s := effect(w.adjust(t, testOptions()), survey.EffectSheet, "S"); !s.Significant || len(s.RestsOn) != 0 {
		t.Errorf("read by C1 and C2: %+v; its shift rests on neither alone", s)
	}

	w = alone()
	w.s.Checks = []survey.Check{{Mark: "M", Session: "C1", Known: orb.Point{0, -50}, Observed: orb.Point{0.01, -50}, SigmaM: 0.02, Scale: 1}}
	if s := effect(w.adjust(t, testOptions()), survey.EffectSheet, "S"); !s.Significant || len(s.RestsOn) != 0 {
		t.Errorf("read by C1 with a control check: %+v; its shift rests on nobody's word", s)
	}
}
