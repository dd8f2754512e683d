package rank

import (
	"math"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// minStretchM is the shortest stretch worth a visit, and the least that counts as
// outside.
const minStretchM = 3

// sampleM is how far apart a surveyed line is looked at, metres.
const sampleM = 1

// ends are how far a line lies to the right along the whole of some minStretchM of
// it: at most, and at least.
type ends struct{ high, low float64 }

// beyond says whether such a stretch lies beyond a limit.
func (e ends) beyond(limitM float64) bool { return e.high > limitM || e.low < -limitM }

// shown is what the evidence shows of one record.
type shown struct {
	record  int
	lengthM float64
	limitM  float64
	offset  ends
	// Across the line, metre by metre and as ends, beyond what its sheet is off by all
	// other records; none where those leave that open.
	local     []float64
	localEnds ends
	// The same of its last besideM beyond what as much before them shows.
	beside     []float64
	besideEnds ends
	sheet      belief // its sheet's shift across the line by all other records
	alone      bool   // there are none
	samples    []sample
	// What the record says of its sheet, of unit weight: mean of n n' and of n offset.
	ee, en, nn, e, n float64
	weight           float64
}

// sample is one place of a surveyed line: the normal to the right, true east and
// north, and how far the line lies that way.
type sample struct {
	part                int
	stationM            float64
	east, north, offset float64
}

// belief is a normal distribution across a line.
type belief struct{ mean, sd float64 }

// knownM is how well a sheet's shift has to be known across a line for what is left
// of the line's offset to be called its own; practice.
const knownM = 0.1

// show looks at every surveyed record, in the order given.
func show(s *survey.Survey, js []survey.Judgement, m *survey.Model, order []int, o *Options) []*shown {
	all := make([]*shown, len(order))
	parallel.Each(len(order), 0, func() func(int) {
		return func(i int) {
			r := order[i]
			all[i] = look(&s.Records[r], &m.Profiles[r], r, js[r].Tolerance.HorizontalM, o.MaxGapM)
		}
	})
	var out []*shown
	for _, v := range all {
		if v != nil {
			out = append(out, v)
		}
	}
	return out
}

// look takes the samples of one record; nil where nothing long enough was
// surveyed.
func look(rec *survey.Record, p *survey.Profile, r int, limitM, maxGapM float64) *shown {
	spans := p.Surveyed(maxGapM)
	if len(spans) == 0 {
		return nil
	}
	line := lineref.New(rec.Parts, rec.Scale)
	v := &shown{record: r, limitM: limitM, offset: ends{math.Inf(-1), math.Inf(1)}}
	for _, span := range spans {
		if span.LengthM() < minStretchM {
			continue
		}
		from := len(v.samples)
		for at := span.FromM; at <= span.ToM; at += sampleM {
			v.samples = append(v.samples, sampleAt(rec, &line, p, span.Part, at))
		}
		v.offset = v.offset.and(endsOf(v.samples[from:], func(q *sample) float64 { return q.offset }))
		v.lengthM += span.LengthM()
	}
	if len(v.samples) == 0 {
		return nil
	}
	for i := range v.samples {
		q, w := &v.samples[i], 1/float64(len(v.samples))
		v.ee, v.en, v.nn = v.ee+w*q.east*q.east, v.en+w*q.east*q.north, v.nn+w*q.north*q.north
		v.e, v.n = v.e+w*q.east*q.offset, v.n+w*q.north*q.offset
	}
	return v
}

func sampleAt(rec *survey.Record, line *lineref.Line, p *survey.Profile, part int, at float64) sample {
	e, n := rec.Right(part, line.Segment(part, at))
	d := p.At(part, at)
	return sample{part: part, stationM: at, east: e, north: n, offset: d.East*e + d.North*n}
}

func (e ends) and(other ends) ends { return ends{max(e.high, other.high), min(e.low, other.low)} }

// endsOf are the ends of neighbouring samples' values.
func endsOf(samples []sample, value func(*sample) float64) ends {
	const window = minStretchM/sampleM + 1
	e := ends{math.Inf(-1), math.Inf(1)}
	for i := 0; i+window <= len(samples); i++ {
		least, most := math.Inf(1), math.Inf(-1)
		for k := i; k < i+window; k++ {
			v := value(&samples[k])
			least, most = min(least, v), max(most, v)
		}
		e.high, e.low = max(e.high, least), min(e.low, most)
	}
	return e
}

// runs are the samples of one part whose neighbours follow at sampleM.
func (v *shown) runs() [][]sample {
	var out [][]sample
	from := 0
	for i := 1; i <= len(v.samples); i++ {
		if i == len(v.samples) || v.samples[i].part != v.samples[i-1].part || v.samples[i].stationM-v.samples[i-1].stationM > 1.5*sampleM {
			out = append(out, v.samples[from:i])
			from = i
		}
	}
	return out
}

// own is the mean of what samples lie beyond a shift.
func own(samples []sample, east, north float64) float64 {
	sum := 0.0
	for i := range samples {
		q := &samples[i]
		sum += q.offset - q.east*east - q.north*north
	}
	return sum / float64(len(samples))
}
