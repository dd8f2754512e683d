package read

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"github.com/asfound/asfound/internal/spatial"
	"github.com/paulmach/orb"
)

// By these a file is told whose positions cannot be meant as they stand:
// mistakes of system, unit or axes move a whole file by kilometres.
const (
	farM         = 1000  // beyond the records, a reading has nothing to do with them
	farMarkM     = 20000 // so has a control mark
	nearM        = 100   // of a record, a reading is where it may be
	suspectShare = 0.5   // a larger share of far positions makes a file suspect
	namedShare   = 0.8   // a mistake is named that brings this share near
)

// scene is what positions are compared with: the records.
type scene struct {
	plane  *plane
	extent orb.Bound // of the records, in the plane
	index  func() *spatial.Index
}

// newScene takes in the records. They are indexed when the first file is
// suspect: few jobs need it.
func newScene(in *inputs) *scene {
	return &scene{in.plane, in.extent(), sync.OnceValue(func() *spatial.Index {
		return spatial.New(segments(in.records), 2*nearM)
	})}
}

func segments(layers []*recordsLayer) []spatial.Segment {
	var out []spatial.Segment
	for _, l := range layers {
		for i := range l.records {
			for _, part := range l.records[i].Parts {
				for j := 1; j < len(part); j++ {
					out = append(out, spatial.Segment{A: part[j-1], B: part[j]})
				}
			}
		}
	}
	return out
}

// nameBlunders looks for gross mistakes of whole files and says them in the
// sources' notes and in those returned. Where the options say stop, they are an
// error.
func (in *inputs) nameBlunders() (notes []string, err error) {
	s := newScene(in)
	var found []suspicion
	far, named := 0, 0
	for _, f := range in.field {
		if q := s.readings(&f.account); q.text != "" {
			found = append(found, q)
			far++
			if q.named {
				named++
			}
		}
	}
	for _, f := range in.control {
		if q := s.marks(&f.account); q.text != "" {
			found = append(found, q)
		}
	}
	if far > 0 && far == len(in.field) && named == 0 { // then it may be the records that are wrong
		for _, l := range in.records {
			if q := l.elsewhere(in); q.text != "" {
				found = append(found, q)
			}
		}
	}
	for _, q := range found {
		q.account.Notes = append(q.account.Notes, q.text)
		notes = append(notes, q.account.Name+": "+q.text)
	}
	if len(notes) > 0 && in.options.Blunders == BlundersStop {
		return nil, errors.New(strings.Join(notes, "\n"))
	}
	return notes, nil
}

// suspicion is what is wrong with a file as a whole; without a text, nothing is.
type suspicion struct {
	account *account
	text    string
	named   bool // a mistake explains it
}

// readings suspects a file of readings that lie far from all records.
func (s *scene) readings(a *account) suspicion {
	q, ps, stated := s.far(a, farM, fmt.Sprintf("%d m", nearM), s.share)
	if q.text == "" && len(ps) > 0 {
		q = s.wrongFoot(a, ps, stated)
	}
	return q
}

// marks suspects a file of control checks far from where the records are.
func (s *scene) marks(a *account) suspicion {
	q, _, _ := s.far(a, farMarkM, fmt.Sprintf("%d km", farMarkM/1000), func(ps []orb.Point) (near, close float64) {
		near = shareIn(ps, s.extent.Pad(farMarkM))
		return near, near
	})
	return q
}

// far suspects a file of which most positions lie beyond a margin around the
// records, and says what share of them, as scored, lies near as stated and under
// the mistake that explains them best. ps are positions of the file, stated the
// same in the plane.
func (s *scene) far(a *account, marginM float64, near string, share scoring) (q suspicion, ps, stated []orb.Point) {
	ps = a.sample.points()
	if a.to.operation == nil || len(ps) == 0 {
		return q, nil, nil
	}
	stated = a.to.inPlane(ps)
	if shareIn(stated, s.extent.Pad(marginM)) >= 1-suspectShare {
		return q, ps, stated
	}
	was, _ := share(stated)
	q = suspicion{account: a, text: fmt.Sprintf("%.0f %% of its positions lie within %s of the records", 100*was, near)}
	if c := s.explain(a, ps, marginM, share); c.near >= namedShare {
		q.named = true
		q.text += fmt.Sprintf("; taken as %s, %.0f %% would%s", c.name, 100*c.near, a.remedy())
	} else {
		q.text += s.whereTo(stated)
	}
	return q, ps, stated
}

// scoring says which share of positions in the plane lie near, and how closely.
type scoring func([]orb.Point) (near, close float64)

// remedy says what to do about a file that is not what its source says.
func (a *account) remedy() string {
	at := ""
	if a.file.At != "" {
		at = " (" + a.file.At + ")"
	}
	return ". Correct it, or the crs, frame, columns or units of its source" + at
}

// inPlane are positions of a file in the plane; NaN where they have no place
// there.
func (p projection) inPlane(ps []orb.Point) []orb.Point {
	out := make([]orb.Point, len(ps))
	for i, at := range ps {
		q, why := p.apply(at)
		if why != "" {
			q = orb.Point{math.NaN(), math.NaN()}
		}
		out[i] = q
	}
	return out
}

// shareIn is the share of positions in a box.
func shareIn(ps []orb.Point, box orb.Bound) float64 {
	n := 0
	for _, p := range ps {
		if finite(p) && box.Contains(p) {
			n++
		}
	}
	return float64(n) / float64(max(len(ps), 1))
}

// share of positions, in the plane, that lie near a record, and how closely they
// do: a position on a record counts 1, one closeM away a half.
func (s *scene) share(ps []orb.Point) (near, close float64) {
	const closeM = 0.5
	index := s.index()
	for _, p := range ps {
		if _, d, ok := index.Nearest(p, nearM); ok {
			near++
			close += 1 / (1 + d*d/(closeM*closeM))
		}
	}
	n := float64(max(len(ps), 1))
	return near / n, close / n
}

// whereTo says where positions lie that nothing explains.
func (s *scene) whereTo(stated []orb.Point) string {
	at, ok := middleOf(stated)
	if !ok {
		return ", and none of them has a place in the working plane: see what system they are in"
	}
	to := s.extent.Center()
	x, y := at[0]-to[0], at[1]-to[1]
	winds := []string{"east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east"}
	wind := winds[(int(math.Round(math.Atan2(y, x)/(math.Pi/4)))+8)%8]
	return fmt.Sprintf("; they lie about %.0f km to the %s, which no usual mistake of system, unit or axes explains: see that the file belongs to this job",
		math.Hypot(x, y)/1000, wind)
}

// middleOf is the median of positions, axis by axis, of those that are finite.
func middleOf(ps []orb.Point) (at orb.Point, ok bool) {
	for axis := range at {
		var values []float64
		for _, p := range ps {
			if finite(p) {
				values = append(values, p[axis])
			}
		}
		if len(values) == 0 {
			return at, false
		}
		slices.Sort(values)
		at[axis] = values[len(values)/2]
	}
	return at, true
}
