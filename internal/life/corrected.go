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

// Back says of a record that its line came back to the map as it was proposed, and
// what it tells of the sheet that it left.
type Back struct {
	Corrected bool
	Left      survey.Left
}

// Corrected says of each record whether its line came back to the map as it was
// proposed, tonight or earlier. A record that has not changed stays what it was;
// one that has, by whatever key it goes now, is corrected if over half the length
// of what was proposed to move lies along it within tolerance, or over half of its
// own along that. The map as it was does not: it lay beyond the tolerance there.
func Corrected(records []survey.Record, past *Past) []Back {
	out := make([]Back, len(records))
	keys := map[string]bool{}
	for i := range records {
		keys[records[i].Key()] = true
	}
	lines := past.proposed()
	courses := make([]course, len(lines))
	for i := range lines {
		courses[i] = newCourse(lines[i].Moved)
	}
	told := make([]bool, len(lines)) // of the sheet: one record of those that a line was split into
	for i := range records {
		rec := &records[i]
		if was, known := past.Records[rec.Key()]; known && sameLine(was.Line, rec.Parts) {
			out[i] = Back{was.Corrected, was.Left}
			continue
		}
		if len(lines) == 0 {
			continue
		}
		own := newCourse(rec.Parts)
		for k := range lines {
			l := &lines[k]
			if l.Utility != rec.Utility || !mayBeOne(rec.Key(), l.Record, keys, past.Records) {
				continue
			}
			if _, same := samePlace(&courses[k], &own, l.ToleranceM); same {
				out[i].Corrected = true
				if !told[k] && len(out[i].Left.Forms) == 0 {
					out[i].Left, told[k] = l.Left, true
				}
			}
		}
	}
	return out
}

// proposed lists the lines that were proposed, and those that are on the map
// since.
func (p *Past) proposed() []Proposal {
	lines := slices.Clone(p.Proposals)
	for _, key := range slices.Sorted(maps.Keys(p.Records)) {
		if was := p.Records[key]; was.Corrected {
			lines = append(lines, Proposal{Record: key, Utility: was.Utility, Moved: was.Line, ToleranceM: stillM, Left: was.Left})
		}
	}
	return lines
}

// sameLine says whether two lines have the same vertices, whichever way they are
// drawn, but for what a change of the working plane rounds off, a tenth of a
// millimetre.
func sameLine(a, b orb.MultiLineString) bool {
	const roundedM = 1e-4
	return slices.EqualFunc(a, b, func(p, q orb.LineString) bool {
		same := func(u, v orb.Point) bool { return max(u[0]-v[0], v[0]-u[0], u[1]-v[1], v[1]-u[1]) <= roundedM }
		if slices.EqualFunc(p, q, same) {
			return true
		}
		back := slices.Clone(q)
		slices.Reverse(back)
		return slices.EqualFunc(p, back, same)
	})
}

// leastM is the least move of a proposed line by which its coming back can be told;
// practice.
const leastM = 0.1

// Propose lists the lines that are proposed tonight, by key. Where one moves beyond
// its record's tolerance, to come back it has to lie within that; where it moves
// less, within half of what it moves by. Earlier proposals of records that are not
// proposed tonight, and have not changed, stand.
func Propose(s *survey.Survey, js []survey.Judgement, m *survey.Model, cs []survey.Correction, past *Past) []Proposal {
	var out []Proposal
	met := map[string]bool{}
	for _, r := range s.ByKey() {
		c, rec := &cs[r], &s.Records[r]
		if !c.Moved || c.MovedM < leastM {
			continue
		}
		within := js[r].Tolerance.HorizontalM
		if c.MovedM <= within {
			within = c.MovedM / 2
		}
		moved := movedParts(rec, c, within)
		if c.Neighbor && 2*lengthOf(moved) <= lengthOf(rec.Parts) {
			continue // it only followed at an end
		}
		if len(moved) > 0 {
			out = append(out, Proposal{Record: rec.Key(), Utility: rec.Utility, Finding: c.Finding, Moved: moved, ToleranceM: within, Left: leaves(rec, &m.Profiles[r])})
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

// leaves is what a record tells of its sheet: its mean offset on every segment
// that something was read on. One that left its sheet before tells nothing more.
func leaves(rec *survey.Record, p *survey.Profile) survey.Left {
	l := survey.Left{Sheet: rec.SharedSheet()}
	if l.Sheet == "" {
		return survey.Left{}
	}
	type place struct{ part, segment int }
	line := lineref.New(rec.Parts, rec.Scale)
	var sum, count float64
	at := place{part: -1}
	flush := func() {
		if count > 0 {
			e, n := rec.Right(at.part, at.segment)
			l.Forms = append(l.Forms, survey.Form{East: e, North: n, OffsetM: sum / count})
		}
		sum, count = 0, 0
	}
	for i := range p.Nodes {
		nd := &p.Nodes[i]
		if nd.Readings == 0 {
			continue
		}
		if now := (place{nd.Part, line.Segment(nd.Part, nd.StationM)}); now != at {
			flush()
			at = now
		}
		e, n := rec.Right(at.part, at.segment)
		sum, count = sum+e*nd.D.East+n*nd.D.North, count+1
	}
	flush()
	return l
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
