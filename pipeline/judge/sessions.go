package judge

import (
	"fmt"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// samplesASession is how many of a session's readings are looked at for what
// lies beside them.
const samplesASession = 200

// sessions are the pages of the sessions, in the order of the effects. They are
// not ranked.
func (f *field) sessions(vs []visit, matches [][]survey.Match) []survey.Session {
	if f.m.TraceSession == nil {
		return nil
	}
	var out []survey.Session
	at := make([]int, len(f.m.Effects)) // the page of an effect
	for i := range f.m.Effects {
		if e := &f.m.Effects[i]; e.Kind == survey.EffectSession {
			at[i] = len(out)
			c := &f.checks[i]
			out = append(out, survey.Session{
				Effect: i, Name: e.Name, Crew: e.Crew, Checks: len(c.east),
				CheckEast: estimate.Median(c.east), CheckNorth: estimate.Median(c.north),
			})
		}
	}
	for session, k := range f.sourceOf() {
		if k >= 0 {
			out[at[session]].Positions = f.m.Effects[k].Name
		}
	}
	f.count(out, at, matches)
	f.crowd(out, at, matches)
	byRecord(vs, func(vs []visit) {
		crews := f.crews[vs[0].record]
		for i := range vs {
			if i > 0 && vs[i].session == vs[i-1].session {
				continue
			}
			q := &out[at[vs[i].session]]
			q.Lines++
			if vs[0].session != vs[len(vs)-1].session {
				q.OtherSessions++
			}
			if len(crews) > 1 {
				q.OtherCrews++
			}
		}
	})
	for _, lines := range f.bySheet {
		seen := map[int]bool{}
		for _, vs := range lines {
			for i := range vs {
				if s := vs[i].session; !seen[s] {
					seen[s] = true
					out[at[s]].Sheets++
				}
			}
		}
	}
	return out
}

// count fills what a page says of the session's readings: their number, bias and
// noise, which are of what the model leaves of them, to the right of walking.
func (f *field) count(out []survey.Session, at []int, matches [][]survey.Match) {
	left := make([][]float64, len(out))
	for _, t := range f.s.ByID() {
		tr := &f.s.Traces[t]
		k := at[f.m.TraceSession[t]]
		q := &out[k]
		q.Receiver = max(q.Receiver, tr.Receiver)
		from := len(left[k])
		for i := range tr.Readings {
			m, rd := &matches[t][i], &tr.Readings[i]
			q.Readings++
			switch m.Status {
			case survey.StatusUsed:
				q.Used++
			case survey.StatusUntrusted:
				q.Distrusted++
			}
			if !rd.Time.IsZero() && (q.First.IsZero() || rd.Time.Before(q.First)) {
				q.First = rd.Time
			}
			if rd.Time.After(q.Last) {
				q.Last = rd.Time
			}
			if m.Status == survey.StatusUsed && !m.AtEnd {
				left[k] = append(left[k], f.left(t, m))
			}
		}
		walked := left[k][from:]
		bias := mean(walked)
		q.BiasM += bias * float64(len(walked))
		for i := range walked {
			walked[i] -= bias
		}
	}
	for k := range out {
		if n := len(left[k]); n > 0 {
			out[k].BiasM /= float64(n)
			out[k].NoiseM = estimate.MAD(left[k])
		}
	}
}

// mean is that of some values; 0 of none.
func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / max(float64(len(v)), 1)
}

// left is what the line as adjusted and the positions' error leave of a reading's
// offset, to the right of walking.
func (f *field) left(trace int, m *survey.Match) float64 {
	e, n := f.s.Records[m.Record].Right(m.Part, m.Segment)
	d := f.m.Profiles[m.Record].At(m.Part, m.StationM)
	session := &f.m.Effects[f.m.TraceSession[trace]].V
	d.East, d.North = d.East+session.East, d.North+session.North
	if i, ok := f.source[f.s.Traces[trace].Positions]; ok {
		source := &f.m.Effects[i].V
		d.East, d.North = d.East+source.East, d.North+source.North
	}
	v := m.OffsetM - e*d.East - n*d.North
	if m.Against {
		return -v
	}
	return v
}

// crowd says of a sample of each session's readings how many stand beside
// another line, and how many readings the job distrusts at such places: crews do
// not choose where they are sent.
func (f *field) crowd(out []survey.Session, at []int, matches [][]survey.Match) {
	index, of := segmentsOf(f.s, f.o.CongestedM)
	var rate [2]struct{ distrusted, all float64 } // open, congested
	seen := make([]int, len(out))
	var near []int32
	for _, t := range f.s.ByID() {
		k := at[f.m.TraceSession[t]]
		stride := max(out[k].Readings/samplesASession, 1)
		for i := range f.s.Traces[t].Readings {
			seen[k]++
			if seen[k]%stride != 0 {
				continue
			}
			near = index.Within(f.s.Traces[t].Readings[i].Point, f.o.CongestedM, near)
			crowded := 0
			if slices.ContainsFunc(near, func(s int32) bool { return of[s] != of[near[0]] }) {
				crowded = 1
			}
			out[k].Sampled++
			out[k].Congested += crowded
			rate[crowded].all++
			if matches[t][i].Status == survey.StatusUntrusted {
				rate[crowded].distrusted++
			}
		}
	}
	for k := range out {
		q := &out[k]
		if q.Sampled == 0 {
			continue
		}
		for crowded, n := range [2]int{q.Sampled - q.Congested, q.Congested} {
			if n > 0 {
				q.DistrustedThere += float64(n) / float64(q.Sampled) * rate[crowded].distrusted / rate[crowded].all
			}
		}
	}
}

// sessionSentence says what is known of a session's positions, its own readings'
// word aside.
func (f *field) sessionSentence(q *survey.Session) string {
	e := &f.m.Effects[q.Effect]
	size, u := length(e.Others)
	bound := size + 1.96*u
	var b strings.Builder
	switch {
	case e.Significant:
		own, ownU := length(e.V)
		fmt.Fprintf(&b, "Its positions lie %.2f m %s of the truth (u %.2f m). Its own word aside, %s put them %.2f m %s of it (u %.2f m): this data attributes that to the field.",
			own, compass(e.V.East, e.V.North), ownU, witnesses(q), size, compass(e.Others.East, e.Others.North), u)
		b.WriteString(mistakeWords(e.V, f.possible(e)))
	case bound <= f.o.Default.HorizontalM:
		fmt.Fprintf(&b, "No error of its positions to be seen: its own word aside, %s put them within %.2f m of the truth (95 %%).", witnesses(q), bound)
	default:
		fmt.Fprintf(&b, "Inseparable: its own word aside, %s bound the error of its positions to %.2f m only (95 %%). %s.", witnesses(q), bound, f.wouldTell(q))
	}
	return b.String()
}

// witnesses are what tells of a session's error beside its own readings.
func witnesses(q *survey.Session) string {
	return told(some(q.Checks, "control check", ""), some(q.OtherSessions, "line", " that other sessions read too"), some(q.Sheets, "drawing", " that it read"))
}

// some is a number of things with what is to say of them; "" if there are none.
func some(n int, one, of string) string {
	if n == 0 {
		return ""
	}
	return words.Count(n, one) + of
}

// told lists what tells of an error: each may be "".
func told(by ...string) string {
	by = slices.DeleteFunc(by, func(s string) bool { return s == "" })
	if len(by) == 0 {
		return "what is expected of the map"
	}
	return listed(by, "and")
}

// wouldTell says what would tell a session's error.
func (f *field) wouldTell(q *survey.Session) string {
	ways := []string{"a control check of this session"}
	if q.Checks > 0 {
		ways = []string{"more control checks of this session"}
	}
	switch alone := q.Lines - q.OtherSessions; {
	case alone == 1:
		ways = append(ways, "another session on the line that it alone read")
	case alone > 1:
		ways = append(ways, "another session on one of the "+words.Count(alone, "line")+" that it alone read")
	}
	return capital(listed(ways, "or") + " would tell")
}
