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

// shifts are the sheets' priors: element 0 is for records without a sheet,
// element i+1 for sheet i. What the adjusted model says of a sheet replaces the
// population's spread.
func shifts(sheets map[string]int32, prior *survey.Model, o Options) []shift {
	v := o.SheetM * o.SheetM
	out := make([]shift, len(sheets)+1)
	for i := range out {
		out[i] = shift{ee: v, nn: v}
	}
	if prior == nil {
		return out
	}
	for i := range prior.Effects {
		e := &prior.Effects[i]
		at, ok := sheets[e.Name]
		if e.Kind != survey.EffectSheet || !ok || !(e.V.EE >= 0 && e.V.NN >= 0) {
			continue
		}
		out[at+1] = shift{east: e.V.East, north: e.V.North, ee: e.V.EE, en: e.V.EN, nn: e.V.NN}
	}
	return out
}
