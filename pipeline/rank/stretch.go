package rank

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// stretch is a part of a record without evidence.
type stretch struct {
	record, sheet int // sheet -1: none
	part          int
	fromM, toM    float64
	legs          []leg
	weight        float64
	outside       float64 // probability
	ownM          float64 // what the surveyed part beside it lies beyond its sheet; NaN where there is none
	besideM       float64 // and altogether
	middle        orb.Point
}

// leg is a part of a stretch in one direction.
type leg struct {
	east, north float64 // the normal to the right, true
	lengthM     float64
	wrongM      float64 // expected to be beyond the limit
	offM        float64 // and within it if the sheet's shift were taken off
}

func (c *stretch) lengthM() float64 { return c.toM - c.fromM }

// straight is the cosine up to which two directions are one leg; practice.
const straight = 0.97

// stretches lists what has no evidence, by record key and station.
func stretches(s *survey.Survey, js []survey.Judgement, m *survey.Model, sh *sheets, k *knowledge, seen []*shown, order []int, o *Options) []stretch {
	byRecord := make([]*shown, len(s.Records))
	for _, v := range seen {
		byRecord[v.record] = v
	}
	found := make([][]stretch, len(order))
	parallel.Each(len(order), 0, func() func(int) {
		return func(i int) {
			r := order[i]
			rec := &s.Records[r]
			line := lineref.New(rec.Parts, rec.Scale)
			for part := range rec.Parts {
				st := line.Stations(part)
				for _, gap := range gaps(js[r].Stretches, part, st[0], st[len(st)-1], o.PackageM) {
					c := stretch{record: r, sheet: sh.of[r], part: part, fromM: gap[0], toM: gap[1], weight: o.weight(rec.Utility)}
					c.legs = legs(rec, &line, part, c.fromM, c.toM)
					c.middle = line.At((c.fromM + c.toM) / 2)
					k.expect(rec, &line, &m.Profiles[r], &c, sh, byRecord[r], js[r].Tolerance.HorizontalM)
					found[i] = append(found[i], c)
				}
			}
		}
	})
	return slices.Concat(found...)
}

// gaps lists what of a part the judged stretches leave, in pieces of a crew's day.
func gaps(judged []survey.Stretch, part int, fromM, toM, mostM float64) [][2]float64 {
	var out [][2]float64
	at := fromM
	add := func(to float64) {
		if to-at < minStretchM {
			return
		}
		pieces := 1.0
		if mostM > 0 {
			pieces = math.Ceil((to - at) / mostM)
		}
		for k := range int(pieces) {
			f := func(k int) float64 { return at + (to-at)*float64(k)/pieces }
			out = append(out, [2]float64{f(k), f(k + 1)})
		}
	}
	for _, st := range judged {
		if st.Part == part {
			add(st.FromM)
			at = math.Max(at, st.ToM)
		}
	}
	add(toM)
	return out
}

// legs are the directions of a part between two stations.
func legs(rec *survey.Record, line *lineref.Line, part int, fromM, toM float64) []leg {
	var out []leg
	st := line.Stations(part)
	for i := 0; i+1 < len(st); i++ {
		length := min(st[i+1], toM) - max(st[i], fromM)
		if length <= 0 {
			continue
		}
		e, n := rec.Right(part, i)
		if k := len(out) - 1; k >= 0 && out[k].east*e+out[k].north*n > straight {
			l := &out[k]
			e, n = l.east*l.lengthM+e*length, l.north*l.lengthM+n*length
			d := math.Hypot(e, n)
			l.east, l.north, l.lengthM = e/d, n/d, l.lengthM+length
			continue
		}
		out = append(out, leg{east: e, north: n, lengthM: length})
	}
	return out
}

// expect fills in what is expected of a stretch; v is what its record's surveyed
// part shows, nil if there is none. The offset is the adjusted model's all along,
// which is drawn after the lines that the record meets.
func (k *knowledge) expect(rec *survey.Record, line *lineref.Line, p *survey.Profile, c *stretch, sh *sheets, v *shown, limitM float64) {
	c.ownM = math.NaN()
	of := sh.record(c.record)
	east, north := 0.0, 0.0
	if of != nil {
		east, north = of.east, of.north
	}
	if v != nil {
		if near := v.next(c); len(near) > 0 {
			c.ownM, c.besideM = own(near, east, north), own(near, 0, 0)
		}
	}
	samples := sampled(rec, line, p, c)
	ratio := k.ratio(rec, c.lengthM())
	for i := range c.legs {
		l := &c.legs[i]
		var ch chance
		switch {
		case !math.IsNaN(c.ownM):
			t := k.beside.tables[limitM]
			ch, ratio = t.along(samples, 0), 1
			ch.off = max(0, ch.wrong-t.at(c.ownM).wrong)
		case of != nil && of.read:
			t, b := k.local.tables[limitM], of.across(l.east, l.north)
			ch = t.along(samples, b.sd)
			ch.off = t.over(b).off
		default:
			ch = k.unread[limitM]
		}
		l.wrongM = times(ch.wrong, ratio) * l.lengthM
		if of != nil {
			l.offM = min(ch.off*l.lengthM, l.wrongM)
		}
		c.outside = max(c.outside, k.doubted(times(ch.outside, ratio)))
	}
}

// sampled is a stretch at every sampleM.
func sampled(rec *survey.Record, line *lineref.Line, p *survey.Profile, c *stretch) []sample {
	out := make([]sample, 0, int(c.lengthM()/sampleM)+1)
	for at := c.fromM; at <= c.toM; at += sampleM {
		out = append(out, sampleAt(rec, line, p, c.part, at))
	}
	return out
}

// next are the samples of a record next to a stretch of it.
func (v *shown) next(c *stretch) []sample {
	var out []sample
	for _, q := range v.samples {
		if q.part == c.part && q.stationM > c.fromM-besideM && q.stationM < c.toM+besideM {
			out = append(out, q)
		}
	}
	return out
}
