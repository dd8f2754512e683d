package read

import (
	"bytes"
	"encoding/json"
	"iter"
	"strings"
	"unicode/utf8"

	"github.com/asfound/asfound/pipeline/survey"
)

// members are the members of an object, each with its value as it stands. The
// text must be valid JSON. Anything else than an object has none.
func members(object []byte) iter.Seq2[string, []byte] {
	return func(yield func(string, []byte) bool) {
		rest := bytes.TrimSpace(object)
		if len(rest) == 0 || rest[0] != '{' {
			return
		}
		rest = rest[1:]
		for {
			rest = bytes.TrimLeft(rest, " \t\r\n,")
			if len(rest) == 0 || rest[0] == '}' {
				return
			}
			n := valueEnd(rest)
			key := jsonText(rest[:n])
			rest = bytes.TrimLeft(rest[n:], " \t\r\n:")
			n = valueEnd(rest)
			if !yield(key, rest[:n]) {
				return
			}
			rest = rest[n:]
		}
	}
}

// valueEnd is where the value at the start of valid JSON ends.
func valueEnd(b []byte) int {
	depth, quoted := 0, false
	for i := 0; i < len(b); i++ {
		switch c := b[i]; {
		case quoted:
			switch c {
			case '\\':
				i++
			case '"':
				if quoted = false; depth == 0 {
					return i + 1
				}
			}
		case c == '"':
			quoted = true
		case c == '{', c == '[':
			depth++
		case c == '}', c == ']':
			if depth == 0 {
				return i
			}
			if depth--; depth == 0 {
				return i + 1
			}
		case depth == 0 && (c == ',' || c == ':' || c == ' ' || c == '\n' || c == '\r' || c == '\t'):
			return i
		}
	}
	return len(b)
}

// jsonText is what a JSON string says; any other value is itself.
func jsonText(raw []byte) string {
	if len(raw) < 2 || raw[0] != '"' {
		return string(raw)
	}
	if inner := raw[1 : len(raw)-1]; bytes.IndexByte(inner, '\\') < 0 && utf8.Valid(inner) {
		return string(inner)
	}
	var s string
	if json.Unmarshal(raw, &s) != nil {
		return string(raw)
	}
	return s
}

// attributes gathers the values of features that have their own names each. A
// column whose values are all strings, numbers or truth values is of that kind;
// a mixed one keeps JSON values as they stand.
type attributes struct {
	names  []string
	column map[string]int
	rows   [][][]byte
}

func (a *attributes) next() { a.rows = append(a.rows, make([][]byte, len(a.names))) }

// set gives the row in hand a value. raw is copied.
func (a *attributes) set(name string, raw []byte) {
	at, known := a.column[name]
	if !known {
		if a.column == nil {
			a.column = map[string]int{}
		}
		at = len(a.names)
		a.column[name] = at
		a.names = append(a.names, name)
	}
	row := &a.rows[len(a.rows)-1]
	for len(*row) <= at {
		*row = append(*row, nil)
	}
	(*row)[at] = bytes.Clone(raw)
}

// setIfNew sets a value unless the row has one of that name.
func (a *attributes) setIfNew(name string, raw []byte) {
	row := a.rows[len(a.rows)-1]
	if at, known := a.column[name]; known && at < len(row) && row[at] != nil {
		return
	}
	a.set(name, raw)
}

// finish gives every feature its values, and tells the fields.
func (a *attributes) finish(features []survey.Feature) []survey.Field {
	fields := make([]survey.Field, len(a.names))
	for i, name := range a.names {
		fields[i] = survey.Field{Name: name, Kind: a.kind(i)}
	}
	for i := range features {
		values := make([]survey.Value, len(fields))
		for j := range values {
			var raw []byte
			if j < len(a.rows[i]) {
				raw = a.rows[i][j]
			}
			values[j] = jsonValue(raw, fields[j].Kind)
		}
		features[i].Values = values
		a.rows[i] = nil
	}
	return fields
}

func jsonValue(raw []byte, kind survey.FieldKind) survey.Value {
	null := len(raw) == 0 || string(raw) == "null"
	switch {
	case kind == survey.FieldJSON:
		return survey.Value{Null: null, Text: string(raw)}
	case null:
		return survey.Value{Null: true}
	case kind == survey.FieldText:
		return survey.Value{Text: jsonText(raw)}
	}
	return survey.Value{Text: string(raw)}
}

// kind is the one kind of a column's values.
func (a *attributes) kind(column int) survey.FieldKind {
	found := survey.FieldText
	first := true
	for _, row := range a.rows {
		if column >= len(row) || len(row[column]) == 0 || string(row[column]) == "null" {
			continue
		}
		kind := kindOf(row[column])
		if !first && kind != found {
			return survey.FieldJSON
		}
		found, first = kind, false
	}
	return found
}

func kindOf(raw []byte) survey.FieldKind {
	switch c := raw[0]; {
	case c == '"':
		// A text that no UTF-8 can hold, as half of a pair, stays JSON.
		if strings.ContainsRune(jsonText(raw), utf8.RuneError) {
			return survey.FieldJSON
		}
		return survey.FieldText
	case c == '-' || c >= '0' && c <= '9':
		return survey.FieldNumber
	case c == 't' || c == 'f':
		return survey.FieldBool
	}
	return survey.FieldJSON
}
