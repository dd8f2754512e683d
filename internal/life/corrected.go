package life

import (
	"maps"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// stillM is how near a corrected line that changed again has to stay to have left
// its sheet for good; practice.
const stillM = 0.5

// Corrected says of each record whether its line came back to the map as it was
// proposed, tonight or earlier. A record that has not changed stays what it was;
// one that has, by whatever key it goes now, is corrected if over half the length
// of what was proposed to move lies along it within tolerance, or over half of its
// own along that. The map as it was does not: it lay beyond the tolerance there.
func Corrected(records []survey.Record, past *Past) []bool {
	out := make([]bool, len(records))
	keys := map[string]bool{}
	for i := range records {
		keys[records[i].Key()] = true
	}
	lines := slices.Clone(past.Proposals) // proposed, or on the map since
	for _, key := range slices.Sorted(maps.Keys(past.Records)) {
		if was := past.Records[key]; was.Corrected {
			lines = append(lines, Proposal{Record: key, Utility: was.Utility, Moved: was.Line, ToleranceM: stillM})
		}
	}
	courses := make([]course, len(lines))
	for i := range lines {
		courses[i] = newCourse(lines[i].Moved)
	}
	for i := range records {
		rec := &records[i]
		if was, known := past.Records[rec.Key()]; known && sameLine(was.Line, rec.Parts) {
			out[i] = was.Corrected
			continue
		}
		if len(lines) == 0 {
			continue
		}
		own := newCourse(rec.Parts)
		for k := range lines {
			if l := &lines[k]; l.Utility == rec.Utility && mayBeOne(rec.Key(), l.Record, keys, past.Records) {
				_, same := samePlace(&courses[k], &own, l.ToleranceM)
				out[i] = out[i] || same
			}
		}
	}
	return out
}

// sameLine says whether two lines have the same vertices but for what a change of
// the working plane rounds off, a tenth of a millimetre.
func sameLine(a, b orb.MultiLineString) bool {
	const roundedM = 1e-4
	return slices.EqualFunc(a, b, func(p, q orb.LineString) bool {
		return slices.EqualFunc(p, q, func(u, v orb.Point) bool {
			return max(u[0]-v[0], v[0]-u[0], u[1]-v[1], v[1]-u[1]) <= roundedM
		})
	})
}

// Propose lists the lines that are proposed tonight, by key: only where one moves
// beyond its record's tolerance can it be told whether it came back. Earlier
// proposals of records that are not proposed tonight, and have not changed, stand.
func Propose(s *survey.Survey, js []survey.Judgement, cs []survey.Correction, past *Past) []Proposal {
	var out []Proposal
	met := map[string]bool{}
	for _, r := range s.ByKey() {
		c, rec := &cs[r], &s.Records[r]
		if !c.Moved || c.Neighbor {
			continue
		}
		if moved := movedParts(rec, c, js[r].Tolerance.HorizontalM); len(moved) > 0 {
			out = append(out, Proposal{Record: rec.Key(), Utility: rec.Utility, Finding: c.Finding, Moved: moved, ToleranceM: js[r].Tolerance.HorizontalM})
			met[rec.Key()] = true
		}
	}
	asWas := map[string]bool{}
	for i := range s.Records {
		key := s.Records[i].Key()
		was, known := past.Records[key]
		asWas[key] = known && !s.Records[i].Corrected && sameLine(was.Line, s.Records[i].Parts)
	}
	for _, p := range past.Proposals {
		if !met[p.Record] && asWas[p.Record] {
			out = append(out, p)
		}
	}
	slices.SortStableFunc(out, func(a, b Proposal) int { return strings.Compare(a.Record, b.Record) })
	return out
}

// movedParts are the pieces of a proposed line that lie beyond the tolerance from
// the record's.
func movedParts(rec *survey.Record, c *survey.Correction, toleranceM float64) orb.MultiLineString {
	var out orb.MultiLineString
	line := lineref.New(rec.Parts, rec.Scale)
	for k := range c.Parts {
		part := c.Parts[k].Line
		for i := 1; i < len(part); i++ {
			middle := orb.Point{(part[i-1][0] + part[i][0]) / 2, (part[i-1][1] + part[i][1]) / 2}
			foot, ok := line.Nearest(middle)
			if !ok || max(foot.OffsetM, -foot.OffsetM) <= toleranceM {
				continue
			}
			if n := len(out); n > 0 && out[n-1][len(out[n-1])-1] == part[i-1] {
				out[n-1] = append(out[n-1], part[i])
				continue
			}
			out = append(out, orb.LineString{part[i-1], part[i]})
		}
	}
	return out
}
