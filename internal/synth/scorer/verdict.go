package scorer

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// truly is what a record really is over its surveyed part.
type truly int

const (
	trulyUnsurveyed truly = iota
	trulyWithin
	trulyOutside
	trulyBetween // not counted
)

// truth of one record: the longest run beyond tolerance + margin and whether it
// stays under tolerance - margin.
func (j *judge) truly(r int) truly {
	if j.lines[r] == nil || len(j.surveyed[r]) == 0 {
		return trulyUnsurveyed
	}
	limit, _ := ToleranceM(j.town.Survey().Records[r].Utility)
	within := true
	for _, s := range j.surveyed[r] {
		run := 0.0
		for m := s[0]; m <= s[1]; m += stepM {
			d := distance(&j.before[r], j.lines[r].At(m))
			within = within && d <= limit-marginM
			if d > limit+marginM {
				if run += stepM; run >= stretchM+stepM {
					return trulyOutside
				}
			} else {
				run = 0
			}
		}
	}
	if within {
		return trulyWithin
	}
	return trulyBetween
}

func distance(l *lineref.Line, p orb.Point) float64 {
	f, _ := l.Nearest(p)
	return math.Abs(f.OffsetM)
}

func (j *judge) scoreVerdicts(t *Tally, o *Outcome) {
	const outside, within = string(survey.VerdictOutside), string(survey.VerdictWithin)
	for r := range j.truth.Records {
		rec := o.Records[j.truth.Records[r].ID]
		decided := rec.Position == outside || rec.Position == within
		switch j.truly(r) {
		case trulyOutside:
			t.count("verdict: truly outside found", rec.Position == outside)
			t.count("verdict: truly outside said within", rec.Position == within)
			t.count("verdict: undecided or called unsurveyed", !decided)
			if rec.Position == outside {
				t.count("attribution: outside found, put down to the record", rec.Attribution == string(survey.AttributionRecord))
			} else if rec.Position != within {
				t.count("attribution: called inseparable", rec.Attribution == string(survey.AttributionInseparable))
			}
		case trulyWithin:
			t.count("verdict: truly within said outside", rec.Position == outside)
			t.count("verdict: undecided or called unsurveyed", !decided)
		case trulyUnsurveyed:
			if j.lines[r] == nil {
				t.count("verdict: record of no line said outside", rec.Position == outside)
			}
		}
	}
}

func (j *judge) scoreDepth(t *Tally, o *Outcome) {
	s := j.town.Survey()
	for r := range j.truth.Records {
		tr := &j.truth.Records[r]
		cover := s.Records[r].CoverM
		if math.IsNaN(cover) || len(tr.CoverM) == 0 || len(j.surveyed[r]) == 0 {
			continue
		}
		mean := 0.0
		for _, c := range tr.CoverM {
			mean += c / float64(len(tr.CoverM))
		}
		_, limit := ToleranceM(s.Records[r].Utility)
		verdict := o.Records[tr.ID].Depth
		switch d := math.Abs(mean - cover); {
		case d >= wrongCover:
			t.count("depth: wrong covers found", verdict == string(survey.VerdictOutside))
		case d < limit-marginM:
			t.count("depth: good covers flagged", verdict == string(survey.VerdictOutside))
		}
	}
}

func (j *judge) scoreGeometry(t *Tally, o *Outcome) {
	for r := range j.truth.Records {
		tr := &j.truth.Records[r]
		if len(j.surveyed[r]) == 0 {
			continue
		}
		after, ok := o.Lines[tr.ID]
		if !ok {
			continue
		}
		now := lineref.New(orb.MultiLineString{after}, j.before[r].Scale)
		outside := j.truly(r) == trulyOutside
		for _, s := range j.surveyed[r] {
			for m := s[0]; m <= s[1]; m += stepM {
				p := j.lines[r].At(m)
				was, is := distance(&j.before[r], p), distance(&now, p)
				t.sample("geometry: surveyed parts before, m", was)
				t.sample("geometry: surveyed parts after, m", is)
				if outside {
					t.sample("geometry: truly outside before, m", was)
					t.sample("geometry: truly outside after, m", is)
				}
			}
		}
	}
	j.scoreTopology(t, o)
}

// scoreTopology counts junctions that were shut and are open: ends of two
// records drawn within 1 cm of each other that now lie over 1 cm apart.
func (j *judge) scoreTopology(t *Tally, o *Outcome) {
	s := j.town.Survey()
	const shutM = 0.01
	type end struct{ before, after orb.Point }
	cells := map[[2]int64][]end{}
	opened, junctions := 0, 0
	for r := range s.Records {
		after, ok := o.Lines[s.Records[r].ID]
		if !ok || len(s.Records[r].Parts) != 1 {
			continue
		}
		part := s.Records[r].Parts[0]
		for _, e := range []end{{part[0], after[0]}, {part[len(part)-1], after[len(after)-1]}} {
			key := [2]int64{int64(math.Floor(e.before[0])), int64(math.Floor(e.before[1]))}
			for _, other := range cells[key] {
				if apart(e.before, other.before) <= shutM {
					junctions++
					if apart(e.after, other.after) > shutM {
						opened++
					}
				}
			}
			cells[key] = append(cells[key], e)
		}
	}
	t.add("topology: junctions opened", opened, junctions)
}

func apart(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
