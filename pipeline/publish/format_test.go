package publish

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
	"pgregory.net/rapid"
)

func TestFixed(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{1.23456, 3, "1.235"},
		{-0.0001, 3, "0.000"},
		{math.Copysign(0, -1), 2, "0.00"},
		{2.5, 0, "3"},
		{-2.5, 0, "-3"},
		{1e20, 1, "100000000000000000000.0"},
		{math.NaN(), 3, ""},
		{math.Inf(1), 3, ""},
		{-81.123456789, 9, "-81.123456789"},
	} {
		if got := fixed(c.v, c.decimals); got != c.want {
			t.Errorf("%v with %d decimals is %q, want %q", c.v, c.decimals, got, c.want)
		}
	}
	if signed(.2, 1) != "+0.2" || signed(-.2, 1) != "-0.2" || signed(.01, 1) != "0.0" || signed(math.NaN(), 1) != "" {
		t.Error("signs are wrong")
	}
}

func TestFixedIsNear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, decimals := rapid.Float64Range(-1e8, 1e8).Draw(t, "v"), rapid.IntRange(0, 9).Draw(t, "decimals")
		text := fixed(v, decimals)
		back, err := strconv.ParseFloat(text, 64)
		if err != nil || math.Abs(back-v) > .5000001*math.Pow10(-decimals)+1e-15*math.Abs(v) {
			t.Fatalf("%v became %s", v, text)
		}
		if back == 0 && strings.HasPrefix(text, "-") {
			t.Fatalf("%v became %s", v, text)
		}
	})
}

// Any text comes back from a CSV, but for the apostrophe before what a
// spreadsheet might run. encoding/csv is the judge.
func TestCSVRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cells := rapid.SliceOfN(rapid.String(), 2, 5).Draw(t, "cells")
		var line []byte
		for i, s := range cells {
			line = appendCSV(appendComma(line, i), s)
		}
		r := csv.NewReader(strings.NewReader(string(line) + "\n"))
		got, err := r.Read()
		if err != nil {
			t.Fatal(err)
		}
		for i, want := range cells {
			want = strings.ReplaceAll(want, "\r\n", "\n") // as encoding/csv reads them
			if startsFormula(cells[i]) {
				want = "'" + want
			}
			if got[i] != want {
				t.Fatalf("%q came back as %q", want, got[i])
			}
		}
	})
}

func TestStartsFormula(t *testing.T) {
	for s, want := range map[string]bool{
		"=1+1": true, "@SUM(A1)": true, "+A1": true, "-A1": true, "-1-1": true, "\t=1": true, "\r=1": true,
		"": false, "-12": false, "+1.5e3": false, "A=1": false, "'=1": false, " =1": false,
	} {
		if startsFormula(s) != want {
			t.Errorf("%q: %v", s, !want)
		}
	}
}

func TestJSONStringRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(rapid.String(), rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) })).Draw(t, "s")
		var back string
		text := appendJSONString(nil, s)
		if err := json.Unmarshal(text, &back); err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		if want := string([]rune(s)); back != want {
			t.Fatalf("%q came back as %q", want, back)
		}
	})
}

// A number of the source is the same number in JSON, digit by digit.
func TestJSONNumber(t *testing.T) {
	for in, want := range map[string]string{
		"1": "1", "-0.50": "-0.50", "+3": "3", ".5": "0.5", "-.5": "-0.5", "5.": "5.0", "007": "7", "-007.10": "-7.10", "1e3": "1e3", "1.E5": "1.0E5",
		"9007199254740993": "9007199254740993", "0": "0", "00": "0", "12345678901234567890.123": "12345678901234567890.123",
	} {
		got, ok := jsonNumber(in)
		if !ok || got != want || !json.Valid([]byte(got)) {
			t.Errorf("%q became %q (%v), want %q", in, got, ok, want)
		}
	}
	for _, in := range []string{"", "-", "+", ".", "*****", "NaN", "Inf", "1,5", "0x10", "1_000", "--1", "1 2", "-+1", "e5"} {
		if got, ok := jsonNumber(in); ok {
			t.Errorf("%q became the number %q", in, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		in := rapid.StringMatching(`[+-]?(0{0,2}[0-9]{1,25}(\.[0-9]{0,12})?|\.[0-9]{1,12})([eE][+-]?[0-9]{1,2})?`).Draw(t, "in")
		got, ok := jsonNumber(in)
		want, valid := new(big.Rat).SetString(in)
		if !ok || !valid || !json.Valid([]byte(got)) {
			t.Fatalf("%q became %q (%v)", in, got, ok)
		}
		if have, _ := new(big.Rat).SetString(got); have.Cmp(want) != 0 {
			t.Fatalf("%q became another number, %q", in, got)
		}
	})
}

func TestAttribute(t *testing.T) {
	for _, c := range []struct {
		kind       survey.FieldKind
		text, want string
	}{
		{survey.FieldText, "a\"b", `"a\"b"`},
		{survey.FieldNumber, "1.50", "1.50"},
		{survey.FieldNumber, "****", `"****"`},
		{survey.FieldNumber, "", "null"},
		{survey.FieldBool, "Y", "true"},
		{survey.FieldBool, "?", "null"},
		{survey.FieldBool, "maybe", `"maybe"`},
		{survey.FieldDate, "20200102", `"20200102"`},
		{survey.FieldJSON, `{"a":[1.50]}`, `{"a":[1.50]}`},
		{survey.FieldJSON, `{"a":`, `"{\"a\":"`},
	} {
		if got := string(appendAttribute(nil, c.kind, survey.Value{Text: c.text})); got != c.want {
			t.Errorf("%q of kind %d became %s, want %s", c.text, c.kind, got, c.want)
		}
	}
	if got := string(appendAttribute(nil, survey.FieldText, survey.Value{Null: true})); got != "null" {
		t.Errorf("null became %s", got)
	}
}

func TestUniqueNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var fields []survey.Field
		for _, name := range rapid.SliceOf(rapid.SampledFrom([]string{"a", "A", "a_2", "", "fid", "GEOM", "asfound_id", "\x01", "é"})).Draw(t, "names") {
			fields = append(fields, survey.Field{Name: name})
		}
		seen := map[string]bool{"fid": true, "geom": true}
		for _, c := range updatedColumns {
			seen[c.name] = true
		}
		for _, name := range uniqueNames(fields, updatedColumns, "fid", "geom") {
			if name == "" || seen[strings.ToLower(name)] {
				t.Fatalf("%v gave %q twice", fields, name)
			}
			seen[strings.ToLower(name)] = true
		}
	})
}

func TestRecordLabels(t *testing.T) {
	records := []survey.Record{
		{Source: "a", ID: "1"}, {Source: "a", ID: "2"}, {Source: "b", ID: "2"}, {Source: "b", ID: "3", Feature: 4}, {Source: "b", ID: "3", Feature: 9}, {Source: "b", Feature: 11},
	}
	got := strings.Join(recordLabels(records), " ")
	if want := "1 a#2 b#2 b#3@5 b#3@10 b#@12"; got != want {
		t.Errorf("labels are %q, want %q", got, want)
	}
}
