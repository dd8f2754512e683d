package publish

import (
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// appendFixed writes a number with fixed decimals: never an exponent, never
// -0, and nothing at all for NaN and infinities.
func appendFixed(b []byte, v float64, decimals int) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return b
	}
	return strconv.AppendFloat(b, rounded(v, decimals), 'f', decimals, 64)
}

// fixed is appendFixed as a string.
func fixed(v float64, decimals int) string { return string(appendFixed(nil, v, decimals)) }

// signed is fixed with a + before a positive number, as offsets are read.
func signed(v float64, decimals int) string {
	s := fixed(v, decimals)
	if s == "" || s[0] == '-' || rounded(v, decimals) == 0 {
		return s
	}
	return "+" + s
}

// startsFormula says that a spreadsheet might run a text instead of showing it
// (CWE-1236). Plain numbers are harmless, whatever their sign.
func startsFormula(s string) bool {
	if s == "" {
		return false
	}
	switch s[0] {
	case '=', '@', '\t', '\r':
		return true
	case '+', '-':
		_, err := strconv.ParseFloat(s, 64)
		return err != nil
	}
	return false
}

// appendCSV writes one text as a cell after RFC 4180. A text that a spreadsheet
// might run gets an apostrophe before it; bytes that are not UTF-8 become
// U+FFFD.
func appendCSV(b []byte, s string) []byte {
	if !utf8.ValidString(s) {
		s = strings.ToValidUTF8(s, "\uFFFD")
	}
	guard := startsFormula(s)
	if !strings.ContainsAny(s, "\",\r\n") {
		if guard {
			b = append(b, '\'')
		}
		return append(b, s...)
	}
	b = append(b, '"')
	if guard {
		b = append(b, '\'')
	}
	for i := range len(s) {
		if s[i] == '"' {
			b = append(b, '"')
		}
		b = append(b, s[i])
	}
	return append(b, '"')
}

// appendJSONString writes one text as a JSON string. Bytes that are not UTF-8
// become U+FFFD.
func appendJSONString(b []byte, s string) []byte {
	const hex = "0123456789abcdef"
	b = append(b, '"')
	for _, r := range s { // an invalid byte ranges as U+FFFD
		switch {
		case r == '"' || r == '\\':
			b = append(b, '\\', byte(r))
		case r == '\n':
			b = append(b, '\\', 'n')
		case r < 0x20 || r == 0x7f:
			b = append(b, '\\', 'u', '0', '0', hex[r>>4], hex[r&15])
		default:
			b = utf8.AppendRune(b, r)
		}
	}
	return append(b, '"')
}

// appendJSON writes a cell as a JSON value.
func appendJSON(b []byte, c column, v cell) []byte {
	switch {
	case c.unknown(v):
		return append(b, "null"...)
	case c.kind == kindText:
		return appendJSONString(b, v.text)
	case c.kind == kindBool:
		return strconv.AppendBool(b, v.number != 0)
	case c.kind == kindInteger:
		return strconv.AppendInt(b, int64(v.number), 10)
	}
	return appendFixed(b, v.number, c.decimals)
}
