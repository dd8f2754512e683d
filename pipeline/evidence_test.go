package pipeline_test

import (
	"context"
	"log/slog"
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/judge"
	"github.com/asfound/asfound/pipeline/survey"
)

// tally is what the checks of some towns came to.
type tally struct {
	marks, otherLine, beyond3u, falseOutside, falseWithin int     // pairs compared, and what is wrong among them
	squares                                               float64 // of (offset - truth)/u, of outliers 9
	covers, coverSaid, coverFalse, coverMissed            int     // records with depths; said to be under the minimum; not so; so by 5 cm and called within
	bare                                                  int     // of the covers: none is recorded
}

// TestMarksAndCoversOfTowns holds the findings on marks and minimum covers
// against the truth of made-up towns that nobody tuned on.
func TestMarksAndCoversOfTowns(t *testing.T) {
	var n tally
	p, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	p.Crews.Marks, p.Crews.TestHoles = 1, 1
	for seed := uint64(9301); seed < 9307; seed++ {
		town := synth.Make(seed, p)
		job := config.Default()
		job.Judge.Zones = []judge.ZoneRule{{EachSideM: 0.15, Law: "a narrow zone"}}
		job.Judge.Cover = []judge.CoverRule{{MinimumM: 0.9, Law: "a made-up table"}} // in the middle of what there is
		r, err := pipeline.Analyse(context.Background(), town.Survey(), job, slog.New(slog.DiscardHandler), nil)
		if err != nil {
			t.Fatal(err)
		}
		n.countMarks(t, town, r)
		n.countCovers(town, r, job.Judge.Cover[0].MinimumM)
	}
	t.Logf("%+v, (offset - truth)/u %.2f", n, math.Sqrt(n.squares/float64(n.marks)))
	if n.marks == 0 || n.coverSaid == 0 || n.bare == 0 {
		t.Fatal("nothing was compared")
	}
	// A few marks were surveyed decimetres off where they were painted, as any
	// satellite position may be.
	if few := 1 + n.marks/20; n.otherLine > 0 || n.falseOutside > few || n.falseWithin > few || n.beyond3u > few || n.squares > 2*float64(n.marks) {
		t.Error("marks were held against exposures that they have nothing to do with, or not well")
	}
	if n.coverFalse*20 > n.coverSaid || n.coverMissed*50 > n.covers {
		t.Error("covers under the minimum: over 5 % said falsely, or over 2 % missed by 5 cm")
	}
}

// painted is where marks really are: where the pole stood, and the hand's error.
func painted(town *synth.Town) []orb.Point {
	s := town.Survey()
	type key struct {
		crew string
		at   int64
	}
	poles := map[key][2]orb.Point{}
	for t := range s.Traces {
		for i := range s.Traces[t].Readings {
			r := &s.Traces[t].Readings[i]
			poles[key{s.Traces[t].Crew, r.Time.UnixNano()}] = [2]orb.Point{r.Point, town.Truth.Traces[t].Readings[i].Pole}
		}
	}
	out := make([]orb.Point, len(s.Marks))
	for i := range s.Marks {
		m := &s.Marks[i]
		at := poles[key{m.Crew, m.Time.UnixNano()}]
		out[i] = orb.Point{m.Point[0] - at[0][0] + at[1][0], m.Point[1] - at[0][1] + at[1][1]}
	}
	return out
}

func (n *tally) countMarks(t *testing.T, town *synth.Town, r *survey.Result) {
	truly := painted(town)
	for i := range r.MarkChecks {
		c := &r.MarkChecks[i]
		if c.Reason != "" {
			continue
		}
		n.marks++
		hole := r.Survey.Exposures[c.Exposure].Point
		meant := &town.Truth.Lines[town.Marks[c.Marks[0]].Line]
		own := lineref.New(orb.MultiLineString{meant.Points}, 1)
		if foot, _ := own.Nearest(hole); math.Abs(foot.OffsetM) > 0.1 {
			n.otherLine++ // nor is it the joint of two lines
			t.Logf("seed %d: %s is %.2f m from the line that was marked", town.Seed, r.Survey.Exposures[c.Exposure].ID, foot.OffsetM)
		}
		var truth float64
		if len(c.Marks) > 1 {
			a, b := truly[c.Marks[0]], truly[c.Marks[1]]
			dx, dy := b[0]-a[0], b[1]-a[1]
			truth = (dx*(hole[1]-a[1]) - dy*(hole[0]-a[0])) / math.Hypot(dx, dy) // + where the hole is left of it
		} else { // beside one mark, the exposed line is the true one
			foot, _ := own.Nearest(truly[c.Marks[0]])
			truth = math.Copysign(foot.OffsetM, c.OffsetM)
		}
		if math.Abs(c.OffsetM-truth) > 3*c.OffsetU {
			n.beyond3u++
			t.Logf("seed %d: %s lies %.2f m off, said %.2f m, u %.3f m", town.Seed, r.Survey.Exposures[c.Exposure].ID, truth, c.OffsetM, c.OffsetU)
		}
		n.squares += min((c.OffsetM-truth)*(c.OffsetM-truth)/c.OffsetU/c.OffsetU, 9)
		switch {
		case c.Verdict == survey.VerdictOutside && math.Abs(truth) < c.ZoneM:
			n.falseOutside++
		case c.Verdict == survey.VerdictWithin && math.Abs(truth) > c.ZoneM:
			n.falseWithin++
		}
	}
}

func (n *tally) countCovers(town *synth.Town, r *survey.Result, minimumM float64) {
	said := map[int]survey.Verdict{}
	for i := range r.Findings {
		if f := &r.Findings[i]; f.Kind == survey.KindCover && said[f.Record] != survey.VerdictOutside {
			said[f.Record] = f.Verdict
		}
	}
	for i := range r.Survey.Records {
		truth := &town.Truth.Records[i]
		fromM, toM := math.Inf(1), math.Inf(-1)
		for _, s := range r.Model.Profiles[i].Surveyed(10) {
			fromM, toM = min(fromM, s.FromM), max(toM, s.ToM)
		}
		if r.Model.Profiles[i].Cover.Readings == 0 || truth.Line < 0 || !(toM > fromM) {
			continue
		}
		n.covers++
		if math.IsNaN(r.Survey.Records[i].CoverM) {
			n.bare++
		}
		line := lineref.New(orb.MultiLineString{truth.Points}, town.Frame.Scale)
		share := line.LengthM() / r.Judgements[i].LengthM
		least := math.Inf(1)
		for at := fromM; at <= toM; at++ {
			least = min(least, valueAt(line.Stations(0), truth.CoverM, at*share))
		}
		switch v := said[i]; {
		case v == survey.VerdictOutside && least >= minimumM:
			n.coverFalse++
			fallthrough
		case v == survey.VerdictOutside:
			n.coverSaid++
		case v == "" && least < minimumM-0.05:
			n.coverMissed++
		}
	}
}

// valueAt is a value at a station, linear between vertices.
func valueAt(stations, values []float64, at float64) float64 {
	for k := 1; k < len(stations); k++ {
		if at <= stations[k] {
			t := (at - stations[k-1]) / (stations[k] - stations[k-1])
			return values[k-1] + t*(values[k]-values[k-1])
		}
	}
	return values[len(values)-1]
}
