package match

import (
	"math"
	"slices"

	"github.com/asfound/asfound/pipeline/survey"
)

// shift is what is known of a sheet's displacement before its readings are
// matched: what to add to the map, true axes, ground metres, with its
// covariance.
type shift struct {
	east, north float64
	ee, en, nn  float64
}

// variance is that of the shift's component along a unit vector.
func (s *shift) variance(e, n float64) float64 { return s.ee*e*e + 2*s.en*e*n + s.nn*n*n }

// covariance is that of the components along two unit vectors.
func (s *shift) covariance(e1, n1, e2, n2 float64) float64 {
	return s.ee*e1*e2 + s.en*(e1*n2+n1*e2) + s.nn*n1*n2
}

// sheetNames numbers the sheets of the records.
func sheetNames(records []survey.Record) map[string]int32 {
	return numbered(len(records), func(i int) string { return records[i].SharedSheet() })
}

// numbered numbers the n names, in their order; a blank one is none.
func numbered(n int, name func(int) string) map[string]int32 {
	var names []string
	for i := range n {
		if s := name(i); s != "" {
			names = append(names, s)
		}
	}
	slices.Sort(names)
	number := map[string]int32{}
	for i, s := range slices.Compact(names) {
		number[s] = int32(i)
	}
	return number
}

// sheetPrior is what is expected of a sheet: its shift, and the shifts that
// compete where more than one is likely.
type sheetPrior struct {
	shift
	rivals []mode // none: the shift alone
}

// priors are what is expected of sheets and sessions. Sheet i stands at i+1;
// element 0 is for records without a sheet.
type priors struct {
	sheets   []sheetPrior
	sessions []shift // observed minus true
}

func newPriors(l *layout, net *network, traces []survey.Trace, sheets, sessions map[string]int32, prior *survey.Model, o Options) *priors {
	p := &priors{sheets: make([]sheetPrior, len(sheets)+1), sessions: make([]shift, len(sessions)+1)}
	for i := range p.sheets {
		p.sheets[i] = unknownSheet(o)
		if i > 0 && l.sheets[i-1].supported {
			p.sheets[i] = mixture(slices.Clone(l.sheets[i-1].shifts)) // move changes them
		}
	}
	for i := range p.sessions {
		p.sessions[i] = shift{ee: o.SessionM * o.SessionM, nn: o.SessionM * o.SessionM}
		if i == 0 {
			continue
		}
		if told, known := l.session(i - 1); known {
			p.sessions[i] = told
		}
	}
	if prior != nil {
		p.learn(prior, net.starts(len(sheets)), traces, sheets, sessions)
	}
	return p
}

// learn takes over what an adjusted model says of sheets, sessions and sources of
// positions. It knows their shifts better than the votes do, but only as far as
// readings were matched: it sharpens the shifts that it is near to, and leaves
// the rivals their chance.
//
// Of sessions it takes over only those with control checks. A session without them
// is known through the sheets alone, by the very matches that are in question:
// taking it over locked wrong ones in.
//
// What all sheets seem to be off may as well be what all positions are; the votes
// may have put it down to one and the model to the other. So the votes are first
// moved by what the two differ by in most sheets.
func (p *priors) learn(m *survey.Model, start []shift, traces []survey.Trace, sheets, sessions map[string]int32) {
	sheetShift, sessionShift, sourceShift := map[int32]shift{}, map[int32]shift{}, map[string]shift{}
	var east, north []float64
	for i := range m.Effects {
		e := &m.Effects[i]
		if e.Readings == 0 || !(e.V.EE >= 0 && e.V.NN >= 0) {
			continue
		}
		known := shift{east: e.V.East, north: e.V.North, ee: e.V.EE, en: e.V.EN, nn: e.V.NN}
		switch e.Kind {
		case survey.EffectSheet:
			if at, ok := sheets[e.Name]; ok {
				known.east, known.north = known.east-start[at].east, known.north-start[at].north
				sheetShift[at] = known
				top := p.sheets[at+1].likeliest()
				east, north = append(east, known.east-top.east), append(north, known.north-top.north)
			}
		case survey.EffectSession:
			if at, ok := sessions[e.Name]; ok && e.Checks > 0 {
				sessionShift[at] = known
			}
		case survey.EffectSource:
			sourceShift[e.Name] = known
		}
	}
	if len(sheetShift) == 0 {
		return
	}
	p.move(median(east), median(north))
	for at, known := range sheetShift {
		p.sheets[at+1] = p.sheets[at+1].sharpen(known)
	}
	for i := range traces {
		at, ok := sessions[traces[i].Session]
		known, checked := sessionShift[at]
		if source, shared := sourceShift[traces[i].Positions]; shared {
			known = known.plus(source)
		}
		if ok && checked {
			p.sessions[at+1] = known
		}
	}
}

// move takes (east, north) from the sessions and gives it to the sheets.
func (p *priors) move(east, north float64) {
	for i := range p.sheets {
		s := &p.sheets[i]
		s.east, s.north = s.east+east, s.north+north
		for k := range s.rivals {
			s.rivals[k].east, s.rivals[k].north = s.rivals[k].east+east, s.rivals[k].north+north
		}
	}
	for i := range p.sessions {
		p.sessions[i].east, p.sessions[i].north = p.sessions[i].east-east, p.sessions[i].north-north
	}
}

func (s shift) plus(t shift) shift {
	return shift{s.east + t.east, s.north + t.north, s.ee + t.ee, s.en + t.en, s.nn + t.nn}
}

// likeliest is the likeliest of the competing shifts.
func (p *sheetPrior) likeliest() *shift {
	best := &p.shift
	weight := 0.0
	for i := range p.rivals {
		if p.rivals[i].weight > weight {
			best, weight = &p.rivals[i].shift, p.rivals[i].weight
		}
	}
	return best
}

// median of v, which it reorders.
func median(v []float64) float64 {
	low, high := (len(v)-1)/2, len(v)/2
	a := nth(v, low)
	if high == low {
		return (a + a) / 2
	}
	return (slices.Min(v[high:]) + a) / 2
}

// nth is the value that stands at k when v is sorted, by quickselect (Hoare,
// "Algorithm 65: Find", 1961). It leaves none larger before k, none smaller behind.
func nth(v []float64, k int) float64 {
	for from, to := 0, len(v)-1; from < to; {
		pivot := v[k]
		i, j := from, to
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for pivot < v[j] {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		if j < k {
			from = i
		}
		if k < i {
			to = j
		}
	}
	return v[k]
}

// sharpen replaces the nearest of the competing shifts by a better estimate of
// it; a shift that competes with none of them changes nothing.
func (p sheetPrior) sharpen(known shift) sheetPrior {
	ms := slices.Clone(p.rivals)
	if ms == nil {
		ms = []mode{{shift: p.shift, weight: 1}}
	}
	near, best := -1, math.Inf(1)
	for i := range ms {
		if d := math.Hypot(ms[i].east-known.east, ms[i].north-known.north); d < best {
			near, best = i, d
		}
	}
	m := &ms[near]
	if reach := voteCellM + 2*math.Sqrt(m.ee+m.nn); best > reach {
		return p
	}
	density := m.density(known.east, known.north)
	for i := range ms {
		// A shift that may be anywhere has no place of its own to defend.
		if o := &ms[i]; i != near && o.ee > broadM*broadM && o.nn > broadM*broadM && density > 0 {
			o.weight *= min(o.density(known.east, known.north)/density, 1)
		}
	}
	m.shift = known
	return mixture(normalised(ms))
}

// broadM is from where on a competing shift says only that a sheet is far off,
// not where: standard deviation.
const broadM = 0.5

// density of a shift's distribution at a point.
func (s *shift) density(east, north float64) float64 {
	det := s.ee*s.nn - s.en*s.en
	e, n := east-s.east, north-s.north
	return math.Exp(-(s.nn*e*e-2*s.en*e*n+s.ee*n*n)/(2*det)) / math.Sqrt(det)
}

// normalised scales weights to a sum of 1.
func normalised(ms []mode) []mode {
	sum := 0.0
	for i := range ms {
		sum += ms[i].weight
	}
	for i := range ms {
		ms[i].weight /= sum
	}
	return ms
}

// unknownSheet is what is expected of a sheet that nothing is known of: most are
// ordinary, some are far off.
func unknownSheet(o Options) sheetPrior {
	near, far := o.SheetM*o.SheetM, o.FarSheetM*o.FarSheetM
	return mixture([]mode{
		{shift: shift{ee: near, nn: near}, weight: 1 - o.FarShare},
		{shift: shift{ee: far, nn: far}, weight: o.FarShare},
	})
}

// mixture joins competing shifts into one with their common mean and
// covariance, and keeps them.
func mixture(ms []mode) sheetPrior {
	if len(ms) == 1 {
		return sheetPrior{shift: ms[0].shift}
	}
	p := sheetPrior{rivals: ms}
	for i := range ms {
		p.east += ms[i].weight * ms[i].east
		p.north += ms[i].weight * ms[i].north
	}
	for i := range ms {
		m, e, n := &ms[i], ms[i].east-p.east, ms[i].north-p.north
		p.ee += m.weight * (m.ee + e*e)
		p.en += m.weight * (m.en + e*n)
		p.nn += m.weight * (m.nn + n*n)
	}
	return p
}
