package judge

import (
	"bytes"
	"crypto/sha256"
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// Where nobody surveyed check points, traces can test the proposed lines: those that
// an adjustment did not have. Only a place that another session read too tells
// anything, since without evidence nothing moves.

// walkedAt is a used reading on a record.
type walkedAt struct {
	stationM float64
	trace    int
}

// HoldOut chooses traces to hold out, up to Options.HoldOut of the readings: those of
// which half the readings or more stand where another session reads the record too.
// It returns the matches without them, nil if there are none. Which they are hangs on
// their ids alone.
func HoldOut(s *survey.Survey, matches [][]survey.Match, o Options) [][]survey.Match {
	on, used := usedOn(s, matches)
	if o.HoldOut == 0 || used > o.HoldOutMost {
		return nil
	}
	order, sums := s.ByID(), make([][sha256.Size]byte, len(s.Traces))
	for t := range s.Traces {
		sums[t] = sha256.Sum256([]byte(s.Traces[t].ID))
	}
	slices.SortStableFunc(order, func(a, b int) int { return bytes.Compare(sums[a][:], sums[b][:]) })
	out, taken, left := slices.Clone(matches), make([]bool, len(s.Traces)), o.HoldOut*float64(used)
	for _, t := range order {
		n, checked := 0, 0
		for i := range matches[t] {
			if m := &matches[t][i]; m.Status == survey.StatusUsed {
				n++
				if slices.ContainsFunc(on[m.Record], func(w walkedAt) bool {
					return !taken[w.trace] && s.Traces[w.trace].Session != s.Traces[t].Session && math.Abs(w.stationM-m.StationM) <= o.MaxGapM
				}) {
					checked++
				}
			}
		}
		if n == 0 || 2*checked < n || float64(n) > left {
			continue
		}
		left -= float64(n)
		taken[t] = true
		out[t] = slices.Clone(matches[t])
		for i := range out[t] {
			if m := &out[t][i]; m.Status == survey.StatusUsed || m.Status == survey.StatusSonde {
				m.Status = survey.StatusCheck
			}
		}
	}
	if !slices.Contains(taken, true) {
		return nil
	}
	return out
}

// usedOn lists the used readings of every record, and counts them.
func usedOn(s *survey.Survey, matches [][]survey.Match) (on [][]walkedAt, used int) {
	on = make([][]walkedAt, len(s.Records))
	for t := range matches {
		for i := range matches[t] {
			if m := &matches[t][i]; m.Status == survey.StatusUsed {
				on[m.Record] = append(on[m.Record], walkedAt{m.StationM, t})
				used++
			}
		}
	}
	return on, used
}

// CheckHeldOut tests the lines that were proposed without some traces with these: of
// the length that they walked beside surveyed stretches, how much lies within
// tolerance of the map, and of the lines. A reading speaks for half the way to those
// before and after it. What the rest of the data says of the error of its positions
// is taken off; m, judgements and corrections are those without the traces.
func CheckHeldOut(s *survey.Survey, matches, held [][]survey.Match, m *survey.Model, judgements []survey.Judgement, corrections []survey.Correction, o Options) *survey.HeldOut {
	f, out := newField(s, nil, m, &o), &survey.HeldOut{}
	records := map[int]bool{}
	lines := map[int][2]*lineref.Line{}
	for _, t := range s.ByID() {
		tested := 0
		for i := range held[t] {
			mt := &held[t][i]
			if mt.Status != survey.StatusCheck || matches[t][i].Status != survey.StatusUsed || mt.AtEnd || !surveyedAt(&judgements[mt.Record], mt) {
				continue
			}
			if _, ok := lines[mt.Record]; !ok {
				lines[mt.Record] = beforeAndAfter(s, &corrections[mt.Record])
			}
			was, is := offsets(lines[mt.Record], f.without(t, i, mt))
			long := speaksFor(s.Traces[t].Readings, i, o.MaxGapM*s.Records[mt.Record].Scale) / s.Records[mt.Record].Scale
			limit := judgements[mt.Record].Tolerance.HorizontalM
			out.LengthM += long
			if math.Abs(was) <= limit {
				out.BeforeM += long
			}
			if math.Abs(is) <= limit {
				out.AfterM += long
			}
			tested++
			records[mt.Record] = true
		}
		out.Readings += tested
		if tested > 0 {
			out.Traces++
		}
	}
	if out.Records = len(records); out.Readings == 0 {
		return nil
	}
	return out
}

// speaksFor is the way halfway from a reading to those before and after it, each no
// farther off than a gap that evidence does not bridge.
func speaksFor(rs []survey.Reading, i int, gapM float64) float64 {
	sum := 0.0
	for _, k := range [2]int{i - 1, i + 1} {
		if k >= 0 && k < len(rs) {
			sum += min(planar.Distance(rs[i].Point, rs[k].Point), gapM) / 2
		}
	}
	return sum
}

// surveyedAt says whether a place lies in a stretch of a record that has a verdict.
func surveyedAt(j *survey.Judgement, m *survey.Match) bool {
	return slices.ContainsFunc(j.Stretches, func(st survey.Stretch) bool {
		return st.Part == m.Part && m.StationM >= st.FromM && m.StationM <= st.ToM
	})
}

// without is where a reading would stand without the error of its positions.
func (f *field) without(trace, reading int, m *survey.Match) orb.Point {
	at, rec := f.s.Traces[trace].Readings[reading].Point, &f.s.Records[m.Record]
	session := f.m.Effects[f.m.TraceSession[trace]].V
	if i, ok := f.source[f.s.Traces[trace].Positions]; ok {
		session.East, session.North = session.East+f.m.Effects[i].V.East, session.North+f.m.Effects[i].V.North
	}
	east, north := survey.True(orb.Point{session.East, session.North}, -rec.Convergence)
	return orb.Point{at[0] - east*rec.Scale, at[1] - north*rec.Scale}
}

// beforeAndAfter are a record's line on the map and as it is proposed.
func beforeAndAfter(s *survey.Survey, c *survey.Correction) [2]*lineref.Line {
	rec := &s.Records[c.Record]
	was := lineref.New(rec.Parts, rec.Scale)
	if !c.Moved {
		return [2]*lineref.Line{&was, &was}
	}
	parts := make(orb.MultiLineString, len(c.Parts))
	for k := range c.Parts {
		parts[k] = c.Parts[k].Line
	}
	is := lineref.New(parts, rec.Scale)
	return [2]*lineref.Line{&was, &is}
}

func offsets(lines [2]*lineref.Line, at orb.Point) (was, is float64) {
	a, _ := lines[0].Nearest(at)
	b, _ := lines[1].Nearest(at)
	return a.OffsetM, b.OffsetM
}
