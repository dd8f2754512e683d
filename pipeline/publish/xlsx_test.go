package publish

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

func openRegister(t *testing.T, folder string) *excelize.File {
	t.Helper()
	f, err := excelize.OpenFile(filepath.Join(folder, "register.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

func TestRegisterSheets(t *testing.T) {
	want := []string{"Findings", "Records", "Depth", "Marks", "Effects", "Sessions", "Re-survey", "Unmapped", "Not detected", "Not traceable", "Rejects", "Method"}
	rows := map[string]int{"Findings": 9, "Records": 5, "Depth": 3, "Effects": 3, "Sessions": 2, "Re-survey": 3, "Unmapped": 2, "Not detected": 2, "Not traceable": 2, "Rejects": 4}
	f := openRegister(t, run(t, handful(t)))
	if got := f.GetSheetList(); !slices.Equal(got, want) {
		t.Fatalf("sheets are %q, want %q", got, want)
	}
	for sheet, n := range rows {
		got, err := f.GetRows(sheet)
		if err != nil || len(got) != n {
			t.Errorf("%s has %d rows, want %d: %v", sheet, len(got), n, err)
		}
		panes, err := f.GetPanes(sheet)
		if err != nil || !panes.Freeze || panes.YSplit != 1 {
			t.Errorf("%s: its head row is not frozen: %+v %v", sheet, panes, err)
		}
	}
	empty := openRegister(t, run(t, nothing()))
	if got := empty.GetSheetList(); !slices.Equal(got, want) {
		t.Errorf("sheets of nothing are %q", got)
	}
	names := 0
	for _, n := range f.GetDefinedName() {
		if n.Name == "_xlnm._FilterDatabase" {
			names++
		}
	}
	if names != 11 {
		t.Errorf("%d sheets have a filter, want 11", names)
	}
}

func TestRegisterCells(t *testing.T) {
	f := openRegister(t, run(t, handful(t)))
	raw := excelize.Options{RawCellValue: true}
	for _, c := range []struct {
		sheet, cell, want string
		kind              excelize.CellType
	}{
		{"Findings", "A2", "P-1", excelize.CellTypeInlineString},
		{"Findings", "I2", "1.2", excelize.CellTypeUnset}, // a number
		{"Findings", "I1", "Offset, + right, or cover difference (m)", excelize.CellTypeInlineString},
		{"Findings", "K6", "", excelize.CellTypeUnset}, // a probability that is not known
		{"Findings", "P5", "@cover", excelize.CellTypeInlineString},
		{"Re-survey", "L3", "=unsurveyed", excelize.CellTypeInlineString},
		{"Rejects", "E2", `=HYPERLINK("x","y")`, excelize.CellTypeInlineString},
		{"Rejects", "E3", "-81,5\n\uFFFD", excelize.CellTypeInlineString},
		{"Rejects", "F3", hostil, excelize.CellTypeInlineString},
		{"Effects", "H2", "1", excelize.CellTypeBool},
	} {
		value, err := f.GetCellValue(c.sheet, c.cell, raw)
		if err != nil || value != c.want {
			t.Errorf("%s!%s is %q, want %q: %v", c.sheet, c.cell, value, c.want, err)
		}
		if kind, err := f.GetCellType(c.sheet, c.cell); err != nil || kind != c.kind {
			t.Errorf("%s!%s is of type %d, want %d: %v", c.sheet, c.cell, kind, c.kind, err)
		}
		if formula, err := f.GetCellFormula(c.sheet, c.cell); err != nil || formula != "" {
			t.Errorf("%s!%s is a formula: %q %v", c.sheet, c.cell, formula, err)
		}
	}
	if shown, err := f.GetCellValue("Findings", "I2"); err != nil || shown != "1.2000" {
		t.Errorf("an offset shows as %q: %v", shown, err)
	}
}

func TestRegisterMethod(t *testing.T) {
	f := openRegister(t, run(t, handful(t)))
	rows, err := f.GetRows("Method")
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for _, r := range rows {
		text.WriteString(strings.Join(r, " | ") + "\n")
	}
	for _, want := range []string{
		"not permission to dig", "assigns no liability", "NAD83 / UTM zone 17N", "NAD83 to WGS 84: null operation", "internal <b>only</b>",
		"a record's local error | 0.25 m | practice", "Tolerance | default: horizontal 0.5 m, depth 0.3 m\n", "Tolerance | utility gas: horizontal 0.3 m, depth 0.2 m | Table of a standard; edition: 1\n",
		"Rule of decision | Simple acceptance", "Minimum cover | utility gas: table 1, 0.60 m | Table 1; edition: 7\n",
	} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("the method does not say %q:\n%s", want, &text)
		}
	}
}

// Every column of every table has a head with its unit.
func TestHeads(t *testing.T) {
	e := mustPrepare(t, handful(t))
	for _, table := range []table{e.findings(""), e.records(), e.effectsTable(), e.resurvey(), e.rejects()} {
		for _, c := range table.columns {
			head, ok := heads[c.name]
			if !ok {
				t.Errorf("column %s of %s has no head", c.name, table.name)
			}
			if strings.HasSuffix(c.name, "_m") && !strings.Contains(head, "(m)") {
				t.Errorf("the head of %s names no unit: %q", c.name, head)
			}
		}
	}
}
