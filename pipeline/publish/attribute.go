package publish

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// appendAttribute writes an attribute of the source as JSON. A number keeps the
// digits that it has in the source; what is no JSON value of its kind becomes a
// string, so that nothing is lost.
func appendAttribute(b []byte, kind survey.FieldKind, v survey.Value) []byte {
	if v.Null {
		return append(b, "null"...)
	}
	switch kind {
	case survey.FieldNumber:
		if n, ok := jsonNumber(v.Text); ok {
			return append(b, n...)
		}
		if v.Text == "" {
			return append(b, "null"...)
		}
	case survey.FieldBool:
		if yes, ok := boolean(v.Text); ok {
			return strconv.AppendBool(b, yes)
		}
		if v.Text == "" || v.Text == "?" {
			return append(b, "null"...)
		}
	case survey.FieldJSON:
		if json.Valid([]byte(v.Text)) {
			return append(b, v.Text...)
		}
	}
	return appendJSONString(b, v.Text)
}

// jsonNumber is a number as JSON writes it, with its digits as they stand: only
// a plus sign and needless zeros in front go, and a zero joins a bare point.
func jsonNumber(s string) (string, bool) {
	if plainNumber(s) {
		return s, true
	}
	sign := ""
	switch {
	case strings.HasPrefix(s, "-"):
		sign, s = "-", s[1:]
	case strings.HasPrefix(s, "+"):
		s = s[1:]
	}
	for len(s) > 1 && s[0] == '0' && s[1] >= '0' && s[1] <= '9' {
		s = s[1:]
	}
	if len(s) > 1 && s[0] == '.' && s[1] >= '0' && s[1] <= '9' {
		s = "0" + s
	}
	if i := strings.IndexByte(s, '.'); i >= 0 && (i+1 == len(s) || s[i+1] < '0' || s[i+1] > '9') {
		s = s[:i] + ".0" + s[i+1:]
	}
	if len(s) == 0 || s[0] < '0' || s[0] > '9' || !json.Valid([]byte(s)) {
		return "", false
	}
	return sign + s, true
}

// plainNumber says quickly that digits with a minus sign and a point between
// them are a JSON number as they are.
func plainNumber(s string) bool {
	s = strings.TrimPrefix(s, "-")
	whole, fraction, point := strings.Cut(s, ".")
	return whole != "" && (whole == "0" || whole[0] != '0') && digits(whole) && digits(fraction) && (!point || fraction != "")
}

func digits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}

// boolean reads a truth value as dBase and JSON write it.
func boolean(s string) (value, ok bool) {
	switch strings.ToLower(s) {
	case "t", "y", "true", "1":
		return true, true
	case "f", "n", "false", "0":
		return false, true
	}
	return false, false
}

// isoDate is a date as YYYY-MM-DD, from that or from dBase's YYYYMMDD.
func isoDate(s string) (string, bool) {
	switch {
	case len(s) == 8 && digits(s):
		return s[:4] + "-" + s[4:6] + "-" + s[6:], true
	case len(s) == 10 && s[4] == '-' && s[7] == '-' && digits(s[:4]+s[5:7]+s[8:]):
		return s, true
	}
	return "", false
}

// sqlType is the SQL type that holds every value of a layer's attribute without
// loss: text wherever a narrower type would drop something.
func sqlType(l *survey.Layer, field int) string {
	kind := l.Fields[field].Kind
	if kind == survey.FieldText || kind == survey.FieldJSON {
		return "TEXT"
	}
	integers, numbers, bools, dates := true, true, true, true
	for i := range l.Features {
		v := &l.Features[i].Values[field]
		if v.Null || v.Text == "" || l.Features[i].Deleted {
			continue
		}
		switch kind {
		case survey.FieldNumber:
			integers = integers && isInteger(v.Text)
			numbers = numbers && (isInteger(v.Text) && len(v.Text) <= 15 || isDouble(v.Text))
		case survey.FieldBool:
			_, ok := boolean(v.Text)
			bools = bools && (ok || v.Text == "?")
		case survey.FieldDate:
			_, ok := isoDate(v.Text)
			dates = dates && ok
		}
	}
	switch {
	case kind == survey.FieldNumber && integers:
		return "INTEGER"
	case kind == survey.FieldNumber && numbers:
		return "DOUBLE"
	case kind == survey.FieldBool && bools:
		return "BOOLEAN"
	case kind == survey.FieldDate && dates:
		return "DATE"
	}
	return "TEXT"
}

func isInteger(s string) bool {
	s = strings.TrimPrefix(s, "-")
	return len(s) > 0 && len(s) <= 18 && digits(s)
}

// isDouble says that a binary number keeps a decimal one: it has at most 15
// digits that count, and no exponent out of range.
func isDouble(s string) bool {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) || strings.ContainsAny(s, "xX_") {
		return false
	}
	count := 0 // digits from the first that is not 0, up to an exponent
	for i := range len(s) {
		switch c := s[i]; {
		case c == 'e' || c == 'E':
			return count <= 15
		case c >= '1' && c <= '9' || c == '0' && count > 0:
			count++
		}
	}
	return count <= 15
}

// sqlValue is an attribute as the driver takes it, for a column of sqlType.
func sqlValue(sqlType string, v survey.Value) any {
	if v.Null {
		return nil
	}
	if v.Text == "" && sqlType != "TEXT" {
		return nil
	}
	switch sqlType {
	case "INTEGER":
		n, _ := strconv.ParseInt(v.Text, 10, 64)
		return n
	case "DOUBLE":
		f, _ := strconv.ParseFloat(v.Text, 64)
		return f
	case "BOOLEAN":
		yes, ok := boolean(v.Text)
		if !ok {
			return nil
		}
		return yes
	case "DATE":
		d, _ := isoDate(v.Text)
		return d
	}
	return strings.ToValidUTF8(v.Text, "\uFFFD")
}
