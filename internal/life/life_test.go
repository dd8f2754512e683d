package life

import (
	"math"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// town is a map of straight mains, what the data says of each, and the nights
// that passed over it.
type town struct {
	s    survey.Survey
	js   []survey.Judgement
	m    survey.Model
	past Past
}

const offM = 0.8 // to the north, what the data says of every line that is off

// main lays a main of several points. north is what the data says is to be added
// to all of it; where that is beyond the tolerance there is a finding.
func (w *town) main(id string, north float64, pts ...orb.Point) {
	line := lineref.New(orb.MultiLineString{pts}, 1)
	p := survey.Profile{}
	for v, at := range line.Stations(0) {
		p.Nodes = append(p.Nodes, survey.Node{StationM: at, Vertex: v, D: survey.Vector{North: north}})
	}
	w.s.Records = append(w.s.Records, survey.Record{Source: "map", ID: id, Utility: "water", Sheet: "S", Scale: 1, CoverM: math.NaN(), Parts: orb.MultiLineString{pts}})
	w.m.Profiles = append(w.m.Profiles, p)
	j := survey.Judgement{Record: len(w.js), LengthM: line.LengthM(), Position: survey.VerdictWithin, Tolerance: survey.Tolerance{HorizontalM: 0.5}}
	if math.Abs(north) > 0.5 {
		j.Position, j.OutsideM = survey.VerdictOutside, j.LengthM
	}
	w.js = append(w.js, j)
}

// findings are one for each record that is outside, over its whole length, as
// judging names them: by the record's key.
func (w *town) findings() (fs []survey.Finding) {
	for r := range w.js {
		if rec := &w.s.Records[r]; w.js[r].Position == survey.VerdictOutside {
			fs = append(fs, survey.Finding{
				ID: "P-" + rec.ID, Kind: survey.KindPosition, Record: r, Utility: rec.Utility, Verdict: survey.VerdictOutside,
				ToM: w.js[r].LengthM, OffsetM: w.m.Profiles[r].Nodes[0].D.North, OffsetU: 0.05, Line: rec.Parts,
			})
		}
	}
	return fs
}

// night lets a night pass: what is found gets its ids, and is the past of the
// next. Corrections move a record to where the data has it.
func (w *town) night(started time.Time) []survey.Finding {
	w.past.Started = started
	back := Corrected(w.s.Records, &w.past)
	for r := range back {
		w.s.Records[r].Corrected = back[r].Corrected
	}
	fs := Continue(&w.s, &w.m, w.findings(), &w.past)
	cs := make([]survey.Correction, len(w.js))
	for i := range fs {
		f := &fs[i]
		rec := &w.s.Records[f.Record]
		line := make(orb.LineString, len(rec.Parts[0]))
		for v, at := range rec.Parts[0] {
			line[v] = orb.Point{at[0], at[1] + f.OffsetM}
		}
		cs[f.Record] = survey.Correction{Record: f.Record, Moved: true, MovedM: math.Abs(f.OffsetM), Finding: f.ID, Parts: []survey.CorrectedPart{{Line: line}}}
	}
	next := Past{Findings: Settle(&w.s, w.js, &w.m, fs, &w.past), Proposals: Propose(&w.s, w.js, &w.m, cs, &w.past), Records: map[string]Record{}}
	for i := range w.s.Records {
		rec := &w.s.Records[i]
		next.Records[rec.Key()] = Record{Utility: rec.Utility, Line: rec.Parts, CoverM: rec.CoverM, Corrected: rec.Corrected, Left: back[i].Left}
	}
	w.past = next
	return fs
}

// redraw takes the map away, so that another can be laid.
func (w *town) redraw() { w.s.Records, w.js, w.m.Profiles = nil, nil, nil }

func (w *town) finding(t *testing.T, id string) *Finding {
	t.Helper()
	for i := range w.past.Findings {
		if w.past.Findings[i].ID == id {
			return &w.past.Findings[i]
		}
	}
	t.Fatalf("no finding %s is known", id)
	return nil
}

func nightOf(n int) time.Time { return time.Date(2026, 6, n, 2, 0, 0, 0, time.UTC) }

// straight is a line from x to x at a northing, in pieces.
func straight(y float64, xs ...float64) orb.LineString {
	var l orb.LineString
	for _, x := range xs {
		l = append(l, orb.Point{x, y})
	}
	return l
}

// TestIdentity lays a map with one main that is off, between two that are not,
// and lays it anew in each way in which a map comes back.
func TestIdentity(t *testing.T) {
	for _, c := range []struct {
		name string
		then func(w *town)
		ids  []string // of what is found then, in the order of records
		life survey.Life
	}{
		{"nothing changed, the same export again", func(w *town) { w.main("A", offM, straight(0, 0, 100)...) }, []string{"P-A"}, survey.LifeOpen},
		{"a vertex added", func(w *town) { w.main("A", offM, straight(0, 0, 31, 100)...) }, []string{"P-A"}, survey.LifeOpen},
		{"the line reversed", func(w *town) { w.main("A", offM, straight(0, 100, 0)...) }, []string{"P-A"}, survey.LifeOpen},
		{"another id", func(w *town) { w.main("Q7", offM, straight(0, 0, 100)...) }, []string{"P-A"}, survey.LifeOpen},
		{"split in two", func(w *town) {
			w.main("A1", offM, straight(0, 0, 70)...)
			w.main("A2", offM, straight(0, 70, 100)...)
		}, []string{"P-A", "P-A2"}, survey.LifeOpen},
		{"split, and one part keeps the id", func(w *town) {
			w.main("A", offM, straight(0, 0, 70)...)
			w.main("A2", offM, straight(0, 70, 100)...)
		}, []string{"P-A", "P-A2"}, survey.LifeOpen},
		{"merged with its neighbour", func(w *town) { w.main("B", offM, straight(0, 0, 160)...) }, []string{"P-A"}, survey.LifeOpen},
		{"drawn anew, by a little", func(w *town) { w.main("A", offM, straight(0.2, 0, 50, 100)...) }, []string{"P-A"}, survey.LifeOpen},
		{"drawn anew elsewhere: there the data has it still", func(w *town) { w.main("A", -offM, straight(2*offM, 0, 100)...) }, []string{"P-A"}, survey.LifeOpen},
		{"another main, across", func(w *town) { w.main("A", offM, orb.Point{50, -50}, orb.Point{50, 50}) }, []string{"P-A'"}, survey.LifeNew},
		{"another main, far beside", func(w *town) { w.main("Z", offM, straight(30, 0, 100)...) }, []string{"P-Z"}, survey.LifeNew},
	} {
		t.Run(c.name, func(t *testing.T) {
			var w town
			w.main("A", offM, straight(0, 0, 100)...)
			w.main("B", 0, straight(0, 100, 160)...)
			w.night(nightOf(1))
			w.redraw()
			c.then(&w)
			fs := w.night(nightOf(2))
			if len(fs) != len(c.ids) {
				t.Fatalf("%d findings, want %d", len(fs), len(c.ids))
			}
			for i, want := range c.ids {
				if want == "P-A'" { // any other
					if fs[i].ID == "P-A" {
						t.Errorf("it goes by the old id")
					}
				} else if fs[i].ID != want {
					t.Errorf("finding %d is %s, want %s", i, fs[i].ID, want)
				}
			}
			if fs[0].Life != c.life {
				t.Errorf("it is %s (%s), want %s", fs[0].Life, fs[0].LifeReason, c.life)
			}
		})
	}
}

// Two mains of one utility, less than a metre apart, keep apart what is found of
// each, also when one of them is mended.
func TestIdentityOfMainsSideBySide(t *testing.T) {
	var w town
	w.main("A", offM, straight(0, 0, 100)...)
	w.main("B", offM, straight(0.6, 0, 100)...)
	w.night(nightOf(1))
	w.redraw()
	w.main("B", offM, straight(0.6, 0, 100)...)
	w.main("A", 0, straight(offM, 0, 100)...)
	fs := w.night(nightOf(2))
	if len(fs) != 1 || fs[0].ID != "P-B" {
		t.Fatalf("found %+v, want P-B", fs)
	}
	if a := w.finding(t, "P-A"); a.Life != survey.LifeCorrected {
		t.Errorf("P-A is %s (%s), want corrected", a.Life, a.Reason)
	}
}

// An id that another finding had is not given again.
func TestIDsAreNotGivenTwice(t *testing.T) {
	var w town
	w.main("A", offM, straight(0, 0, 100)...)
	w.night(nightOf(1))
	w.redraw()
	w.main("N", offM, straight(0, 0, 100)...)  // A under another id
	w.main("A", offM, straight(50, 0, 100)...) // its id, for another main
	fs := w.night(nightOf(2))
	if fs[0].ID != "P-A" || fs[1].ID == "P-A" || fs[1].ID == "" || fs[1].Life != survey.LifeNew {
		t.Errorf("found %s and %s (%s)", fs[0].ID, fs[1].ID, fs[1].Life)
	}
}

// decide is what reading the workbook does.
func (w *town) decide(t *testing.T, id, word string, until time.Time) {
	p := w.finding(t, id)
	p.Decision = Decision{Word: word, Until: until, Who: "K. Example", When: nightOf(2), OffsetM: p.OffsetM, OffsetU: p.OffsetU, OnTruth: p.OnTruth}
}

// TestLife follows one finding through the decisions that people make.
func TestLife(t *testing.T) {
	lay := func(w *town, north, y float64) {
		w.redraw()
		w.main("A", north, straight(y, 0, 100)...)
	}
	expect := func(t *testing.T, w *town, night int, want survey.Life) *Finding {
		t.Helper()
		w.night(nightOf(night))
		p := w.finding(t, "P-A")
		if p.Life != want {
			t.Fatalf("night %d: it is %s (%s), want %s", night, p.Life, p.Reason, want)
		}
		if want == survey.LifeReopened && p.Reason == "" {
			t.Errorf("night %d: nothing says why it is reopened", night)
		}
		return p
	}
	start := func(t *testing.T) *town {
		w := &town{}
		lay(w, offM, 0)
		expect(t, w, 1, survey.LifeNew)
		expect(t, w, 2, survey.LifeOpen)
		return w
	}
	t.Run("accepted, corrected on the map, off again", func(t *testing.T) {
		w := start(t)
		w.decide(t, "P-A", "accepted", time.Time{})
		expect(t, w, 3, survey.LifeAccepted)
		lay(w, 0.05, offM-0.05)
		expect(t, w, 4, survey.LifeCorrected)
		if !w.s.Records[0].Corrected {
			t.Error("the record is still of its sheet")
		}
		lay(w, 0.05, offM-0.05)
		expect(t, w, 5, survey.LifeCorrected)
		if !w.s.Records[0].Corrected {
			t.Error("a night later the record is of its sheet again")
		}
		lay(w, offM, 0) // an old export comes back
		p := expect(t, w, 6, survey.LifeReopened)
		if p.Decision.Word != "" || w.s.Records[0].Corrected {
			t.Errorf("the decision %q still holds, or the record is off its sheet", p.Decision.Word)
		}
	})
	t.Run("rejected, quiet until the evidence moves beyond its uncertainty", func(t *testing.T) {
		w := start(t)
		w.decide(t, "P-A", "rejected", time.Time{}) // at 0.80 m, u 0.05 m
		expect(t, w, 3, survey.LifeRejected)
		lay(w, offM+1.9*0.05, 0)
		expect(t, w, 4, survey.LifeRejected)
		w.redraw()
		w.main("A", offM+0.05, straight(0, 100, 0)...) // the other way round
		w.m.Profiles[0].Nodes[0].OffsetM = -offM
		expect(t, w, 4, survey.LifeRejected)
		lay(w, 0.2, 0) // not found, since the data has it within
		if p := expect(t, w, 5, survey.LifeRejected); !p.Absent || p.Reason != "not found since 2026-06-04" {
			t.Errorf("absent %v: %s", p.Absent, p.Reason)
		}
		expect(t, w, 18, survey.LifeGone) // a fortnight later
		lay(w, offM, 0)
		if p := expect(t, w, 19, survey.LifeRejected); p.Absent {
			t.Error("it is still absent")
		}
		lay(w, offM+2*0.05, 0)
		p := expect(t, w, 20, survey.LifeReopened)
		if p.Decision.Word != "" {
			t.Error("the rejection still holds")
		}
		expect(t, w, 21, survey.LifeReopened) // until somebody decides
	})
	t.Run("deferred, and back on its day", func(t *testing.T) {
		w := start(t)
		w.decide(t, "P-A", "deferred", time.Date(2026, 6, 5, 0, 0, 0, 0, time.UTC))
		expect(t, w, 3, survey.LifeDeferred)
		expect(t, w, 4, survey.LifeDeferred)
		expect(t, w, 5, survey.LifeReopened)
	})
	t.Run("gone and found again", func(t *testing.T) {
		w := start(t)
		lay(w, 0.3, 0)
		expect(t, w, 3, survey.LifeOpen)
		lay(w, offM, 0)
		expect(t, w, 4, survey.LifeOpen) // no flicker
		lay(w, 0.3, 0)
		expect(t, w, 19, survey.LifeGone)
		lay(w, offM, 0)
		p := expect(t, w, 20, survey.LifeReopened)
		if !p.First.Equal(nightOf(1)) {
			t.Errorf("it was first found on %v", p.First)
		}
	})
	t.Run("not found for a night in which only an end followed a neighbour", func(t *testing.T) {
		w := start(t)
		w.redraw()
		w.main("A", 0.2, orb.Point{0, 0}, orb.Point{90, 0}, orb.Point{100, 0.4})
		expect(t, w, 3, survey.LifeOpen)
		w.redraw()
		w.main("A", offM, orb.Point{0, 0}, orb.Point{90, 0}, orb.Point{100, 0.4})
		expect(t, w, 4, survey.LifeOpen)
	})
	t.Run("drawn anew by hand, near where it was proposed", func(t *testing.T) {
		w := start(t)
		lay(w, 0.3, offM-0.3)
		expect(t, w, 3, survey.LifeCorrected)
		if !w.s.Records[0].Corrected {
			t.Error("the record is still of its sheet")
		}
	})
	t.Run("a decision holds for what is split off", func(t *testing.T) {
		w := start(t)
		w.decide(t, "P-A", "rejected", time.Time{})
		w.redraw()
		w.main("A1", offM, straight(0, 0, 70)...)
		w.main("A2", offM, straight(0, 70, 100)...)
		for _, f := range w.night(nightOf(3)) {
			if f.Life != survey.LifeRejected {
				t.Errorf("%s is %s (%s)", f.ID, f.Life, f.LifeReason)
			}
		}
		if d := w.finding(t, "P-A2").Decision; d.Word != "rejected" || d.Who != "K. Example" {
			t.Errorf("the part's decision is %+v", d)
		}
	})
}

// A record that only changed a little, or whose neighbour was corrected, stays
// with its sheet; a split or merged one that was corrected does not.
func TestWhoLeavesTheSheet(t *testing.T) {
	for _, c := range []struct {
		name string
		then func(w *town)
		want []bool
	}{
		{"a vertex added", func(w *town) { w.main("A", offM, straight(0, 0, 50, 100)...) }, []bool{false}},
		{"moved by half", func(w *town) { w.main("A", 0.6, straight(0.2, 0, 100)...) }, []bool{false}},
		{"as proposed", func(w *town) { w.main("A", 0, straight(offM, 0, 100)...) }, []bool{true}},
		{"as proposed, under another id", func(w *town) { w.main("X", 0, straight(offM, 0, 100)...) }, []bool{true}},
		{"as proposed, in two", func(w *town) {
			w.main("X", 0, straight(offM, 0, 50)...)
			w.main("Y", 0, straight(offM, 50, 100)...)
		}, []bool{true, true}},
		{"as proposed, with more", func(w *town) { w.main("X", 0, straight(offM, 0, 400)...) }, []bool{true}},
		{"the neighbour drawn anew beside it", func(w *town) {
			w.main("A", offM, straight(0, 0, 100)...)
			w.main("B", 0, straight(offM+0.1, 0, 100)...)
		}, []bool{false, false}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var w town
			w.main("A", offM, straight(0, 0, 100)...)
			w.main("B", 0, straight(3, 0, 100)...)
			w.night(nightOf(1))
			w.redraw()
			c.then(&w)
			w.night(nightOf(2))
			for i, want := range c.want {
				if w.s.Records[i].Corrected != want {
					t.Errorf("record %s: corrected %v, want %v", w.s.Records[i].ID, w.s.Records[i].Corrected, want)
				}
			}
		})
	}
}

// What is found of a neighbour that was on the map all along is no finding of the
// main beside it, even when that has none any more.
func TestANeighbourIsAnother(t *testing.T) {
	var w town
	w.main("A", offM, straight(0, 0, 100)...)
	w.main("B", 0, straight(0.6, 0, 100)...)
	w.night(nightOf(1))
	w.redraw()
	w.main("A", 0, straight(0, 0, 100)...)
	w.main("B", offM, straight(0.6, 0, 100)...)
	if fs := w.night(nightOf(2)); len(fs) != 1 || fs[0].ID != "P-B" || fs[0].Life != survey.LifeNew {
		t.Errorf("found %+v, want a new P-B", fs)
	}
}

// Short lines that cross are not one, however near.
func TestCrossingIsAnother(t *testing.T) {
	var w town
	w.main("A", offM, straight(0, 0, 3)...)
	w.night(nightOf(1))
	w.redraw()
	w.main("C", offM, orb.Point{1.5, -1.5}, orb.Point{1.5, 1.5})
	if fs := w.night(nightOf(2)); len(fs) != 1 || fs[0].ID != "P-C" {
		t.Errorf("found %+v, want P-C", fs)
	}
}

// A corrected record stays off its sheet when it is edited again, by whatever id.
func TestCorrectedStaysSo(t *testing.T) {
	var w town
	w.main("A", offM, straight(0, 0, 100)...)
	w.night(nightOf(1))
	for i, id := range []string{"A", "A", "Q"} {
		night := i + 2
		w.redraw()
		w.main(id, 0, straight(offM+0.01*float64(night), 0, 10*float64(night), 100)...)
		w.night(nightOf(night))
		if !w.s.Records[0].Corrected {
			t.Errorf("night %d: record %s is of its sheet again", night, id)
		}
	}
}

// What is found at a point is told by where it is, and what has no place by its id.
func TestFindingsWithoutALength(t *testing.T) {
	at := func(x float64) orb.MultiLineString { return orb.MultiLineString{{{x, 0}}} }
	for _, c := range []struct {
		name     string
		now, was orb.MultiLineString
		same     bool
	}{
		{"at one point", at(0), at(0.5), true},
		{"at another", at(0), at(20), false},
		{"nowhere", nil, nil, true},
		{"nowhere by now", nil, at(0), true},
		{"somewhere by now", at(0), nil, false},
	} {
		now, was := newCourse(c.now), newCourse(c.was)
		f, p := survey.Finding{ID: "X-1", Kind: survey.KindCorrection}, Finding{ID: "X-1", Kind: survey.KindCorrection}
		if _, same := fit(&f, &p, &[2]course{now, now}, &[2]course{was, was}); same != c.same {
			t.Errorf("%s: same %v, want %v", c.name, same, c.same)
		}
	}
}
