package pipeline_test

import (
	"go/ast"
	"os"
	"regexp"
	"strings"
	"testing"
)

var (
	section  = regexp.MustCompile(`(?s)## What is shown of each format\n(.*?)\n## `)
	testName = regexp.MustCompile("^`(Test|Fuzz)[A-Za-z0-9]+`$")
)

// TestEveryTestNamedExists reads the table of formats in DEVELOPERS.md: each cell
// names tests that there are, or stands empty on purpose.
func TestEveryTestNamedExists(t *testing.T) {
	page, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	found := section.FindStringSubmatch(strings.ReplaceAll(string(page), "\r\n", "\n"))
	if found == nil {
		t.Fatal("DEVELOPERS.md has no table of formats")
	}
	tests := map[string]bool{}
	for _, s := range sources(t) {
		for _, d := range s.file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && s.test && f.Recv == nil {
				tests[f.Name.Name] = true
			}
		}
	}
	named, width := 0, 0
	for line := range strings.Lines(found[1]) {
		line = strings.TrimSpace(line)
		if !strings.HasPrefix(line, "|") || strings.HasPrefix(line, "|---") {
			if line == "" {
				width = 0
			}
			continue
		}
		cells := strings.Split(strings.Trim(line, "|"), "|")
		if width == 0 { // the head of a table
			width = len(cells)
			continue
		}
		if len(cells) != width {
			t.Errorf("%d cells for %d: %s", len(cells), width, line)
		}
		for _, cell := range cells[1:] {
			names := strings.Fields(cell)
			if len(names) == 1 && names[0] == "-" {
				continue
			}
			if len(names) == 0 {
				t.Errorf("an empty cell: %s", line)
			}
			for _, n := range names {
				if !testName.MatchString(n) || !tests[strings.Trim(n, "`")] {
					t.Errorf("no such test: %s in %s", n, line)
				}
				named++
			}
		}
	}
	if named < 100 {
		t.Errorf("%d tests named only", named)
	}
}
