package decisions

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"github.com/asfound/asfound/internal/life"
	"github.com/asfound/asfound/internal/sortedzip"
	"github.com/asfound/asfound/pipeline/survey"
)

// column is one of the program's own.
type column struct {
	head  string
	width float64
	value func(f *life.Finding) any
}

func words[S ~string](of func(f *life.Finding) S) func(f *life.Finding) any {
	return func(f *life.Finding) any { return strings.ToValidUTF8(string(of(f)), "\uFFFD") }
}

func metres(decimals int, of func(f *life.Finding) float64) func(f *life.Finding) any {
	return func(f *life.Finding) any {
		v, scale := of(f), math.Pow10(decimals)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		return math.Round(v*scale) / scale
	}
}

func dayOf(of func(f *life.Finding) time.Time) func(f *life.Finding) any {
	return func(f *life.Finding) any { return of(f).UTC().Format(time.DateOnly) }
}

// columns are the program's own, which every run writes anew.
var columns = []column{
	{headFinding, 15, words(func(f *life.Finding) string { return f.ID })},
	{headLife, 11, words(func(f *life.Finding) survey.Life { return f.Life })},
	{"Why", 34, words(func(f *life.Finding) string { return f.Reason })},
	{"Kind", 13, words(func(f *life.Finding) survey.Kind { return f.Kind })},
	{"Record", 16, words(func(f *life.Finding) string { return f.Label })},
	{"Utility", 11, words(func(f *life.Finding) string { return f.Utility })},
	{"Sheet", 14, words(func(f *life.Finding) string { return f.Sheet })},
	{"Verdict", 11, words(func(f *life.Finding) survey.Verdict { return f.Verdict })},
	{"From (m)", 9, metres(1, func(f *life.Finding) float64 { return f.FromM })},
	{"To (m)", 9, metres(1, func(f *life.Finding) float64 { return f.ToM })},
	{"Offset (m)", 10, metres(3, func(f *life.Finding) float64 { return f.OffsetM })},
	{"Offset u (m)", 10, metres(3, func(f *life.Finding) float64 { return f.OffsetU })},
	{"Probability outside", 11, metres(3, func(f *life.Finding) float64 { return f.Probability })},
	{"Attribution", 13, words(func(f *life.Finding) survey.Attribution { return f.Attribution })},
	{"What the data says", 80, words(func(f *life.Finding) string { return f.Sentence })},
	{"First found", 12, dayOf(func(f *life.Finding) time.Time { return f.First })},
	{"Last found", 12, dayOf(func(f *life.Finding) time.Time { return f.Last })},
}

// widths are those of the columns behind them: what was decided earlier, which is
// added to, and the four that are for people.
var widths = map[string]float64{headEarlier: 34, headDecision: 12, headUntil: 12, headWho: 16, headRemark: 40}

// Update brings the workbook in a folder up to date: findings that it lacks are
// added, what is known of the others is written anew, and what people typed stays.
// run is the name of the run. Where the workbook is open or cannot be read, it is
// written beside, and note says so. beside are the rows that were read of what was
// written so earlier.
func Update(folder, run string, fs []life.Finding, beside []Row) (note string, err error) {
	path, second := filepath.Join(folder, Name), filepath.Join(folder, Beside)
	typed := map[string]life.Typed{}
	for i := range beside {
		typed[beside[i].Finding] = beside[i].Typed
	}
	data, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		data, note = nil, fmt.Sprintf("%s cannot be read: %v", Name, err)
	}
	if who := openBy(folder); who != "" {
		note = fmt.Sprintf("%s is open (%s)", Name, who)
	}
	text, err := updated(data, fs, typed)
	if err != nil && len(data) > 0 {
		note = fmt.Sprintf("%s cannot be read as a workbook: %v", Name, err)
		text, err = updated(nil, fs, typed)
	}
	if err != nil {
		return "", err
	}
	if note == "" {
		if err = replace(path, text); err == nil {
			return "", putAside(second, run)
		}
		note = fmt.Sprintf("%s cannot be written: %v", Name, err)
	}
	if err := replace(second, text); err != nil {
		return note + "; nor can " + Beside, nil
	}
	return note + "; tonight's list is in " + Beside + ": what is typed in either counts", nil
}

// putAside keeps what was written beside, once the workbook is itself again: what
// people typed there has been read, but they may have added more than decisions.
func putAside(beside, run string) error {
	err := os.Rename(beside, strings.TrimSuffix(beside, ".xlsx")+"-"+run+".xlsx")
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// openBy names the file by which a spreadsheet program says that it has the
// workbook open; "" where there is none.
func openBy(folder string) string {
	for _, name := range []string{"~$" + Name, ".~lock." + Name + "#"} {
		if _, err := os.Lstat(filepath.Join(folder, name)); err == nil {
			return name + " is there"
		}
	}
	return ""
}

// replace writes a file in one step.
func replace(path string, text []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".decisions-*.xlsx")
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	err = errors.Join(err, f.Sync(), f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// updated is a workbook brought up to date; nil stands for none yet. beside is what
// was typed in the one written beside it.
func updated(data []byte, fs []life.Finding, beside map[string]life.Typed) ([]byte, error) {
	var b *book
	var err error
	if data == nil {
		b, err = newBook()
	} else {
		b, err = openBook(data)
	}
	if err != nil {
		return nil, err
	}
	defer b.file.Close()
	if err := b.update(fs, beside, data == nil); err != nil {
		return nil, err
	}
	b.file.SetZipWriter(func(w io.Writer) excelize.ZipWriter { return sortedzip.New(w) })
	var out bytes.Buffer
	if err := b.file.Write(&out); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// update writes the program's columns of every finding, in the rows that they
// have, and new rows below.
func (b *book) update(fs []life.Finding, beside map[string]life.Typed, fresh bool) error {
	if err := b.addColumns(); err != nil {
		return err
	}
	rowOf := map[string]int{}
	for n := b.last; n > b.head; n-- {
		rowOf[b.text(headFinding, n)] = n
	}
	for i := range fs {
		f := &fs[i]
		row, there := rowOf[f.ID]
		if !there {
			if f.Life == survey.LifeGone || f.Life == survey.LifeCorrected {
				continue
			}
			b.last++
			row = b.last
		}
		if err := b.writeRow(f, row); err != nil {
			return err
		}
		if t, typed := beside[f.ID]; typed && t == f.Typed {
			if err := b.carry(t, row); err != nil {
				return err
			}
		}
		if err := b.release(f, row); err != nil {
			return err
		}
	}
	if !fresh {
		return nil
	}
	return b.finish()
}

func (b *book) writeRow(f *life.Finding, row int) error {
	for _, c := range columns {
		if err := b.set(c.head, row, c.value(f)); err != nil {
			return err
		}
	}
	return nil
}

// carry puts in what was typed in the workbook written beside.
func (b *book) carry(t life.Typed, row int) error {
	return errors.Join(b.set(headDecision, row, t.Word), b.set(headUntil, row, t.Until), b.set(headWho, row, t.Who), b.set(headRemark, row, t.Remark))
}

// release frees the cell of a decision that no longer holds: what it said stays to
// be read in another column.
func (b *book) release(f *life.Finding, row int) error {
	if f.Life != survey.LifeReopened || f.Decision.Word != "" || f.Typed.Word == "" {
		return nil
	}
	said := strings.TrimSpace(f.Typed.Word + " " + f.Typed.Until)
	if f.Typed.Who != "" {
		said += " by " + f.Typed.Who
	}
	if before := b.text(headEarlier, row); before != "" {
		said = before + "; " + said
	}
	return errors.Join(b.set(headEarlier, row, said), b.set(headDecision, row, nil), b.set(headUntil, row, nil))
}

// set puts a value into a cell: text stays text whatever it begins with.
func (b *book) set(head string, row int, v any) error {
	cell, err := excelize.CoordinatesToCellName(b.columns[head], row)
	if err != nil {
		return err
	}
	if s, isText := v.(string); isText {
		return b.file.SetCellStr(b.sheet, cell, s)
	}
	return b.file.SetCellValue(b.sheet, cell, v)
}

// addColumns puts in the columns that the sheet lacks, at its right.
func (b *book) addColumns() error {
	next := 1
	for _, c := range b.columns {
		next = max(next, c+1)
	}
	for _, row := range b.rows { // what stands beside the columns with a head
		next = max(next, len(row)+1)
	}
	add := func(head string, width float64) error {
		if b.columns[head] != 0 {
			return nil
		}
		b.columns[head] = next
		next++
		name, err := excelize.ColumnNumberToName(b.columns[head])
		if err != nil {
			return err
		}
		return errors.Join(b.set(head, b.head, head), b.file.SetColWidth(b.sheet, name, name, width))
	}
	for _, c := range columns {
		if err := add(c.head, c.width); err != nil {
			return err
		}
	}
	for _, head := range append([]string{headEarlier}, people...) {
		if err := add(head, widths[head]); err != nil {
			return err
		}
	}
	return nil
}
