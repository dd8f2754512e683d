package judge

import (
	"fmt"
	"math"
	"strings"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// sheetsTell is from how many drawings on the map speaks for a source of positions
// that neither control checks nor another source tell of: fewer may be off by
// themselves. Common practice, no source.
const sheetsTell = 3

// sourceCase is what the field says of one source of positions: every number can
// be found again from sessions.csv, readings.csv and effects.csv.
type sourceCase struct {
	sessions    []int   // that had their positions from it, as effects
	checked     int     // of these: with control checks
	checks      int     // of all of them
	east, north float64 // median of the sessions' medians, observed minus known
	lines       int     // records read under it
	others      int     // of these: read under another source too
	sheets      int     // drawings read under it
}

// sourceOf is the source of every session's positions, as effects; -1 unknown. One
// crew on one day with two sources is two sessions.
func (f *field) sourceOf() []int {
	out := make([]int, len(f.m.Effects))
	for i := range out {
		out[i] = -1
	}
	set := func(session int, positions string) {
		if k, ok := f.source[positions]; ok {
			out[session] = k
		}
	}
	for t, session := range f.m.TraceSession {
		set(session, f.s.Traces[t].Positions)
	}
	for i, session := range f.m.CheckSession {
		set(session, f.s.Checks[i].Positions)
	}
	return out
}

// sourceCases is what the field says of every source, by effect.
func (f *field) sourceCases(vs []visit) map[int]*sourceCase {
	of, out := f.sourceOf(), map[int]*sourceCase{}
	for _, k := range f.source {
		out[k] = &sourceCase{}
	}
	medians := map[int]*checkErrors{}
	for session, k := range of {
		if k < 0 {
			continue
		}
		c := out[k]
		c.sessions = append(c.sessions, session)
		if errors := &f.checks[session]; len(errors.east) > 0 {
			c.checked++
			c.checks += len(errors.east)
			if medians[k] == nil {
				medians[k] = &checkErrors{}
			}
			medians[k].east = append(medians[k].east, estimate.Median(errors.east))
			medians[k].north = append(medians[k].north, estimate.Median(errors.north))
		}
	}
	for k, m := range medians {
		out[k].east, out[k].north = estimate.Median(m.east), estimate.Median(m.north)
	}
	sheets := map[int]map[string]bool{}
	byRecord(vs, func(vs []visit) {
		under := map[int]bool{}
		for i := range vs {
			under[of[vs[i].session]] = true
		}
		name := f.s.Records[vs[0].record].Sheet
		for k := range under {
			if k < 0 {
				continue
			}
			out[k].lines++
			if len(under) > 1 {
				out[k].others++
			}
			if sheets[k] == nil {
				sheets[k] = map[string]bool{}
			}
			if name != "" && !sheets[k][name] {
				sheets[k][name] = true
				out[k].sheets++
			}
		}
	})
	return out
}

// sourceSentence says what is known of a source's error, and to what this data
// attributes it. Readings alone cannot tell positions that are off from a map that
// is, drawn in another frame: only control checks and other sources can.
func (f *field) sourceSentence(e *survey.Effect, c *sourceCase) string {
	size, u := length(e.V)
	bound := size + 1.96*u
	attested := c.checks > 0 || c.others > 0
	var b strings.Builder
	switch {
	case len(c.sessions) == 0 && !e.Significant:
		return fmt.Sprintf("No trace and no control check was taken with it, only exposed places: what is expected of it and what else was read there put it within %.2f m of the truth (95 %%).", bound)
	case e.Significant && attested:
		fmt.Fprintf(&b, "Its positions lie %.2f m %s of the truth (u %.2f m), in all %s that had them from it: add %.2f m to the %s.%s This data attributes that to the frame of the positions.",
			size, compass(e.V.East, e.V.North), u, words.Count(len(c.sessions), "session"), size, compass(-e.V.East, -e.V.North), c.toldBy())
	case e.Significant:
		fmt.Fprintf(&b, "All its positions seem to lie %.2f m %s of the truth (u %.2f m), or the map as far the other way: %s had them from it and read %s of %s. Inseparable: %s.",
			size, compass(e.V.East, e.V.North), u, words.Count(len(c.sessions), "session"), words.Count(c.lines, "line"), words.Count(c.sheets, "drawing"), c.wouldTell())
	case bound <= f.o.Default.HorizontalM && (attested || c.sheets >= sheetsTell):
		return fmt.Sprintf("No error of its positions to be seen: %s put them within %.2f m of the truth (95 %%).", c.witnesses(), bound)
	default:
		return fmt.Sprintf("Inseparable from a map that is off: %s bound the error of its positions to %.2f m only (95 %%), and %s.", c.witnesses(), bound, c.wouldTell())
	}
	b.WriteString(mistakeWords(e.V, f.possible(e)))
	return b.String()
}

// toldBy says what tells a source that is off from a map that is.
func (c *sourceCase) toldBy() string {
	text := ""
	if c.checks > 0 {
		text = fmt.Sprintf(" %s of %d of these sessions put it %.2f m %s of the marks, by the median of their medians.",
			words.Count(c.checks, "control check"), c.checked, math.Hypot(c.east, c.north), compass(c.east, c.north))
	}
	if c.others > 0 {
		text += fmt.Sprintf(" Of %s that it read %s with another source of positions too.", words.Count(c.lines, "line"), words.Count(c.others, "was read", "were read"))
	}
	return text
}

// witnesses are what tells of a source's error.
func (c *sourceCase) witnesses() string {
	return told(some(c.checks, "control check", " in "+words.Count(c.checked, "session")), some(c.others, "line", " that other sources read too"), some(c.sheets, "drawing", " read with it"))
}

// wouldTell says what would tell a source's error.
func (c *sourceCase) wouldTell() string {
	more := "a"
	if c.checks > 0 {
		more = "another"
	}
	return more + " control check of any of its sessions, or lines that another source read too, would tell"
}
