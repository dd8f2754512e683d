package judge

import (
	"math"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// neighbourhood is the records around readings that fit none.
type neighbourhood struct {
	s      *survey.Survey
	index  *spatial.Index
	record []int32     // of every segment
	read   [][]float64 // per record: stations of the readings that lie on it for sure
}

func newNeighbourhood(s *survey.Survey, matches [][]survey.Match) *neighbourhood {
	n := &neighbourhood{s: s, read: make([][]float64, len(s.Records))}
	n.index, n.record = segmentsOf(s, aloneM)
	for t := range matches {
		for i := range matches[t] {
			if m := &matches[t][i]; m.Status == survey.StatusUsed {
				n.read[m.Record] = append(n.read[m.Record], m.StationM)
			}
		}
	}
	return n
}

// segmentsOf indexes the segments of all records, for looking reachM around a place;
// record is that of each.
func segmentsOf(s *survey.Survey, reachM float64) (index *spatial.Index, record []int32) {
	var segments []spatial.Segment
	for r := range s.Records {
		for _, part := range s.Records[r].Parts {
			for i := 1; i < len(part); i++ {
				segments = append(segments, spatial.Segment{A: part[i-1], B: part[i]})
				record = append(record, int32(r))
			}
		}
	}
	return spatial.New(segments, reachM), record
}

// alone says that no record of a utility is in reach of a place.
func (n *neighbourhood) alone(utility string, p orb.Point) bool {
	if utility == "" {
		return false
	}
	for _, id := range n.index.Within(p, aloneM, nil) {
		if u := n.s.Records[n.record[id]].Utility; u == utility || u == "" {
			return false
		}
	}
	return true
}

// beside is a record that a run lies beside.
type beside struct {
	record           int
	fromM, toM       float64
	offsetM, spreadM float64 // mean and standard deviation
	line             orb.MultiLineString
}

// How far beside its line a record may be drawn. Farther off another line of the
// utility is as likely; services lie no farther apart. Common practice, no source.
const (
	besideM    = 2.5
	hardlyRead = 0.2 // readings on it, of those beside it
)

// unread is the record of a run's utility that runs beside most of it, the nearest
// one, if hardly anything was read there: the run may be of its line.
func (n *neighbourhood) unread(r *run) (best beside, ok bool) {
	utility := n.s.Traces[r.trace].Utility
	if utility == "" {
		return beside{}, false
	}
	tried := map[int32]bool{}
	for _, p := range r.points {
		for _, id := range n.index.Within(p, besideM, nil) {
			rec := n.record[id]
			if tried[rec] || n.s.Records[rec].Utility != utility {
				continue
			}
			tried[rec] = true
			b, is := n.along(int(rec), r)
			if is && math.Hypot(b.offsetM, b.spreadM) <= besideM && (!ok || math.Abs(b.offsetM) < math.Abs(best.offsetM)) {
				best, ok = b, true
			}
		}
	}
	if !ok {
		return beside{}, false
	}
	read := 0
	for _, m := range n.read[best.record] {
		if m >= best.fromM && m <= best.toM {
			read++
		}
	}
	return best, float64(read) < hardlyRead*float64(len(r.points))
}

// along is how a record lies beside a run, if it runs beside most of it.
func (n *neighbourhood) along(record int, r *run) (beside, bool) {
	rec := &n.s.Records[record]
	line := lineref.New(rec.Parts, rec.Scale)
	b := beside{record: record, fromM: math.Inf(1), toM: math.Inf(-1)}
	count, squares := 0.0, 0.0
	for _, p := range r.points {
		f, ok := line.Nearest(p)
		if !ok || !f.Square || math.Abs(f.OffsetM) > aloneM {
			continue
		}
		count++
		b.offsetM += f.OffsetM
		squares += f.OffsetM * f.OffsetM
		b.fromM, b.toM = min(b.fromM, f.StationM), max(b.toM, f.StationM)
	}
	if 2*count <= float64(len(r.points)) {
		return b, false
	}
	b.offsetM /= count
	b.spreadM = math.Sqrt(max(squares/count-b.offsetM*b.offsetM, 0))
	b.line = line.Between(b.fromM, b.toM)
	return b, true
}
