package decisions

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"github.com/asfound/asfound/internal/life"
	"github.com/asfound/asfound/pipeline/survey"
)

var started = time.Date(2026, 6, 15, 2, 0, 0, 0, time.UTC)

func finding(id string, state survey.Life) life.Finding {
	return life.Finding{
		ID: id, Kind: survey.KindPosition, Label: "=" + id, Utility: "water", Life: state, OffsetM: 0.8, OffsetU: 0.05, Probability: math.NaN(),
		Sentence: "=1+1", First: started, Last: started,
	}
}

// run writes a workbook as a run does, and reads it as the next one does.
func run(t *testing.T, dir string, fs []life.Finding) (rows []Row, note string) {
	t.Helper()
	note, err := Update(dir, "2026-06-15T020000Z", fs, nil)
	if err != nil {
		t.Fatal(err)
	}
	return read(t, dir, Name), note
}

func read(t *testing.T, dir, name string) []Row {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := Read(data, name)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// edit changes the workbook as a person does.
func edit(t *testing.T, dir string, change func(f *excelize.File) error) {
	t.Helper()
	f, err := excelize.OpenFile(filepath.Join(dir, Name))
	if err == nil {
		err = change(f)
	}
	if err == nil {
		err = f.Save()
	}
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
}

func cells(t *testing.T, dir, sheet string) [][]string {
	t.Helper()
	f, err := excelize.OpenFile(filepath.Join(dir, Name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := f.GetRows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// Nothing that a person typed or arranged is lost: rows in another order, some
// hidden, a title and a column put in, a comment, a sheet, a colour, a date.
func TestNothingTypedIsLost(t *testing.T) {
	dir := t.TempDir()
	fs := []life.Finding{finding("P-1", survey.LifeNew), finding("P-2", survey.LifeNew), finding("P-3", survey.LifeNew)}
	run(t, dir, fs)
	edit(t, dir, func(f *excelize.File) error {
		set := func(cell string, v any) {
			if err := f.SetCellValue(sheetName, cell, v); err != nil {
				t.Fatal(err)
			}
		}
		// Sorted the other way round: P-1 and P-3 change places.
		for _, swap := range [][2]string{{"A2", "P-3"}, {"A4", "P-1"}, {"E2", "=P-3"}, {"E4", "=P-1"}} {
			set(swap[0], swap[1])
		}
		if err := f.InsertRows(sheetName, 1, 1); err != nil {
			return err
		}
		set("A1", "Our list")
		if err := f.InsertCols(sheetName, "C", 1); err != nil {
			return err
		}
		set("C2", "Ours")
		set("C3", "ask the crew")
		set("T5", "Rejected ")
		set("T3", "deferred")
		set("U3", time.Date(2026, 12, 31, 0, 0, 0, 0, time.UTC))
		set("W4", "=SUM(A1)")
		if err := f.SetRowVisible(sheetName, 4, false); err != nil {
			return err
		}
		if _, err := f.NewSheet("Notes"); err != nil {
			return err
		}
		return f.AddComment(sheetName, excelize.Comment{Cell: "A3", Author: "K. Example", Paragraph: []excelize.RichTextRun{{Text: "seen on site"}}})
	})
	rows := read(t, dir, Name)
	var said []string
	for i := range rows {
		said = append(said, fmt.Sprint(rows[i].Finding, " ", rows[i].Word, " ", rows[i].Until, " ", rows[i].At(headDecision)))
	}
	if got, want := strings.Join(said, "|"), "P-3 deferred 2026-12-31 Decisions!T3|P-2   Decisions!T4|P-1 rejected  Decisions!T5"; got != want {
		t.Errorf("read %q, want %q", got, want)
	}
	fs[0].Life = survey.LifeRejected
	again, note := run(t, dir, append(fs, finding("P-4", survey.LifeNew)))
	if note != "" {
		t.Error(note)
	}
	if len(again) != 4 || again[3].Finding != "P-4" || again[3].Number != 6 {
		t.Fatalf("the new finding is not below the others: %+v", again)
	}
	for i := range rows {
		if a, b := again[i], rows[i]; a.Finding != b.Finding || a.Typed != b.Typed || a.Number != b.Number {
			t.Errorf("row %d is %+v, was %+v", i, a, b)
		}
	}
	got := cells(t, dir, sheetName)
	if got[0][0] != "Our list" || got[1][2] != "Ours" || got[2][2] != "ask the crew" || got[4][1] != "rejected" {
		t.Errorf("what stands there is %q", got)
	}
	f, err := excelize.OpenFile(filepath.Join(dir, Name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	comments, err := f.GetComments(sheetName)
	if err != nil || len(comments) != 1 || comments[0].Cell != "A3" {
		t.Errorf("comments %+v, %v", comments, err)
	}
	if visible, err := f.GetRowVisible(sheetName, 4); err != nil || visible {
		t.Errorf("the hidden row is seen: %v", err)
	}
	if f.GetSheetList()[2] != "Notes" {
		t.Errorf("sheets %q", f.GetSheetList())
	}
	for _, cell := range []string{"F3", "P3"} { // the record's id and the sentence begin like formulas
		formula, err := f.GetCellFormula(sheetName, cell)
		if text, e := f.GetCellValue(sheetName, cell); formula != "" || err != nil || e != nil || !strings.HasPrefix(text, "=") {
			t.Errorf("%s is %q, formula %q", cell, text, formula)
		}
	}
}

// The same findings make the same bytes, also from a workbook that was written
// before.
func TestSameBytes(t *testing.T) {
	fs := []life.Finding{finding("P-1", survey.LifeNew), finding("P-2", survey.LifeNew)}
	a, err := updated(nil, fs, nil)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := updated(nil, fs, nil)
	c, _ := updated(a, fs, nil)
	d, _ := updated(a, fs, nil)
	if len(c) == 0 || !bytes.Equal(a, b) || !bytes.Equal(c, d) {
		t.Error("two workbooks of the same findings differ")
	}
}

func TestDecide(t *testing.T) {
	at := map[string]int{headFinding: 1, headDecision: 19, headUntil: 20}
	row := func(n int, id, word, until string) Row {
		return Row{File: Name, Sheet: sheetName, Number: n, Finding: id, Typed: life.Typed{Word: word, Until: until}, columns: at}
	}
	for _, c := range []struct {
		name string
		rows []Row
		want string // what is rejected: cell and the start of the reason
		word string // of P-1's decision
	}{
		{"nothing", []Row{row(2, "P-1", "", "")}, "", ""},
		{"accepted", []Row{row(2, "P-1", "accepted", "")}, "", "accepted"},
		{"deferred", []Row{row(2, "P-1", "deferred", "2026-06-16")}, "", "deferred"},
		{"a word that is none", []Row{row(5, "P-1", "ok", "")}, "Decisions!S5 Decision is no decision", ""},
		{"a finding that is none", []Row{row(2, "P-9", "accepted", "")}, "Decisions!A2 Finding is no finding", ""},
		{"a row of the people's own", []Row{row(2, "see below", "", "")}, "", ""},
		{"deferred without a day", []Row{row(2, "P-1", "deferred", "")}, "Decisions!T2 Until is empty", ""},
		{"no date", []Row{row(2, "P-1", "deferred", "next week")}, "Decisions!T2 Until is no date", ""},
		{"a day that is over", []Row{row(2, "P-1", "deferred", "2026-06-14")}, "Decisions!T2 Until is not after", ""},
		{"the day of the run", []Row{row(2, "P-1", "deferred", "2026-06-15")}, "Decisions!T2 Until is not after", ""},
		{"said twice", []Row{row(2, "P-1", "accepted", ""), row(3, "P-1", "accepted", "")}, "", "accepted"},
		{"said twice, and otherwise", []Row{row(2, "P-1", "accepted", ""), row(3, "P-1", "rejected", "")}, "Decisions!S3 Decision says otherwise than decisions.xlsx, Decisions!S2", "accepted"},
		{"said in the second", []Row{row(2, "P-1", "", ""), row(3, "P-1", "rejected", "")}, "", "rejected"},
		{"said in the first", []Row{row(2, "P-1", "rejected", ""), row(3, "P-1", "", "")}, "", "rejected"},
	} {
		t.Run(c.name, func(t *testing.T) {
			past := life.Past{Findings: []life.Finding{finding("P-1", survey.LifeOpen)}, Started: started}
			rejects := Decide(c.rows, &past)
			got := ""
			for _, r := range rejects {
				got += r.Field + " " + r.Reason
			}
			if !strings.HasPrefix(got, c.want) || (got == "") != (c.want == "") {
				t.Errorf("rejected %q, want %q", got, c.want)
			}
			d := past.Findings[0].Decision
			if d.Word != c.word {
				t.Errorf("decided %q, want %q", d.Word, c.word)
			}
			if c.word != "" && (!d.When.Equal(started) || d.OffsetM != 0.8) {
				t.Errorf("decided on %v at %v", d.OffsetM, d.When)
			}
		})
	}
}

// What stands there unchanged is no new decision: a deferral whose day has come is
// over, and a rejection that no longer holds does not come back by itself. Its
// cell is freed, and what it said stays to be read.
func TestWhatNoLongerHolds(t *testing.T) {
	dir := t.TempDir()
	fs := []life.Finding{finding("P-1", survey.LifeNew)}
	run(t, dir, fs)
	edit(t, dir, func(f *excelize.File) error { return f.SetCellValue(sheetName, "S2", "rejected") })
	edit(t, dir, func(f *excelize.File) error { return f.SetCellValue(sheetName, "U2", "K. Example") })
	past := life.Past{Findings: fs, Started: started}
	if r := Decide(read(t, dir, Name), &past); len(r) > 0 || past.Findings[0].Decision.Word != "rejected" {
		t.Fatalf("%+v, rejected %+v", past.Findings[0].Decision, r)
	}
	past.Findings[0].Life, past.Findings[0].Decision = survey.LifeReopened, life.Decision{}
	if Decide(read(t, dir, Name), &past); past.Findings[0].Decision.Word != "" {
		t.Error("what stands there unchanged was decided again")
	}
	rows, _ := run(t, dir, past.Findings)
	if rows[0].Word != "" || rows[0].Who != "K. Example" || cells(t, dir, sheetName)[1][17] != "rejected by K. Example" {
		t.Errorf("the row is %q", cells(t, dir, sheetName)[1])
	}
	if Decide(rows, &past); past.Findings[0].Typed.Word != "" {
		t.Error("the freed cell was not read")
	}
	rows[0].Word = "rejected"
	if Decide(rows, &past); past.Findings[0].Decision.Word != "rejected" {
		t.Error("it cannot be rejected again")
	}
}

func TestWhoSavedIt(t *testing.T) {
	dir := t.TempDir()
	fs := []life.Finding{finding("P-1", survey.LifeNew), finding("P-2", survey.LifeNew)}
	run(t, dir, fs)
	edit(t, dir, func(f *excelize.File) error {
		if err := f.SetDocProps(&excelize.DocProperties{LastModifiedBy: "M. Example"}); err != nil {
			return err
		}
		if err := f.SetCellValue(sheetName, "U3", "K. Example"); err != nil {
			return err
		}
		return f.SetSheetCol(sheetName, "S2", &[]string{"accepted", "accepted"})
	})
	past := life.Past{Findings: fs, Started: started}
	Decide(read(t, dir, Name), &past)
	if a, b := past.Findings[0].Decision.Who, past.Findings[1].Decision.Who; a != "M. Example" || b != "K. Example" {
		t.Errorf("decided by %q and %q", a, b)
	}
}

func TestAWorkbookWithoutItsColumns(t *testing.T) {
	dir := t.TempDir()
	run(t, dir, []life.Finding{finding("P-1", survey.LifeNew)})
	edit(t, dir, func(f *excelize.File) error { return f.SetCellValue(sheetName, "S1", "Verdict of the office") })
	data, err := os.ReadFile(filepath.Join(dir, Name))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Read(data, Name); err == nil || !strings.Contains(err.Error(), `no column "Decision"`) {
		t.Errorf("reading says %v", err)
	}
	note, err := Update(dir, "r", nil, nil)
	after, _ := os.ReadFile(filepath.Join(dir, Name))
	if err != nil || !strings.Contains(note, Beside) || !bytes.Equal(data, after) {
		t.Errorf("it was written over: %q, %v", note, err)
	}
}

// Any text in any cell: no panic, and what is read is what was typed.
func TestAnyText(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		texts := rapid.SliceOfN(rapid.StringMatching(`[ -~äöü€=+@-]{0,12}`), 4, 4).Draw(rt, "texts")
		fs := []life.Finding{finding("P-1", survey.LifeOpen)}
		data, err := updated(nil, fs, nil)
		if err != nil {
			rt.Fatal(err)
		}
		b, err := openBook(data)
		if err != nil {
			rt.Fatal(err)
		}
		defer b.file.Close()
		for i, head := range people {
			if err := b.set(head, 2, texts[i]); err != nil {
				rt.Fatal(err)
			}
		}
		var out bytes.Buffer
		if err := b.file.Write(&out); err != nil {
			rt.Fatal(err)
		}
		if data, err = updated(out.Bytes(), fs, nil); err != nil {
			rt.Fatal(err)
		}
		rows, err := Read(data, Name)
		if err != nil {
			rt.Fatal(err)
		}
		until := strings.TrimSpace(texts[1])
		if _, err := strconv.ParseFloat(until, 64); err == nil {
			until = rows[0].Until // a number may be a day of the spreadsheet
		}
		want := life.Typed{Word: strings.ToLower(strings.TrimSpace(texts[0])), Until: until, Who: strings.TrimSpace(texts[2]), Remark: strings.TrimSpace(texts[3])}
		if rows[0].Typed != want {
			rt.Fatalf("read %+v, want %+v", rows[0].Typed, want)
		}
		Decide(rows, &life.Past{Findings: fs, Started: started})
	})
}
