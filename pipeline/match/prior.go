package match

import (
	"cmp"
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

// sheetNames numbers the sheets of the records, in the order of their names.
// A blank name is no sheet.
func sheetNames(records []survey.Record) map[string]int32 {
	seen := map[string]int32{}
	var names []string
	for i := range records {
		name := records[i].Sheet
		if _, ok := seen[name]; !ok && name != "" {
			seen[name] = 0
			names = append(names, name)
		}
	}
	slices.SortFunc(names, cmp.Compare)
	for i, name := range names {
		seen[name] = int32(i)
	}
	return seen
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

func newPriors(l *layout, sheets, sessions map[string]int32, prior *survey.Model, o Options) *priors {
	p := &priors{sheets: make([]sheetPrior, len(sheets)+1), sessions: make([]shift, len(sessions)+1)}
	for i := range p.sheets {
		p.sheets[i] = unknownSheet(o)
		if i > 0 && len(l.sheets[i-1]) > 0 {
			p.sheets[i] = mixture(l.sheets[i-1])
		}
	}
	for i := range p.sessions {
		p.sessions[i] = shift{ee: o.SessionM * o.SessionM, nn: o.SessionM * o.SessionM}
		if i > 0 && l.sessions[i-1].ee > 0 {
			p.sessions[i] = l.sessions[i-1]
		}
	}
	if prior == nil {
		return p
	}
	for i := range prior.Effects {
		e := &prior.Effects[i]
		if !(e.V.EE >= 0 && e.V.NN >= 0) {
			continue
		}
		known := shift{east: e.V.East, north: e.V.North, ee: e.V.EE, en: e.V.EN, nn: e.V.NN}
		if at, ok := sheets[e.Name]; ok && e.Kind == survey.EffectSheet {
			p.sheets[at+1] = sheetPrior{shift: known}
		}
		if at, ok := sessions[e.Name]; ok && e.Kind == survey.EffectSession {
			p.sessions[at+1] = known
		}
	}
	return p
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
