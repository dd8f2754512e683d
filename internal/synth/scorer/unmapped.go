package scorer

import (
	"math"
	"math/rand/v2"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// A line that no record shows counts as walked from this many readings on.
const (
	walkedReadings = 6
	nearM          = 1.0 // a found line lies along the true one
)

func (j *judge) scoreUnmapped(t *Tally, o *Outcome) {
	walked := map[int]int{}
	for _, key := range j.keys {
		rd := j.reading[key]
		if j.truth.Lines[rd.Line].Missing && !rd.Jumped {
			walked[rd.Line]++
		}
	}
	var missing []int
	for l, n := range walked {
		if n >= walkedReadings {
			missing = append(missing, l)
		}
	}
	slices.Sort(missing)
	found := make([]bool, len(missing))
	wrong := 0
	for _, f := range o.Findings {
		if f.Kind != string(survey.KindUnmapped) {
			continue
		}
		hit := false
		for i, l := range missing {
			if j.alongside(f.Line, l) {
				found[i], hit = true, true
			}
		}
		if !hit && !j.anyMissing(f.Line) {
			wrong++
		}
	}
	for i := range missing {
		t.count("unmapped: lines found", found[i])
	}
	t.sample("unmapped: false ones, a town", float64(wrong))
	j.scoreNotDetected(t, o)
}

// alongside says whether most of a found line lies along a true one.
func (j *judge) alongside(found orb.MultiLineString, line int) bool {
	truth := lineref.New(orb.MultiLineString{j.truth.Lines[line].Points}, j.town.Frame.Scale)
	near, all := 0, 0
	for _, part := range found {
		for _, p := range part {
			all++
			if distance(&truth, p) <= nearM {
				near++
			}
		}
	}
	return all > 0 && 2*near > all
}

func (j *judge) anyMissing(found orb.MultiLineString) bool {
	for l := range j.truth.Lines {
		if j.truth.Lines[l].Missing && j.alongside(found, l) {
			return true
		}
	}
	return false
}

func (j *judge) scoreNotDetected(t *Tally, o *Outcome) {
	empty := map[string]bool{}
	for i := range j.truth.Areas {
		for _, id := range j.truth.Areas[i].Empty {
			empty[id] = true
		}
	}
	said := map[string]bool{}
	wrong := 0
	for _, f := range o.Findings {
		if f.Kind == string(survey.KindNotDetected) {
			said[f.Record] = true
			if !empty[f.Record] {
				wrong++
			}
		}
	}
	for id := range empty {
		t.count("not detected: found", said[id])
	}
	t.sample("not detected: false ones, a town", float64(wrong))
}

// scoreResurvey is how much of the truly wrong unsurveyed length the first fifth
// of the order's cost reaches, beside the same length picked by age and at random.
func (j *judge) scoreResurvey(t *Tally, o *Outcome) {
	if len(o.Resurvey) == 0 {
		return
	}
	s := j.town.Survey()
	wrong := func(rs []Resurvey, lengthM float64) (hit, all float64) {
		at := 0.0
		for _, r := range rs {
			i := j.records[r.Record]
			limit, _ := ToleranceM(s.Records[i].Utility)
			for m := r.FromM; m < r.ToM; m++ {
				off := j.lines[i] != nil && distance(j.lines[i], j.before[i].At(m)) > limit
				if off {
					all++
					if at < lengthM {
						hit++
					}
				}
				at++
			}
		}
		return hit, all
	}
	total := 0.0
	for _, r := range o.Resurvey {
		total += r.ToM - r.FromM
	}
	age := slices.Clone(o.Resurvey)
	slices.SortStableFunc(age, func(a, b Resurvey) int {
		return s.Records[j.records[a.Record]].Installed - s.Records[j.records[b.Record]].Installed
	})
	random := slices.Clone(o.Resurvey)
	rng := rand.New(rand.NewPCG(j.town.Seed, 1))
	rng.Shuffle(len(random), func(a, b int) { random[a], random[b] = random[b], random[a] })
	for _, order := range []struct {
		name string
		rs   []Resurvey
	}{{"resurvey: wrong length in the first fifth, share", o.Resurvey}, {"resurvey: the same by age", age}, {"resurvey: the same at random", random}} {
		if hit, all := wrong(order.rs, total/5); all > 0 {
			t.sample(order.name, hit/math.Max(all, 1))
		}
	}
}
