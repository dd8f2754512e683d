package scorer

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/pipeline/survey"
)

const (
	nearestM    = 5   // how far the baselines look for a record
	sheetNamedM = 0.3 // the mean shift from which on a baseline names a sheet
)

// Nearest is the baseline that a simple script is: every reading goes to the
// nearest record of its utility within 5 m, and a record's error is its mean
// offset.
func Nearest(s *survey.Survey) *Outcome {
	b := newBaseline(s, nil)
	return b.outcome()
}

// NearestBySheet is the same after a mean shift of every sheet: the shifts that
// best explain the offsets of a first pass, by least squares, move the records
// of their sheets; a second pass gives the readings to the nearest of those, and
// a record's error is its sheet's shift and its mean offset from there.
func NearestBySheet(s *survey.Survey) *Outcome {
	shifts := newBaseline(s, nil).shifts()
	b := newBaseline(s, shifts)
	o := b.outcome()
	o.Effects = []Effect{}
	for i := range s.Records { // in the records' order
		name := s.Records[i].Sheet
		v, ok := shifts[name]
		if !ok {
			continue
		}
		delete(shifts, name)
		r := record{Record: &s.Records[i]}
		e, n := r.ground(v)
		o.Effects = append(o.Effects, Effect{
			Kind: string(survey.EffectSheet), Name: name, East: e, North: n, EastU: math.NaN(), NorthU: math.NaN(),
			Significant: math.Hypot(e, n) > sheetNamedM,
		})
	}
	return o
}

// baseline is one pass over a town.
type baseline struct {
	s      *survey.Survey
	names  []string    // of the records
	moved  []orb.Point // per record: its sheet's shift, grid metres
	lines  []lineref.Line
	index  *spatial.Index
	owners [][3]int // record, part, segment
	hits   []hit    // per reading, in the traces' order
	means  []sums   // per record
}

// hit is what became of a reading.
type hit struct {
	record int // -1: none near
	foot   lineref.Foot
}

// sums are those of a record's readings.
type sums struct {
	n, covers     int
	offset, cover float64
}

func newBaseline(s *survey.Survey, shifts map[string]orb.Point) *baseline {
	b := &baseline{s: s, names: published(s), moved: make([]orb.Point, len(s.Records)), lines: make([]lineref.Line, len(s.Records)), means: make([]sums, len(s.Records))}
	var segments []spatial.Segment
	for r := range s.Records {
		rec := &s.Records[r]
		b.moved[r] = shifts[rec.Sheet]
		b.lines[r] = lineref.New(translated(rec.Parts, b.moved[r]), rec.Scale)
		for p, part := range b.lines[r].Parts {
			for i := 0; i+1 < len(part); i++ {
				segments = append(segments, spatial.Segment{A: part[i], B: part[i+1]})
				b.owners = append(b.owners, [3]int{r, p, i})
			}
		}
	}
	b.index = spatial.New(segments, nearestM)
	var ids []int32
	for t := range s.Traces {
		for i := range s.Traces[t].Readings {
			rd := &s.Traces[t].Readings[i]
			var h hit
			h, ids = b.nearest(rd.Point, s.Traces[t].Utility, ids)
			b.hits = append(b.hits, h)
			if h.record < 0 {
				continue
			}
			rec, m := &s.Records[h.record], &b.means[h.record]
			m.n++
			m.offset += h.foot.OffsetM
			if d := rd.DepthM - rec.DiameterM/2 - rec.CoverM; !math.IsNaN(d) {
				m.covers++
				m.cover += d
			}
		}
	}
	return b
}

func translated(parts orb.MultiLineString, by orb.Point) orb.MultiLineString {
	out := parts.Clone()
	for _, part := range out {
		for i := range part {
			part[i][0] += by[0]
			part[i][1] += by[1]
		}
	}
	return out
}

func (b *baseline) nearest(p orb.Point, utility string, ids []int32) (hit, []int32) {
	ids = b.index.Within(p, nearestM, ids)
	best := hit{record: -1}
	for _, id := range ids {
		w := b.owners[id]
		if utility != "" && b.s.Records[w[0]].Utility != utility {
			continue
		}
		f := b.lines[w[0]].OnSegment(w[1], w[2], p)
		if best.record < 0 || math.Abs(f.OffsetM) < math.Abs(best.foot.OffsetM) {
			best = hit{w[0], f}
		}
	}
	return best, ids
}

// shifts are the sheets' mean shifts, grid metres.
func (b *baseline) shifts() map[string]orb.Point {
	sheets := map[string]*normal{}
	for _, h := range b.hits {
		if h.record < 0 || b.s.Records[h.record].Sheet == "" {
			continue
		}
		rec := &b.s.Records[h.record]
		if sheets[rec.Sheet] == nil {
			sheets[rec.Sheet] = &normal{}
		}
		d := b.lines[h.record].Direction(h.foot.Part, h.foot.Segment)
		sheets[rec.Sheet].add(d[1], -d[0], h.foot.OffsetM*rec.Scale, 1)
	}
	out := map[string]orb.Point{}
	for name, n := range sheets {
		const ridge = 0.1
		x, y := n.solve(ridge)
		out[name] = orb.Point{x, y}
	}
	return out
}

func (b *baseline) outcome() *Outcome {
	o := newOutcome()
	o.Plain = true
	k := 0
	for t := range b.s.Traces {
		for i := range b.s.Traces[t].Readings {
			rd, h := &b.s.Traces[t].Readings[i], b.hits[k]
			k++
			got := Reading{Status: string(survey.StatusUnmapped), Probability: math.NaN()}
			if h.record >= 0 {
				got.Record, got.Status = b.names[h.record], string(survey.StatusUsed)
			}
			o.Readings[At{rd.File, rd.Row}] = got
		}
	}
	for r := range b.s.Records {
		b.judge(o, r)
	}
	return o
}

// judge gives a record its verdict and its line: moved as a whole.
func (b *baseline) judge(o *Outcome, r int) {
	rec, m := &b.s.Records[r], &b.means[r]
	out := Record{Position: string(survey.VerdictUnsurveyed), CoverM: math.NaN(), CoverU: math.NaN()}
	horizontal, depth := ToleranceM(rec.Utility)
	line := rec.Parts
	if m.n > 0 {
		part, seg := b.lines[r].Locate(b.lines[r].LengthM() / 2)
		d := b.lines[r].Direction(part, seg)
		v := b.moved[r]
		rest := m.offset / float64(m.n) * rec.Scale
		v[0] += rest * d[1]
		v[1] -= rest * d[0]
		line = translated(line, v)
		offset := (v[0]*d[1] - v[1]*d[0]) / rec.Scale
		out.Position = verdict(offset, horizontal)
		if out.Position == saysOutside {
			out.Attribution = string(survey.AttributionRecord)
			o.Findings = append(o.Findings, Finding{
				Kind: string(survey.KindPosition), Record: b.names[r], Verdict: saysOutside, Attribution: out.Attribution,
				ToM: b.lines[r].LengthM(), Line: rec.Parts,
			})
		}
	}
	if m.covers > 0 {
		out.CoverM = m.cover / float64(m.covers)
		out.Depth = verdict(out.CoverM, depth)
	}
	o.Records[b.names[r]] = out
	o.Lines[b.names[r]] = line
}

func verdict(difference, limit float64) string {
	if math.Abs(difference) > limit {
		return saysOutside
	}
	return saysWithin
}

// normal is the normal equations of a shift seen across lines.
type normal struct{ xx, xy, yy, x, y float64 }

// add adds an offset seen along the unit vector (x, y), with a weight.
func (q *normal) add(x, y, offset, weight float64) {
	q.xx += weight * x * x
	q.xy += weight * x * y
	q.yy += weight * y * y
	q.x += weight * x * offset
	q.y += weight * y * offset
}

// solve is the least-squares shift; the ridge keeps a direction that nothing was
// seen across near 0.
func (q *normal) solve(ridge float64) (x, y float64) {
	xx, yy := q.xx+ridge, q.yy+ridge
	det := xx*yy - q.xy*q.xy
	return (yy*q.x - q.xy*q.y) / det, (xx*q.y - q.xy*q.x) / det
}
