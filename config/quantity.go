package config

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// kind is what a number measures and the units in which it may be written.
type kind struct {
	name    string
	units   []unit // none: a plain number
	example string // how to write one
}

// unit is a unit and its size in metres, amperes, hertz, seconds or 1.
type unit struct {
	name   string
	factor float64
}

// The international foot is 0.3048 m and the US survey foot 1200/3937 m
// exactly: NIST SP 811 (2008), B.8 and B.6.
var (
	length = kind{"a length", []unit{
		{"m", 1},
		{"cm", 0.01},
		{"mm", 0.001},
		{"km", 1000},
		{"ft", 0.3048},
		{"in", 0.0254},
		{"ftUS", 1200. / 3937},
	}, "0.5 m"}
	current   = kind{"a current", []unit{{"A", 1}, {"mA", 0.001}}, "20 mA"}
	frequency = kind{"a frequency", []unit{{"Hz", 1}, {"kHz", 1000}}, "33 kHz"}
	duration  = kind{"a time", []unit{{"s", 1}, {"min", 60}, {"h", 3600}}, "30 s"}
	rate      = kind{"a rate along the ground", []unit{{"/km", 0.001}, {"/m", 1}}, "2 /km"}
	angle     = kind{"an angle", []unit{{"deg", math.Pi / 180}, {"rad", 1}}, "10 deg"}
	share     = kind{"a share", []unit{{"%", 0.01}}, "0.05"}
	plain     = kind{"a number", nil, "3"}
)

// plainAllowed says whether a number of the kind may stand without a unit.
func (k kind) plainAllowed() bool { return len(k.units) == 0 || k.name == share.name }

func (k kind) unitNames() []string {
	names := make([]string, len(k.units))
	for i, u := range k.units {
		names[i] = u.name
	}
	return names
}

// spelledOut are other ways of writing a unit, to name the one that is read.
var spelledOut = map[string]string{
	"metre": "m", "metres": "m", "meter": "m", "meters": "m",
	"foot": "ft", "feet": "ft", "'": "ft", "inch": "in", "inches": "in", "\"": "in",
	"usft": "ftUS", "us-ft": "ftUS", "ft-us": "ftUS", "sft": "ftUS",
	"sec": "s", "seconds": "s", "minutes": "min", "hours": "h",
	"hertz": "Hz", "amps": "A", "amperes": "A", "percent": "%",
}

// factor is the size of a unit of the kind. The error says what to do.
func (k kind) factor(name string) (float64, error) {
	for _, u := range k.units {
		if u.name == name {
			return u.factor, nil
		}
	}
	if short, ok := spelledOut[strings.ToLower(name)]; ok && slices.Contains(k.unitNames(), short) {
		return 0, wrong{fmt.Sprintf("%q is no unit of %s", name, k.name), "write " + short}
	}
	return 0, wrong{fmt.Sprintf("%q is no unit of %s", name, k.name), didYouMean(name, k.unitNames())}
}

// parse reads a quantity such as "0.5 m" or "18 in".
func (k kind) parse(text string) (float64, error) {
	s := strings.TrimSpace(text)
	end := strings.LastIndexAny(s, "0123456789.")
	// A number may end in letters only as an exponent, whose digits come last.
	digits, name := s[:end+1], strings.TrimSpace(s[end+1:])
	value, err := strconv.ParseFloat(digits, 64)
	if err != nil || math.IsInf(value, 0) || strings.ContainsAny(digits, "xX_") {
		return 0, wrong{fmt.Sprintf("%q is not %s", text, k.name), fmt.Sprintf("write it as %q", k.example)}
	}
	if name == "" {
		if !k.plainAllowed() {
			return 0, wrong{fmt.Sprintf("%q has no unit", text), fmt.Sprintf("write it as %q", digits+" "+k.units[0].name)}
		}
		return value, nil
	}
	if len(k.units) == 0 {
		return 0, wrong{fmt.Sprintf("%q has a unit", text), "write the number alone"}
	}
	factor, err := k.factor(name)
	if err != nil {
		return 0, err
	}
	// Divide where the factor's inverse is whole, so that "30 cm" is the very
	// double that "0.3 m" is.
	if inverse := math.Round(1 / factor); factor < 1 && 1/inverse == factor {
		return value / inverse, nil
	}
	return value * factor, nil
}

// span is the range that a number may lie in. An open end excludes its limit.
type span struct {
	low, high         float64
	openLow, openHigh bool
	words             string
}

var (
	anything    = span{low: math.Inf(-1), high: math.Inf(1), words: "any number"}
	positive    = span{low: 0, high: math.Inf(1), openLow: true, openHigh: true, words: "more than 0"}
	notNegative = span{low: 0, high: math.Inf(1), openHigh: true, words: "0 or more"}
	oneOrMore   = span{low: 1, high: math.Inf(1), openHigh: true, words: "1 or more"}
	aboveTwo    = span{low: 2, high: math.Inf(1), openLow: true, openHigh: true, words: "more than 2"}
	zeroToOne   = span{low: 0, high: 1, words: "from 0 to 1"}
	inside01    = span{low: 0, high: 1, openLow: true, openHigh: true, words: "more than 0 and less than 1"}
	upperHalf   = span{low: 0.5, high: 1, openLow: true, openHigh: true, words: "more than 0.5 and less than 1"}
)

// satelliteYears are the epochs that positions can have: an epoch of 0 or a day
// count taken for a year would move them by metres in silence.
var satelliteYears = span{low: 1980, high: 2100, words: "from 1980 to 2100, a decimal year such as 2026.4"}

func (s span) holds(v float64) bool {
	return v >= s.low && v <= s.high && (!s.openLow || v > s.low) && (!s.openHigh || v < s.high)
}

// check says what is wrong with a value that was written as text.
func (s span) check(k kind, text string, v float64) error {
	if s.holds(v) {
		return nil
	}
	return wrong{fmt.Sprintf("%q is out of range", text), "give " + k.name + ", " + s.words}
}
