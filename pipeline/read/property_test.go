package read

import (
	"context"
	"fmt"
	"math/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
	"pgregory.net/rapid"
)

// rewrite replaces the text of an only field file.
func rewrite(t interface{ Fatal(...any) }, o Options, text string) {
	if err := os.WriteFile(o.Field[0].Path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestArbitraryBytesAddUp feeds bytes that are more or less CSV.
func TestArbitraryBytesAddUp(t *testing.T) {
	o := input{field: map[string]string{"field/r.csv": "LINE,TIME,LAT,LON,DEPTH_IN\n"}}.options(t)
	piece := rapid.OneOf(
		rapid.SampledFrom([]string{
			"\n", "\r\n", ",", ",,,,", "\"", "\"\"", ";", "\x00", "\xff", "1,2026-06-12T14:00:00Z,40,-81,36\n",
			"\n\n\n", "\"1\n2\",", "1,,40,-81,\n", "-3", "1e999", "NaN", "\"a\"b\n",
		}),
		rapid.String(),
	)
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOf(piece).Draw(t, "pieces"), "")
		if rapid.Bool().Draw(t, "header") {
			text = "LINE,TIME,LAT,LON,DEPTH_IN\n" + text
		}
		o.MaxRejectShare = rapid.SampledFrom([]float64{0, 0.05, 1}).Draw(t, "share")
		rewrite(t, o, text)
		s, err := Files(context.Background(), o)
		if err != nil {
			t.Fatal(err) // a row in no account, or in two, too
		}
		src := s.Sources[1]
		readings := 0
		for _, tr := range s.Traces {
			readings += len(tr.Readings)
		}
		if src.Rows != readings+len(s.Rejects) || src.Used+src.Duplicates != readings || src.Rejected != len(s.Rejects) {
			t.Fatalf("%d rows, %d readings, %d rejects: %+v", src.Rows, readings, len(s.Rejects), src)
		}
		last := 0
		for _, r := range s.Rejects {
			if r.Row <= last || r.Row > src.Rows || r.Line < r.Row {
				t.Fatalf("reject out of order or place: %+v after row %d", r, last)
			}
			last = r.Row
		}
		// Lines that a quoted value runs over are no rows; all others are. In a text
		// without line feeds a lone carriage return ends a line.
		end := "\n"
		if !strings.Contains(text, end) {
			end = "\r"
		}
		if lines := strings.Count(text, end) + 1; src.Rows >= lines+1 {
			t.Fatalf("%d rows of %d lines", src.Rows, lines)
		}
	})
}

// campaign draws the rows of a field file, every reading at a time of its own.
func campaign(t *rapid.T) []string {
	n := rapid.IntRange(0, 40).Draw(t, "rows")
	start := time.Date(2026, 6, 12, 13, 0, 0, 0, time.UTC)
	var rows []string
	for i := range n {
		step := rapid.IntRange(1, 200).Draw(t, "step")
		start = start.Add(time.Duration(step) * time.Second)
		pick := func(name string, of ...string) string { return rapid.SampledFrom(of).Draw(t, name) }
		row := fmt.Sprintf("%s,%s,%.6f,%.6f,%s,%s,%s,%s,%s,%s",
			pick("line", "", "", "1", "2"), start.Format(time.RFC3339), 40+float64(i)*1e-5, -81+float64(i)*1e-5,
			pick("depth", "36", "-1", "-9", ""), pick("fix", "4", "5", "sky"), pick("utility", "WTR", "GAS", "TEL"),
			pick("crew", "A", "B"), pick("doubt", "", "y", "maybe"), pick("remark", "", "x"))
		rows = append(rows, row)
		for range pick("again", "", "", "", "+") { // the row again, with another remark perhaps
			rows = append(rows, row+pick("more", "", "z"))
		}
	}
	return rows
}

// TestRowOrderChangesOnlyRowNumbers shuffles the rows of a file.
func TestRowOrderChangesOnlyRowNumbers(t *testing.T) {
	const header = "LINE,TIME,LAT,LON,DEPTH_IN,FIX,UTIL,CREW,DOUBT,REMARK\n"
	o := input{field: map[string]string{"field/r.csv": header}}.options(t)
	o.MaxRejectShare = 1
	account := func(t *rapid.T, rows []string) (string, *survey.Survey) {
		rewrite(t, o, header+strings.Join(rows, "\n")+"\n")
		s, err := Files(context.Background(), o)
		if err != nil {
			t.Fatal(err)
		}
		return dump(s, false), s
	}
	rapid.Check(t, func(t *rapid.T) {
		rows := campaign(t)
		want, _ := account(t, rows)
		shuffled := append([]string(nil), rows...)
		r := rand.New(rand.NewSource(int64(rapid.IntRange(0, 1<<30).Draw(t, "seed"))))
		r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		got, s := account(t, shuffled)
		if got != want {
			t.Fatalf("shuffled:\n%s\nin order:\n%s", got, want)
		}
		for _, tr := range s.Traces { // the row numbers are the shuffled ones
			for _, m := range tr.Readings {
				if !strings.Contains(shuffled[m.Row-1], m.Time.Format(time.RFC3339)) || m.Line != m.Row+1 {
					t.Fatalf("row %d line %d is %q, not the reading of %v", m.Row, m.Line, shuffled[m.Row-1], m.Time)
				}
			}
		}
	})
}

// TestFileOrderChangesNothing hands the same files in another order.
func TestFileOrderChangesNothing(t *testing.T) {
	o := cases["same-file-twice"].options(t)
	o.Field = append(o.Field, cases["traces-formed"].options(t).Field...)
	want := ""
	for i := range 6 {
		rand.New(rand.NewSource(int64(i))).Shuffle(len(o.Field), func(i, j int) { o.Field[i], o.Field[j] = o.Field[j], o.Field[i] })
		s, err := Files(context.Background(), o)
		if err != nil {
			t.Fatal(err)
		}
		got := dump(s, true)
		if i == 0 {
			want = got
		} else if got != want {
			t.Fatalf("order %d:\n%s\nwant:\n%s", i, got, want)
		}
	}
}

// TestDecimalCommaIsPoint writes one campaign in two ways.
func TestDecimalCommaIsPoint(t *testing.T) {
	rows := "2026-06-12T14:00:00Z,40.00001,-80.9999,36.5\n2026-06-12T14:00:09Z,40.00002,-80.9998,37.25\n"
	point := input{field: map[string]string{"f/r.csv": "TIME,LAT,LON,DEPTH_IN\n" + rows}}.read(t)
	comma := strings.NewReplacer(",", ";", ".", ",").Replace("TIME,LAT,LON,DEPTH_IN\n" + rows)
	got := dump(input{field: map[string]string{"f/r.csv": comma}}.read(t), true)
	if want := dump(point, true); got != want {
		t.Errorf("with commas:\n%s\nwith points:\n%s", got, want)
	}
}

// FuzzCSV feeds whole files: rows add up, or the file is set aside.
func FuzzCSV(f *testing.F) {
	seeds, err := filepath.Glob("../../testdata/broken/csv*")
	if err != nil {
		f.Fatal(err)
	}
	for _, seed := range seeds {
		data, err := os.ReadFile(seed)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	o := input{field: map[string]string{"field/r.csv": "LINE,TIME,LAT,LON,DEPTH_IN\n"}}.options(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		rewrite(t, o, string(data))
		s, err := Files(context.Background(), o)
		if err != nil {
			t.Fatal(err)
		}
		if src := s.Sources[1]; src.Rejected != len(s.Rejects) || src.Rows > len(data)+1 {
			t.Fatalf("%d rows and %d rejects of %d bytes: %+v", src.Rows, len(s.Rejects), len(data), src)
		}
	})
}
