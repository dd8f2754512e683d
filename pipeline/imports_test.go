package pipeline_test

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "github.com/asfound/asfound/"

// source is one Go file of the project.
type source struct {
	path    string // from the project's root, slashes
	pkg     string // its folder
	test    bool
	lines   int
	file    *ast.File
	imports []string
}

func sources(t *testing.T) []source {
	t.Helper()
	root, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	var out []source
	err = filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "testdata" || name != root && strings.HasPrefix(d.Name(), ".")) {
			return filepath.SkipDir
		}
		if d.IsDir() || filepath.Ext(name) != ".go" {
			return nil
		}
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, text, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		s := source{path: filepath.ToSlash(rel), lines: bytes.Count(text, []byte{'\n'}), file: file}
		s.pkg, s.test = path.Dir(s.path), strings.HasSuffix(s.path, "_test.go")
		for _, spec := range file.Imports {
			imported, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			s.imports = append(s.imports, imported)
		}
		out = append(out, s)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out) < 20 {
		t.Fatalf("found %d Go files only", len(out))
	}
	return out
}

var (
	stages = []string{"read", "match", "adjust", "judge", "correct", "rank", "publish"}
	pure   = stages[1 : len(stages)-1] // functions of their input and options
)

func isStage(pkg string, among []string) bool {
	return path.Dir(pkg) == "pipeline" && slices.Contains(among, path.Base(pkg))
}

// TestImports keeps the layers apart.
func TestImports(t *testing.T) {
	for _, s := range sources(t) {
		for _, imported := range s.imports {
			ours, isOurs := strings.CutPrefix(imported, module)
			switch {
			case strings.HasPrefix(imported, "github.com/jonas-p/go-shp") && s.pkg != "internal/shapefile":
				t.Errorf("%s imports go-shp: only internal/shapefile may, which guards it", s.path)
			case strings.HasPrefix(imported, "github.com/spf13/viper") && s.pkg != "config" && !strings.HasPrefix(s.pkg, "cmd/"):
				t.Errorf("%s imports viper: only config may", s.path)
			case s.test:
				// Tests may reach across: a property is often one of two stages.
			case s.pkg == "pipeline/survey" && isOurs:
				t.Errorf("%s imports %s: survey imports nothing of ours", s.path, ours)
			case isStage(s.pkg, stages) && isOurs && ours != s.pkg && (isStage(ours, stages) || ours == "pipeline" || ours == "config"):
				t.Errorf("%s imports %s: stages are joined by pipeline alone", s.path, ours)
			case strings.HasPrefix(s.pkg, "internal/") && !strings.HasPrefix(s.pkg, "internal/synth") && s.pkg != "internal/bench" && isOurs && (isStage(ours, stages) || ours == "pipeline" || ours == "config"):
				t.Errorf("%s imports %s: what is below the stages does not know them", s.path, ours)
			}
		}
	}
}

// TestPure sees that the stages between read and publish touch neither files nor
// clock, log, context or global randomness.
func TestPure(t *testing.T) {
	forbidden := []string{"os", "io/fs", "io/ioutil", "path/filepath", "net", "net/http", "context", "log", "log/slog", "embed"}
	for _, s := range sources(t) {
		if s.test || !isStage(s.pkg, pure) {
			continue
		}
		for _, imported := range s.imports {
			if slices.Contains(forbidden, imported) {
				t.Errorf("%s imports %s", s.path, imported)
			}
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			of, ok := sel.X.(*ast.Ident)
			if !ok {
				return true
			}
			switch name := sel.Sel.Name; {
			case of.Name == "time" && slices.Contains([]string{"Now", "Since", "Until", "Sleep", "After", "Tick"}, name):
				t.Errorf("%s looks at the clock: time.%s", s.path, name)
			case of.Name == "rand" && slices.Contains(s.imports, "math/rand"):
				t.Errorf("%s uses math/rand: use a seeded source of math/rand/v2", s.path)
			case of.Name == "rand" && ast.IsExported(name) && !strings.HasPrefix(name, "New") && !slices.Contains([]string{"Rand", "PCG", "ChaCha8", "Source", "Zipf"}, name):
				t.Errorf("%s uses global randomness: rand.%s", s.path, name)
			}
			return true
		})
	}
}

// TestFileLength sees that every file can be read in one go.
func TestFileLength(t *testing.T) {
	const most = 450
	for _, s := range sources(t) {
		if s.lines > most {
			t.Errorf("%s has %d lines, more than %d: part it", s.path, s.lines, most)
		}
	}
}
