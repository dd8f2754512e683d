package scorer

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// The definitions' numbers (see the package's doc).
const (
	gapM       = 20  // readings farther apart leave a hole in the surveyed part
	stretchM   = 3   // the shortest stretch that counts
	marginM    = 0.1 // either side of the tolerance
	stepM      = 0.5
	wrongCover = 0.4
	shiftedM   = 0.8
	acrossM    = 0.4
	settledM   = 0.15 // a sheet's component with a smaller stated uncertainty is scored
)

// ToleranceM is the horizontal and depth tolerance of the towns' jobs.
func ToleranceM(utility string) (horizontal, depth float64) {
	if utility == "gas" {
		return 0.3, 0.2
	}
	return 0.5, 0.3
}

// judge is a town made ready for scoring.
type judge struct {
	town     *synth.Town
	truth    *synth.Truth
	records  map[string]int  // by id
	byLine   map[int][]int   // records of a true line
	surveyed [][][2]float64  // per record: surveyed stretches, stations of its true line
	lines    []*lineref.Line // per record: its true line; nil where none is there
	before   []lineref.Line  // per record: as handed in
	keys     []At            // of all readings, in the traces' order
	good     map[At]bool
	reading  map[At]*synth.Reading
}

func newJudge(town *synth.Town) *judge {
	s, tr := town.Survey(), &town.Truth
	j := &judge{
		town: town, truth: tr, records: map[string]int{}, byLine: map[int][]int{},
		surveyed: make([][][2]float64, len(tr.Records)), lines: make([]*lineref.Line, len(tr.Records)),
		before: make([]lineref.Line, len(tr.Records)), good: map[At]bool{}, reading: map[At]*synth.Reading{},
	}
	for r := range tr.Records {
		j.records[tr.Records[r].ID] = r
		j.before[r] = lineref.New(s.Records[r].Parts, s.Records[r].Scale)
		if pts := tr.Records[r].Points; len(pts) > 1 && tr.Records[r].Line >= 0 {
			l := lineref.New(orb.MultiLineString{pts}, s.Records[r].Scale)
			j.lines[r] = &l
			j.byLine[tr.Records[r].Line] = append(j.byLine[tr.Records[r].Line], r)
		}
	}
	j.sortReadings(s)
	return j
}

// sortReadings tells good readings and finds the surveyed parts.
func (j *judge) sortReadings(s *survey.Survey) {
	at := make([][]float64, len(j.lines))
	for t := range j.truth.Traces {
		tr := &j.truth.Traces[t]
		for i := range tr.Readings {
			rd := &tr.Readings[i]
			key := At{tr.File, rd.Row}
			mode := s.Traces[t].Readings[i].Mode
			j.keys = append(j.keys, key)
			j.reading[key] = rd
			good := !rd.Jumped && !rd.Distorted && !rd.Float && mode == survey.ModeActive &&
				!j.truth.Lines[rd.Line].Missing && len(j.byLine[rd.Line]) > 0
			j.good[key] = good
			if !good {
				continue
			}
			for _, r := range j.byLine[rd.Line] {
				if f, ok := j.lines[r].Nearest(rd.Point); ok && math.Abs(f.OffsetM) < 0.01 {
					at[r] = append(at[r], f.StationM)
				}
			}
		}
	}
	for r := range at {
		slices.Sort(at[r])
		for i, m := range at[r] {
			n := len(j.surveyed[r])
			if i > 0 && m-at[r][i-1] <= gapM {
				j.surveyed[r][n-1][1] = m
			} else {
				j.surveyed[r] = append(j.surveyed[r], [2]float64{m, m})
			}
		}
		j.surveyed[r] = slices.DeleteFunc(j.surveyed[r], func(s [2]float64) bool { return s[1]-s[0] < stretchM })
	}
}

// Score holds an outcome against the truth.
func Score(town *synth.Town, o *Outcome) *Tally {
	t, j := NewTally(), newJudge(town)
	j.scoreMatching(t, o)
	j.scoreVerdicts(t, o)
	j.scoreDepth(t, o)
	j.scoreEffects(t, o)
	j.scoreGeometry(t, o)
	j.scoreUnmapped(t, o)
	j.scoreResurvey(t, o)
	return t
}

func (j *judge) scoreMatching(t *Tally, o *Outcome) {
	for _, key := range j.keys {
		rd, got := j.reading[key], o.Readings[key]
		used := got.Status == string(survey.StatusUsed)
		r, known := j.records[got.Record]
		right := known && j.truth.Records[r].Line == rd.Line
		unmapped := j.truth.Lines[rd.Line].Missing || len(j.byLine[rd.Line]) == 0
		if used {
			t.count("matching: right record among readings used", right)
			if !math.IsNaN(got.Probability) {
				miss := got.Probability
				if right {
					miss = 1 - miss
				}
				t.sample("matching: Brier score of the probability", miss*miss)
				if got.Probability >= 0.99 {
					t.count("matching: right where p >= .99", right)
				}
			}
		}
		switch {
		case j.good[key]:
			t.count("matching: good readings used", used)
			t.count("trust: good readings distrusted", got.Status == string(survey.StatusUntrusted))
		case rd.Jumped:
			t.count("matching: jumped readings used for a wrong record", used && !right)
		case unmapped:
			t.count("matching: readings of unmapped lines kept apart", !used)
		case rd.Distorted:
			t.count("trust: distorted readings distrusted", got.Status == string(survey.StatusUntrusted))
		}
	}
}
