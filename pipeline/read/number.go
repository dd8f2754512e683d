package read

import (
	"math"
	"strconv"
	"strings"
)

// parseNumber reads a decimal number with a point or, where it cannot be
// anything else, a comma. why is the reason that it is none, else "".
//
// "1,234" is 1.234 in a file with semicolons, whose writers use decimal commas;
// elsewhere it may be a thousand, and is refused.
func parseNumber(s string, delimiter rune) (v float64, why string) {
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case err == nil && decimal(s):
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, "is not a finite number"
		}
		return v, ""
	case err != nil && math.IsInf(v, 0):
		return 0, "is too large for a number"
	case strings.Count(s, ",") == 1 && !strings.Contains(s, "."):
		if delimiter != ';' && thousands(s) {
			return 0, "may be a decimal comma or a thousand: write it with a point or without the comma"
		}
		return parseNumber(strings.Replace(s, ",", ".", 1), delimiter)
	}
	return 0, "is not a number"
}

// decimal says that a number is not written as in a program, as 1_000 or 0x1p-2.
func decimal(s string) bool {
	return strings.IndexByte(s, '_') < 0 && (len(s) < 3 || s[1]|0x20 != 'x' && s[2]|0x20 != 'x')
}

// thousands says whether the digits around a comma are grouped as thousands are.
func thousands(s string) bool {
	whole, group, _ := strings.Cut(strings.TrimLeft(s, "+-"), ",")
	return len(group) == 3 && len(whole) >= 1 && len(whole) <= 3 && whole != "0"
}
