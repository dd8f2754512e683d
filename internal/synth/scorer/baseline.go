package scorer

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// nearestM is how far the baselines look for a record.
const nearestM = 5

// mean is what a baseline knows of one record.
type mean struct {
	n      int
	offset float64 // + right
	cover  float64
	covers int
}

// Nearest is the baseline that a simple script is: every reading goes to the
// nearest record of its utility within 5 m, and a record's error is its mean
// offset.
func Nearest(town *synth.Town) *Outcome { return baseline(town, false) }

// NearestBySheet is the same with a mean shift of every sheet, by least squares
// over the offsets of its records, taken out first: a record's error is its
// sheet's shift across it and the mean of what is left.
func NearestBySheet(town *synth.Town) *Outcome { return baseline(town, true) }

func baseline(town *synth.Town, sheets bool) *Outcome {
	s := town.Survey()
	o := &Outcome{Readings: map[At]Reading{}, Records: map[string]Record{}, Lines: map[string]orb.LineString{}}
	b := newBaseline(s)
	means := make([]mean, len(s.Records))
	shift := map[string]*normal{}
	for t := range s.Traces {
		for i := range s.Traces[t].Readings {
			rd := &s.Traces[t].Readings[i]
			key := At{town.Truth.Traces[t].File, town.Truth.Traces[t].Readings[i].Row}
			r, foot, ok := b.nearest(rd.Point, s.Traces[t].Utility)
			if !ok {
				o.Readings[key] = Reading{"", string(survey.StatusUnmapped), math.NaN()}
				continue
			}
			rec := &s.Records[r]
			o.Readings[key] = Reading{rec.ID, string(survey.StatusUsed), math.NaN()}
			means[r].n++
			means[r].offset += foot.OffsetM
			if d := rd.DepthM - rec.DiameterM/2 - rec.CoverM; !math.IsNaN(d) {
				means[r].covers++
				means[r].cover += d
			}
			if shift[rec.Sheet] == nil {
				shift[rec.Sheet] = &normal{}
			}
			d := b.lines[r].Direction(foot.Part, foot.Segment)
			shift[rec.Sheet].add(d[1], -d[0], foot.OffsetM)
		}
	}
	for r := range s.Records {
		b.judge(o, r, &means[r], shift, sheets)
	}
	if sheets {
		for name, n := range shift {
			if e, no := n.solve(); name != "" {
				o.Effects = append(o.Effects, Effect{Kind: "sheet", Name: name, East: e, North: no, Significant: math.Hypot(e, no) > 0.3})
			}
		}
	}
	return o
}

type base struct {
	lines  []lineref.Line
	index  *spatial.Index
	owners [][3]int // record, part, segment
	s      *survey.Survey
	near   []int32
}

func newBaseline(s *survey.Survey) *base {
	b := &base{s: s, lines: make([]lineref.Line, len(s.Records))}
	var segs []spatial.Segment
	for r := range s.Records {
		b.lines[r] = lineref.New(s.Records[r].Parts, s.Records[r].Scale)
		for p, part := range s.Records[r].Parts {
			for i := 0; i+1 < len(part); i++ {
				segs = append(segs, spatial.Segment{A: part[i], B: part[i+1]})
				b.owners = append(b.owners, [3]int{r, p, i})
			}
		}
	}
	b.index = spatial.New(segs, nearestM)
	return b
}

func (b *base) nearest(p orb.Point, utility string) (record int, foot lineref.Foot, ok bool) {
	b.near = b.index.Within(p, nearestM, b.near)
	for _, id := range b.near {
		w := b.owners[id]
		if utility != "" && b.s.Records[w[0]].Utility != utility {
			continue
		}
		f := b.lines[w[0]].OnSegment(w[1], w[2], p)
		if !ok || math.Abs(f.OffsetM) < math.Abs(foot.OffsetM) {
			record, foot, ok = w[0], f, true
		}
	}
	return record, foot, ok
}

// judge gives a record its verdict and its line: moved as a whole.
func (b *base) judge(o *Outcome, r int, m *mean, shift map[string]*normal, sheets bool) {
	rec := &b.s.Records[r]
	line := rec.Parts[0].Clone()
	out := Record{Position: string(survey.VerdictUnsurveyed)}
	horizontal, depth := ToleranceM(rec.Utility)
	verdict := func(outside bool) string {
		if outside {
			return string(survey.VerdictOutside)
		}
		return string(survey.VerdictWithin)
	}
	if m.n > 0 {
		offset := m.offset / float64(m.n)
		out.Position = verdict(math.Abs(offset) > horizontal)
		if math.Abs(offset) > horizontal {
			out.Attribution = string(survey.AttributionRecord)
		}
		part, seg := b.lines[r].Locate(b.lines[r].LengthM() / 2)
		d := b.lines[r].Direction(part, seg)
		e, n := 0.0, 0.0
		if sheets && shift[rec.Sheet] != nil {
			e, n = shift[rec.Sheet].solve()
		}
		rest := offset - (e*d[1] - n*d[0])
		for i := range line {
			line[i][0] += e + rest*d[1]
			line[i][1] += n - rest*d[0]
		}
	}
	if m.covers > 0 {
		out.Depth = verdict(math.Abs(m.cover/float64(m.covers)) > depth)
	}
	o.Records[rec.ID] = out
	o.Lines[rec.ID] = line
}

// normal is the normal equations of a shift (east, north) seen across lines.
type normal struct{ ee, en, nn, e, n float64 }

func (q *normal) add(east, north, offset float64) {
	q.ee += east * east
	q.en += east * north
	q.nn += north * north
	q.e += east * offset
	q.n += north * offset
}

// solve is the least-squares shift; a direction that nothing was seen across
// stays near 0.
func (q *normal) solve() (east, north float64) {
	const ridge = 0.1
	ee, nn := q.ee+ridge, q.nn+ridge
	det := ee*nn - q.en*q.en
	return (nn*q.e - q.en*q.n) / det, (ee*q.n - q.en*q.e) / det
}
