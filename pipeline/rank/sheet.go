package rank

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// sheet is what is known of a sheet's shift: what to add to its records, true
// east and north in ground metres, and the information on it (the inverse of the
// covariance).
type sheet struct {
	name        string
	read        bool
	significant bool
	east, north float64
	info        matrix
}

// matrix is a symmetric 2 by 2 matrix.
type matrix struct{ ee, en, nn float64 }

func (m matrix) plus(w float64, o matrix) matrix {
	return matrix{m.ee + w*o.ee, m.en + w*o.en, m.nn + w*o.nn}
}

func (m matrix) trace() float64 { return m.ee + m.nn }

func (m matrix) inverse() (matrix, bool) {
	det := m.ee*m.nn - m.en*m.en
	if !(det > 1e-9*m.ee*m.nn) || !(m.ee > 0) {
		return matrix{}, false
	}
	return matrix{m.nn / det, -m.en / det, m.ee / det}, true
}

// times is m v.
func (m matrix) times(e, n float64) (float64, float64) { return m.ee*e + m.en*n, m.en*e + m.nn*n }

// along is n' m n.
func (m matrix) along(e, n float64) float64 { return m.ee*e*e + 2*m.en*e*n + m.nn*n*n }

// sheets are the job's sheets by their effects, and what a sheet is expected to be
// off before anything is read on it: its variance per axis.
type sheets struct {
	all   []sheet
	prior float64
	of    []int // per record; -1 none
}

// expectedSheets is how many sheets what is expected beforehand counts for beside
// those that were surveyed; beyond otherFrameM a sheet is in another frame, not off.
// Both are practice.
const (
	expectedSheets = 10
	otherFrameM    = 3
)

func newSheets(m *survey.Model, o *Options) *sheets {
	s := &sheets{of: m.Sheet}
	variance := (1-o.FarShare)*o.SheetM*o.SheetM + o.FarShare*o.FarSheetM*o.FarSheetM
	sum, count := expectedSheets*variance, float64(expectedSheets)
	for i := range m.Effects {
		e := &m.Effects[i]
		if e.Kind != survey.EffectSheet {
			break // the sheets come first
		}
		if d2 := e.V.East*e.V.East + e.V.North*e.V.North; e.Readings > 0 && d2 < otherFrameM*otherFrameM {
			sum += d2 / 2
			count++
		}
	}
	s.prior = sum / count
	for i := range m.Effects {
		e := &m.Effects[i]
		if e.Kind != survey.EffectSheet {
			break
		}
		info, ok := matrix{e.V.EE, e.V.EN, e.V.NN}.inverse()
		if !ok {
			info = matrix{1 / s.prior, 0, 1 / s.prior}
		}
		s.all = append(s.all, sheet{e.Name, e.Readings > 0, e.Significant, e.V.East, e.V.North, info})
	}
	return s
}

// record is the sheet of a record; nil if it names none.
func (s *sheets) record(r int) *sheet {
	if s.of[r] < 0 {
		return nil
	}
	return &s.all[s.of[r]]
}

// across is what is believed of the sheet's shift across a line.
func (s *sheet) across(e, n float64) belief {
	cov, ok := s.info.inverse()
	if !ok {
		return belief{}
	}
	return belief{e*s.east + n*s.north, math.Sqrt(cov.along(e, n))}
}

// without fills in what all other records say of each record's sheet. The
// adjustment's information on a sheet beyond its prior is shared out among the
// records that were surveyed on it, each with the weight that a Student-t of nu
// degrees of freedom gives it (Lange, Little and Taylor 1989), and its share is
// taken out: leave-one-out in closed form.
func (s *sheets) without(vs []*shown, ownM, nu float64) {
	totals, members := make([]float64, len(s.all)), make([]int, len(s.all))
	for _, v := range vs {
		sh := s.record(v.record)
		if sh == nil {
			v.alone = true
			continue
		}
		beyond := own(v.samples, sh.east, sh.north)
		v.weight = (nu + 1) / (nu + beyond*beyond/(ownM*ownM))
		totals[s.of[v.record]] += v.weight
		members[s.of[v.record]]++
	}
	for _, v := range vs {
		sh := s.record(v.record)
		if sh == nil {
			continue
		}
		k := s.of[v.record]
		v.alone = members[k] == 1
		rest := *sh
		evidence := max(sh.info.trace()-2/s.prior, 0)
		w := evidence / totals[k] * v.weight
		rest.info = sh.info.plus(-w, matrix{v.ee, v.en, v.nn})
		ge, gn := sh.info.times(sh.east, sh.north)
		cov, ok := rest.info.inverse()
		if ok {
			rest.east, rest.north = cov.times(ge-w*v.e, gn-w*v.n)
		}
		e, n := v.normal()
		v.sheet = rest.across(e, n)
		if !ok || !(v.sheet.sd < math.Sqrt(s.prior)) {
			v.sheet = belief{0, math.Sqrt(s.prior)}
		}
		if !v.alone && v.sheet.sd < knownM {
			v.settle(&rest)
		}
	}
}

// normal is the mean normal of what was surveyed.
func (v *shown) normal() (e, n float64) {
	// The main axis of the mean of n n'.
	a := math.Atan2(2*v.en, v.ee-v.nn) / 2
	return math.Cos(a), math.Sin(a)
}

// settle finds what is the line's own, given its sheet.
func (v *shown) settle(sh *sheet) {
	beyond := func(q *sample) float64 { return q.offset - q.east*sh.east - q.north*sh.north }
	v.localEnds = ends{math.Inf(-1), math.Inf(1)}
	for i := range v.samples {
		v.local = append(v.local, beyond(&v.samples[i]))
	}
	for _, run := range v.runs() {
		v.localEnds = v.localEnds.and(endsOf(run, beyond))
	}
	const hide = besideM / sampleM
	if len(v.samples) < 2*hide {
		return
	}
	seen, hidden := v.samples[:len(v.samples)-hide], v.samples[len(v.samples)-hide:]
	before := own(seen[len(seen)-hide:], sh.east, sh.north)
	v.besideEnds = endsOf(hidden, func(q *sample) float64 { return beyond(q) - before })
	for i := range hidden {
		v.beside = append(v.beside, beyond(&hidden[i])-before)
	}
}

// besideM is how far the surveyed part of a record is looked at beside a stretch that
// was not, and how much of a surveyed one is held against the rest of it; practice.
const besideM = 10
