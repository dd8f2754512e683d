package judge

import (
	"cmp"
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
		}
	}
	for i := range out {
		v := &out[i]
		n := float64(v.readings)
		v.offsetM, v.east, v.north = v.offsetM/n, v.east/n, v.north/n
	}
	slices.SortFunc(out, func(a, b visit) int {
		return cmp.Or(cmp.Compare(a.record, b.record), cmp.Compare(a.session, b.session), cmp.Compare(a.crew, b.crew))
	})
	return out
}

// whole joins visits into one: the mean over all their readings.
func whole(vs []visit) (out visit) {
	for i := range vs {
		v := &vs[i]
		n := float64(v.readings)
		out.readings += v.readings
		out.offsetM += n * v.offsetM
		out.east += n * v.east
		out.north += n * v.north
	}
	n := float64(out.readings)
	out.offsetM, out.east, out.north = out.offsetM/n, out.east/n, out.north/n
	return out
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
