package crs

import (
	"fmt"
	"math"
	"strconv"
)

// unit is a unit of length (metres per unit) or of angle (radians per unit).
type unit struct {
	name   string
	factor float64
}

const (
	radPerDegree = math.Pi / 180
	footM        = 0.3048        // international foot
	surveyFootM  = 1200. / 3937. // US survey foot
)

var (
	metre      = unit{"metre", 1}
	foot       = unit{"foot", footM}
	surveyFoot = unit{"US survey foot", surveyFootM}
	degree     = unit{"degree", radPerDegree}
	grad       = unit{"grad", math.Pi / 200}
)

// snapTolerance is how far, relatively, a stated metre-per-unit value may be
// from the foot or the survey foot and still mean it: writers round 1200/3937
// to as few as seven digits, and the two feet are 2e-6 apart.
const snapTolerance = 1e-7

// linear is the unit of a stated name and factor. The factor decides: names
// are known to be wrong.
func linear(name string, factor float64) (unit, error) {
	if !(factor > 0) || math.IsInf(factor, 0) {
		return unit{}, fmt.Errorf("unit %q has the factor %v metres: give the metres in one unit, as a number above 0", name, factor)
	}
	for _, u := range []unit{foot, surveyFoot, metre} {
		if math.Abs(factor-u.factor) <= snapTolerance*u.factor {
			return u, nil
		}
	}
	for _, u := range unitsByCode { // no two of them are as close as this
		if u.factor > 0.1 && math.Abs(factor-u.factor) <= 1e-12*u.factor {
			return u, nil
		}
	}
	return unit{name, factor}, nil
}

// angular is the unit of a stated name and factor in radians; rounded values
// of the degree and the grad mean the exact ones.
func angular(name string, factor float64) (unit, error) {
	if !(factor > 0) || factor > math.Pi {
		return unit{}, fmt.Errorf("unit %q has the factor %v radians: give the radians in one unit, as a number above 0", name, factor)
	}
	for _, u := range []unit{degree, grad} {
		if math.Abs(factor-u.factor) <= snapTolerance*u.factor {
			return u, nil
		}
	}
	return unit{name, factor}, nil
}

// unitsByCode are the units that the embedded tables use, by EPSG code.
var unitsByCode = map[int]unit{
	9001: metre, 9002: foot, 9003: surveyFoot, 9102: degree, 9122: degree, 9105: grad,
	9005: {"Clarke's foot", 0.3047972654},
	9037: {"Clarke's yard", 0.9143917962},
	9040: {"British yard (Sears 1922)", 36. / 39.370147},
	9041: {"British foot (Sears 1922)", 12. / 39.370147},
	9042: {"British chain (Sears 1922)", 792. / 39.370147},
	9301: {"British chain (Sears 1922 truncated)", 20.116756},
	9031: {"German legal metre", 1.0000135965},
	9036: {"kilometre", 1000},
	9084: {"Indian yard", 36. / 39.370142},
	9094: {"Gold Coast foot", 6378300. / 20926201.},
	9098: {"link", 0.201168},
}

// number writes a value with as few digits as bring it back exactly.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
