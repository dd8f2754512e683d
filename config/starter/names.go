package starter

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// tokens are the words of a name in lower case: POS_ACC_FT, posAccFt and
// "Pos. acc (ft)" are all pos, acc, ft.
func tokens(name string) []string {
	var words []string
	var word []rune
	end := func() {
		if len(word) > 0 {
			words = append(words, strings.ToLower(string(word)))
			word = word[:0]
		}
	}
	before := ' '
	for _, c := range mixedUnits.ReplaceAllStringFunc(name, strings.ToLower) {
		switch {
		case !unicode.IsLetter(c) && !unicode.IsDigit(c):
			end()
		case unicode.IsUpper(c) && unicode.IsLower(before):
			end()
			word = append(word, c)
		default:
			word = append(word, c)
		}
		before = c
	}
	end()
	return words
}

// mixedUnits are units that are no two words, though a capital stands in them.
var mixedUnits = regexp.MustCompile(`(^|[^A-Za-z])(mA|kHz)([^A-Za-z]|$)`)

// unitWords are the units that a name may end in, as the config writes them.
var unitWords = map[string]string{
	"ft": "ft", "feet": "ft", "foot": "ft", "in": "in", "inch": "in", "inches": "in", "ftus": "ftUS", "usft": "ftUS", "sft": "ftUS",
	"m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "mm": "mm", "cm": "cm", "km": "km",
	"ma": "mA", "a": "A", "amp": "A", "amps": "A", "hz": "Hz", "khz": "kHz",
}

// measure is what a quantity with a unit measures.
type measure string

const (
	length    measure = "length"
	current   measure = "current"
	frequency measure = "frequency"
)

var unitsOf = map[measure][]string{
	length:    {"m", "cm", "mm", "km", "ft", "in", "ftUS"},
	current:   {"A", "mA"},
	frequency: {"Hz", "kHz"},
}

// unit is the unit at the end of a name; "" none that fits.
func unit(name string, of measure) string {
	words := tokens(name)
	if len(words) == 0 {
		return ""
	}
	u := unitWords[words[len(words)-1]]
	if n := len(words); n > 1 && u == "ft" && (words[n-2] == "us" || words[n-2] == "survey") {
		u = "ftUS"
	}
	if !slices.Contains(unitsOf[of], u) {
		return ""
	}
	return u
}

// nameOnly are the words of a name without the unit behind them, unless the
// name is no more than that.
func nameOnly(name string) []string {
	words := tokens(name)
	if n := len(words); n > 1 && unitWords[words[n-1]] != "" {
		words = words[:n-1]
		if n > 2 && words[n-2] == "us" {
			words = words[:n-2]
		}
	}
	return words
}

// idle words may follow the name of a quantity and change nothing.
var idle = []string{"id", "no", "nr", "num", "number", "name", "code", "type", "value", "val", "reading", "dd", "deg", "degrees", "utc", "wgs", "84", "nad", "83", "1"}

// alike says how well the words of a column's name fit a name of a quantity:
// 100 for the same, less where words stand before it ("signal depth") or idle
// ones behind it ("crew name"), 0 for "depth accuracy", which is no depth.
func alike(words, name []string) int {
	switch {
	case slices.Equal(words, name):
		return 100
	case len(name) == 1 && len([]rune(name[0])) == 1:
		return 0 // x and y stand alone
	case len(words) < len(name):
		return 0
	}
	extra := len(words) - len(name)
	if slices.Equal(words[extra:], name) {
		return 75 - 5*extra
	}
	for _, w := range words[len(name):] {
		if !slices.Contains(idle, w) {
			return 0
		}
	}
	if slices.Equal(words[:len(name)], name) {
		return 70 - 5*extra
	}
	return 0
}

// trueWords tell the known position of a mark from the one observed on it.
var trueWords = []string{"true", "known", "published", "reference", "ref", "given", "control", "official", "catalogue", "catalog"}

// isTrue says whether a name is of something known, and what is left of it.
func isTrue(words []string) (rest []string, known bool) {
	for _, w := range words {
		if slices.Contains(trueWords, w) {
			known = true
		} else {
			rest = append(rest, w)
		}
	}
	return rest, known && len(rest) > 0
}

// utilities are the words of the trade for what a line carries, under the name
// that asfound would use.
var utilities = map[string][]string{
	"water":           {"water", "wtr", "wat", "potable", "wm"},
	"gas":             {"gas", "ng"},
	"electric":        {"electric", "electricity", "elec", "ele", "elc", "power", "pwr"},
	"communication":   {"communication", "communications", "comm", "comms", "com", "telephone", "telecom", "tel", "fibre", "fiber", "catv"},
	"sewer":           {"sewer", "sewers", "swr", "sanitary", "san", "foul", "wastewater"},
	"storm":           {"storm", "stormwater", "drain", "drainage", "stm"},
	"steam":           {"steam", "heat", "heating"},
	"reclaimed water": {"reclaimed", "recycled"},
	"oil":             {"oil", "petroleum", "fuel"},
	"street lighting": {"lighting", "streetlight", "lights"},
}

// utilityOf is the utility that a word stands for; "" where it is no word of
// the trade, or a letter that may stand for several.
func utilityOf(word string) string {
	for name, words := range utilities {
		if w := strings.ToLower(strings.TrimSpace(word)); w == name || slices.Contains(words, w) {
			return name
		}
	}
	return ""
}

// utilityIn is the only utility that the words of a file's name tell.
func utilityIn(path string) string {
	found := ""
	for _, w := range tokens(path) {
		u := utilityOf(w)
		if u == "" {
			u = utilityOf(strings.TrimSuffix(w, "s"))
		}
		switch {
		case u == "" || u == found:
		case found != "":
			return ""
		default:
			found = u
		}
	}
	return found
}
