package read

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"unicode/utf16"
)

// shown are the rows of a text as "number@line [values]", "blank" or their damage.
func shown(t *testing.T, text string) (columns []string, rows []string) {
	t.Helper()
	tab, err := csvTable(strings.NewReader(text))
	if err != nil {
		return nil, []string{"error: " + err.Error()}
	}
	for r, err := range tab.rows {
		switch {
		case err != nil:
			rows = append(rows, "error: "+err.Error())
		case r.damage != "":
			rows = append(rows, fmt.Sprintf("%d@%d damaged: %s", r.number, r.line, r.damage))
		case r.blank:
			rows = append(rows, fmt.Sprintf("%d@%d blank", r.number, r.line))
		default:
			rows = append(rows, fmt.Sprintf("%d@%d %s", r.number, r.line, strings.Join(r.values, "|")))
		}
	}
	return tab.columns, rows
}

func TestCSVRows(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"plain", "a,b\n1,2\n3,4\n", []string{"1@2 1|2", "2@3 3|4"}},
		{"no newline at the end", "a,b\n1,2", []string{"1@2 1|2"}},
		{"windows newlines", "a,b\r\n1,2\r\n", []string{"1@2 1|2"}},
		{"carriage returns only", "a,b\r1,2\r3,4\r", []string{"1@2 1|2", "2@3 3|4"}},
		{"byte order mark", "\xef\xbb\xbfa,b\n1,2\n", []string{"1@2 1|2"}},
		{"semicolons", "a;b\n1,5;2,5\n", []string{"1@2 1,5|2,5"}},
		{"tabs", "a\tb\n1\t\n", []string{"1@2 1|"}},
		{"pipes", "a|b, c\n1|2\n", []string{"1@2 1|2"}},
		{"delimiter named", "sep=;\na;b,c,d\n1;2\n", []string{"1@3 1|2"}},
		{"blank rows count", "a,b\n\n1,2\n\n,\n  \n3,4\n\n", []string{"1@2 blank", "2@3 1|2", "3@4 blank", "4@5 blank", "5@6 blank", "6@7 3|4", "7@8 blank"}},
		{"quoted newlines", "a,b\n\"1\n1\",2\n3,\"4\n4\n\"\n5,6\n", []string{"1@2 1\n1|2", "2@4 3|4\n4\n", "3@7 5|6"}},
		{"quoted newlines in the header", "\"a\nb\",c\n\n1,2\n", []string{"1@3 blank", "2@4 1|2"}},
		{"short row", "a,b\n1\n2,3\n", []string{"1@2 damaged: the row has 1 values where the header has 2", "2@3 2|3"}},
		{"long row", "a,b\n1,2,3\n2,3,,\n", []string{"1@2 damaged: the row has 3 values where the header has 2", "2@3 2|3"}},
		{"quote inside a value", "a,b\n1,5\"\n2,3\n", []string{"1@2 damaged: a quote stands inside a value that is not quoted (character 4): double it and quote the value", "2@3 2|3"}},
		{"quote closed wrongly", "a,b\n\"1\"x,2\n2,3\n", []string{"1@2 damaged: a quoted value is closed wrongly or never (character 3)", "2@3 2|3"}},
		{"quote never closed", "a,b\n1,\"2\n3,4\n5,6\n", []string{
			"1@2 damaged: a quote opened in the row of line 2 is closed wrongly or never",
			"2@3 damaged: a quote opened in the row of line 2 is closed wrongly or never",
			"3@4 damaged: a quote opened in the row of line 2 is closed wrongly or never",
		}},
		{"two stray quotes swallow rows", "a,b\n\"1,2\n3\",4,5\n7,8\n", []string{
			"1@2 damaged: the row has 3 values where the header has 2; a quoted value runs over these lines, is a quote missing?",
			"2@3 damaged: the row has 3 values where the header has 2; a quoted value runs over these lines, is a quote missing?",
			"3@4 7|8",
		}},
		{"header only", "a,b\n", nil},
		{"empty", "", []string{"error: the file is empty: its first line must name the columns"}},
	} {
		if _, got := shown(t, c.text); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %q gave\n%q\nwant\n%q", c.name, c.text, got, c.want)
		}
	}
}

func TestCSVInUTF16(t *testing.T) {
	const text = "crew,name\nA,Zoë\n"
	for _, c := range []struct {
		name   string
		mark   string
		little bool
	}{{"little, marked", "\xff\xfe", true}, {"big, marked", "\xfe\xff", false}, {"little", "", true}, {"big", "", false}} {
		b := []byte(c.mark)
		for _, u := range utf16.Encode([]rune(text)) {
			if c.little {
				b = append(b, byte(u), byte(u>>8))
			} else {
				b = append(b, byte(u>>8), byte(u))
			}
		}
		columns, rows := shown(t, string(b))
		if !reflect.DeepEqual(columns, []string{"crew", "name"}) || !reflect.DeepEqual(rows, []string{"1@2 A|Zoë"}) {
			t.Errorf("%s: %q %q", c.name, columns, rows)
		}
	}
}
