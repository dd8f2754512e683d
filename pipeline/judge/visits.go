package judge

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
)

// visit is one session's used readings on one record, as measured.
type visit struct {
	record, session int // session into Model.Effects
	crew            string
	readings        int
	offsetM         float64 // mean offset
	east, north     float64 // mean unit vector to the right of the record: that of its true bearing
	ee, en, nn      float64 // means of its squares and product: in what directions its bends look
}

// shows is what a shift of the map shows across the record there, on average.
func (v *visit) shows(east, north float64) float64 { return v.east*east + v.north*north }

// crewOf is who took a trace; a crew without a name is known by its session.
func crewOf(tr *survey.Trace) string {
	if tr.Crew == "" {
		return tr.Session
	}
	return tr.Crew
}

// visits lists who read what, by record, session and crew.
func visits(s *survey.Survey, matches [][]survey.Match, m *survey.Model) []visit {
	if m.TraceSession == nil {
		return nil
	}
	type key struct {
		record, session int
		crew            string
	}
	index := map[key]int{}
	var out []visit
	for _, t := range s.ByID() {
		tr := &s.Traces[t]
		at, last := -1, -1 // the visit, and its record
		for i := range tr.Readings {
			mt := &matches[t][i]
			if mt.Status != survey.StatusUsed {
				continue
			}
			if mt.Record != last {
				last = mt.Record
				k := key{mt.Record, m.TraceSession[t], crewOf(tr)}
				n, ok := index[k]
				if !ok {
					n = len(out)
					index[k] = n
					out = append(out, visit{record: k.record, session: k.session, crew: k.crew})
				}
				at = n
			}
			v := &out[at]
			e, n := s.Records[mt.Record].Right(mt.Part, mt.Segment)
			v.readings++
			v.offsetM, v.east, v.north = v.offsetM+mt.OffsetM, v.east+e, v.north+n
			v.ee, v.en, v.nn = v.ee+e*e, v.en+e*n, v.nn+n*n
		}
	}
	for i := range out {
		v := &out[i]
		n := float64(v.readings)
		v.scale(1 / n)
	}
	slices.SortFunc(out, func(a, b visit) int {
		return cmp.Or(cmp.Compare(a.record, b.record), cmp.Compare(a.session, b.session), cmp.Compare(a.crew, b.crew))
	})
	return out
}

// scale multiplies a visit's means.
func (v *visit) scale(by float64) {
	for _, m := range []*float64{&v.offsetM, &v.east, &v.north, &v.ee, &v.en, &v.nn} {
		*m *= by
	}
}

// whole joins visits into one: the mean over all their readings.
func whole(vs []visit) (out visit) {
	for _, v := range vs {
		v.scale(float64(v.readings))
		out.readings += v.readings
		out.offsetM, out.east, out.north = out.offsetM+v.offsetM, out.east+v.east, out.north+v.north
		out.ee, out.en, out.nn = out.ee+v.ee, out.en+v.en, out.nn+v.nn
	}
	out.scale(1 / float64(out.readings))
	return out
}

// oneWay is how much of a shift lines may show along their common direction, as a
// share of the squares, to run much the same way: as much as lines some 13 degrees
// off it show. Common practice, no source.
const oneWay = 0.05

// across is the direction in which some records' lines show a shift, a unit vector,
// where they all run much the same way: along themselves they show nothing.
func across(lines [][]visit) (east, north float64, ok bool) {
	var ee, en, nn float64
	for _, vs := range lines {
		v := whole(vs)
		ee, en, nn = ee+v.ee, en+v.en, nn+v.nn
	}
	// The larger eigenvector of [ee en; en nn].
	half, diff := (ee+nn)/2, (ee-nn)/2
	root := math.Hypot(diff, en)
	north, east = math.Sincos(math.Atan2(en, diff) / 2)
	return east, north, half > 0 && half-root < oneWay*2*half
}

// byRecord hands over the visits of one record after the other.
func byRecord(vs []visit, do func([]visit)) {
	for len(vs) > 0 {
		n := 1
		for n < len(vs) && vs[n].record == vs[0].record {
			n++
		}
		do(vs[:n])
		vs = vs[n:]
	}
}
