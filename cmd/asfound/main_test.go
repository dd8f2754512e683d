package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/xuri/excelize/v2"

	"github.com/asfound/asfound/pipeline/survey"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"asfound": main})
}

// TestScripts runs the command line as a user does. The small town that many
// scripts work on is in testdata/town.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(env *testscript.Env) error {
			return os.CopyFS(env.WorkDir+"/town", os.DirFS("testdata/town"))
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"decide": decide, "exits": exits, "fill": fill, "same-statuses": sameStatuses},
	})
}

// exits runs a command that has to leave with a code: exits 2 asfound run.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits code command [args...]")
	}
	code := 0
	err := ts.Exec(args[1], args[2:]...)
	if left := (*exec.ExitError)(nil); errors.As(err, &left) {
		code = left.ExitCode()
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if strconv.Itoa(code) != args[0] {
		ts.Fatalf("left with %d, want %s", code, args[0])
	}
}

// fill puts something for each of some words of a file, as a person does for
// what is left to decide: fill asfound.yaml 'crs: TODO' 'crs: EPSG:4269'.
func fill(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 || len(args)%2 == 0 {
		ts.Fatalf("usage: fill file old new ...")
	}
	text := strings.NewReplacer(args[1:]...).Replace(ts.ReadFile(args[0]))
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(text), 0o644))
}

// decide types into a row of the decisions, as a person does in a spreadsheet
// program: decide out/decisions.xlsx record Decision=rejected Who=me. The row is
// the first of the record, or of the finding.
func decide(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 {
		ts.Fatalf("usage: decide workbook record head=value ...")
	}
	f, err := excelize.OpenFile(ts.MkAbs(args[0]))
	ts.Check(err)
	defer f.Close()
	rows, err := f.GetRows("Decisions")
	ts.Check(err)
	row := slices.IndexFunc(rows, func(r []string) bool { return slices.Contains(r, args[1]) })
	if row < 0 {
		ts.Fatalf("no row has %s", args[1])
	}
	for _, a := range args[2:] {
		head, value, _ := strings.Cut(a, "=")
		cell, err := excelize.CoordinatesToCellName(slices.Index(rows[0], head)+1, row+1)
		ts.Check(err)
		ts.Check(f.SetCellStr("Decisions", cell, value))
	}
	ts.Check(f.Save())
}

// sameStatuses compares what became of the readings in the newest runs of two
// output folders or, of one, in its first and its newest run.
func sameStatuses(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: same-statuses out other")
	}
	statuses := make([]string, 2)
	for i, out := range args {
		runs, err := filepath.Glob(filepath.Join(ts.MkAbs(out), "*", "readings.csv"))
		ts.Check(err)
		runs = slices.DeleteFunc(runs, func(p string) bool { return strings.Contains(p, "latest") })
		if len(runs) == 0 || args[0] == args[1] && len(runs) < 2 {
			ts.Fatalf("%s holds %d runs", out, len(runs))
		}
		slices.Sort(runs)
		run := runs[len(runs)-1]
		if args[0] == args[1] && i == 0 {
			run = runs[0]
		}
		f, err := os.Open(run)
		ts.Check(err)
		defer f.Close()
		r := csv.NewReader(f)
		r.Comment = '#'
		rows, err := r.ReadAll()
		ts.Check(err)
		source, row, status := slices.Index(rows[0], "source"), slices.Index(rows[0], "row"), slices.Index(rows[0], "status")
		for _, v := range rows[1:] {
			statuses[i] += v[source] + " " + v[row] + " " + v[status] + "\n"
		}
	}
	if statuses[0] == "" || statuses[0] != statuses[1] {
		ts.Fatalf("%s and %s have %d and %d bytes of other statuses", args[0], args[1], len(statuses[0]), len(statuses[1]))
	}
}

func TestHelpSaysTheCautions(t *testing.T) {
	var out bytes.Buffer
	if code := run([]string{"--help"}, &out, &out); code != exitPublished {
		t.Fatalf("--help leaves with %d", code)
	}
	for _, caution := range survey.Cautions() {
		if !strings.Contains(out.String(), caution) {
			t.Errorf("--help does not say: %s", caution)
		}
	}
}

func TestPanicIsReported(t *testing.T) {
	var stderr bytes.Buffer
	code := guard(&stderr, func() error { panic("index out of range") })
	if code != exitFailed {
		t.Errorf("a panic leaves with %d, want %d", code, exitFailed)
	}
	for _, want := range []string{"a fault in the program", "Nothing was published", "report it at", "panic: index out of range", "main_test.go", "revision"} {
		if !strings.Contains(stderr.String(), want) {
			t.Errorf("the report of a panic lacks %q:\n%s", want, stderr.String())
		}
	}
}

func TestExitCodes(t *testing.T) {
	for _, c := range []struct {
		err  error
		code int
	}{
		{nil, exitPublished},
		{exit{code: exitFindings}, exitFindings},
		{errors.New("unknown flag: --x"), exitUsage},
		{failed(errors.New("disk full")), exitFailed},
		{failure(fmt.Errorf("match: %w", context.Canceled)), exitFailed},
		{exit{code: exitSetAside}, exitSetAside},
	} {
		var out bytes.Buffer
		if code := guard(&out, func() error { return c.err }); code != c.code {
			t.Errorf("%v leaves with %d, want %d", c.err, code, c.code)
		}
	}
}
