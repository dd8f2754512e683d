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

// suspicion is what is wrong with a file as a whole.
type suspicion struct {
	account *account
	text    string
}

// nameBlunders looks for gross mistakes of whole files and says them in the
// sources' notes and in those returned. Where the options say stop, they are an
// error.
func (in *inputs) nameBlunders() (notes []string, err error) {
	found := in.blunders()
	for _, q := range found {
		q.account.Notes = append(q.account.Notes, q.text)
		notes = append(notes, q.account.Name+": "+q.text)
	}
	if len(notes) > 0 && in.options.Blunders == BlundersStop {
		return nil, errors.New(strings.Join(notes, "\n"))
	}
	return notes, nil
}

func (in *inputs) blunders() (found []suspicion) {
	s := newScene(in)
	var off, near []farness
	explained := false
	for _, a := range in.taken() {
		switch q := s.readings(a); {
		case q.far:
			off = append(off, q)
			explained = explained || q.cause.near >= namedShare
		case len(q.points) > 0:
			near = append(near, q)
		}
	}
	var records []suspicion
	if len(off) > 0 && len(near) == 0 && !explained { // then the records may be what is wrong
		records = in.elsewhere()
	}
	for _, q := range off {
		if len(records) == 0 && q.cause.near < namedShare {
			q.cause = s.wrongDigit(q.account.to, q.points, s.share)
		}
		found = append(found, suspicion{q.account, s.words(q)})
	}
	found = append(found, s.wrongFeet(near)...)
	for _, l := range in.fittings {
		if q := s.readings(&l.account); q.far {
			found = append(found, suspicion{q.account, s.words(q)})
		}
	}
	for _, f := range in.control {
		if q := s.marks(&f.account); q.far {
			found = append(found, suspicion{q.account, s.words(q)})
		}
	}
	return append(found, records...)
}

// taken are the accounts of files of positions that were taken on the ground,
// above lines: they need the records near, and the records need them.
func (in *inputs) taken() (all []*account) {
	for _, f := range in.field {
		all = append(all, &f.account)
	}
	for _, f := range in.marks {
		all = append(all, &f.account)
	}
	for _, f := range in.exposures {
		all = append(all, &f.account)
	}
	return all
}

// farness says how far a file's positions are from the records.
type farness struct {
	account        *account
	points, stated []orb.Point // some of its positions, as they stand and in the plane
	far            bool        // most lie beyond a margin around the records
	share          float64     // that lies near them
	near           string      // what near means, in words
	cause          cause       // that explains it best
}

// readings looks at a file of readings, or of other points that lie on lines.
func (s *scene) readings(a *account) farness {
	return s.look(a, farM, fmt.Sprintf("%d m", nearM), s.share)
}

// marks looks at a file of control checks, whose marks need not be near a record.
func (s *scene) marks(a *account) farness {
	return s.look(a, farMarkM, fmt.Sprintf("%d km", farMarkM/1000), func(ps []orb.Point) (near, close float64) {
		near = shareIn(ps, s.extent.Pad(farMarkM))
		return near, near
	})
}

// scoring says which share of positions in the plane lies near, and how closely.
type scoring func([]orb.Point) (near, close float64)

// look sees whether most positions of a file lie beyond a margin around the
// records and, if so, which mistake explains it best.
func (s *scene) look(a *account, marginM float64, near string, share scoring) farness {
	q := farness{account: a, points: a.sample.points(), near: near}
	if a.to.operation == nil || len(q.points) == 0 {
		return farness{}
	}
	q.stated = a.to.inPlane(q.points)
	if q.far = shareIn(q.stated, s.extent.Pad(marginM)) < 1-suspectShare; q.far {
		q.share, _ = share(q.stated)
		q.cause = s.explain(a, q.points, marginM, share)
	}
	return q
}

// words say how far off a file is, and why.
func (s *scene) words(q farness) string {
	text := fmt.Sprintf("%.0f %% of its positions lie within %s of the records", 100*q.share, q.near)
	if q.cause.near < namedShare {
		return text + s.whereTo(q.stated)
	}
	return fmt.Sprintf("%s; taken as %s, %.0f %% would%s", text, q.cause.name, 100*q.cause.near, q.account.remedy())
}

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

// share scores positions by the records.
func (s *scene) share(ps []orb.Point) (near, close float64) { return nearness(s.index(), ps) }

// nearness is the share of positions that lie near a segment, and how closely
// they do: a position on one counts 1, one closeM away a half.
func nearness(index *spatial.Index, ps []orb.Point) (near, close float64) {
	const closeM = 0.5
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
