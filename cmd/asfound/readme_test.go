package main

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the README's outputs anew")

const readme = "../../README.md"

// TestReadme does what the README's first screen shows: its fenced blocks that
// follow a file's name in backquotes are files, its console blocks commands with
// their exact output.
func TestReadme(t *testing.T) {
	page, err := os.ReadFile(readme)
	if err != nil {
		t.Fatal(err)
	}
	asWritten := strings.ReplaceAll(string(page), "\r\n", "\n")
	t.Chdir(t.TempDir())
	for _, m := range regexp.MustCompile("`([a-z.]+)`:\n\n```[a-z]+\n((?s:.*?))```").FindAllStringSubmatch(asWritten, -1) {
		if err := os.WriteFile(m[1], []byte(m[2]), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	commands := 0
	asRun := regexp.MustCompile("```console\n\\$ (.*)\n(?s:.*?)```").ReplaceAllStringFunc(asWritten, func(block string) string {
		commands++
		command, _, _ := strings.Cut(strings.TrimPrefix(block, "```console\n$ "), "\n")
		return "```console\n$ " + command + "\n" + output(t, strings.Fields(command)) + "```"
	})
	if commands == 0 {
		t.Fatal("the README shows no command")
	}
	if asRun == asWritten {
		return
	}
	if !*update {
		t.Fatalf("the README's outputs are not what the commands print; go test ./cmd/asfound -run Readme -update writes them anew:\n%s", changed(asWritten, asRun))
	}
	if err := os.WriteFile(readmePath, []byte(asRun), 0o644); err != nil {
		t.Fatal(err)
	}
}

// changed lists the lines of b that are not in a.
func changed(a, b string) string {
	var out strings.Builder
	for line := range strings.Lines(b) {
		if !strings.Contains(a, line) {
			out.WriteString(line)
		}
	}
	return out.String()
}

// readmePath is the page from wherever the test has gone.
var readmePath = func() string {
	p, err := filepath.Abs(readme)
	if err != nil {
		panic(err)
	}
	return p
}()

// output is what a command of the README prints; a run's name is when it was
// made, so it is replaced.
func output(t *testing.T, words []string) string {
	var out, errs bytes.Buffer
	switch words[0] {
	case "asfound":
		if code := run(words[1:], &out, &errs); code != exitPublished {
			t.Fatalf("%s leaves with %d: %s", strings.Join(words, " "), code, errs.String())
		}
	case "cat":
		data, err := os.ReadFile(filepath.FromSlash(words[1]))
		if err != nil {
			t.Fatal(err)
		}
		out.Write(data)
	default:
		t.Fatalf("the README's command %q is none that this test knows", words[0])
	}
	made := regexp.MustCompile(`\d{4}-\d\d-\d\dT\d{6}Z`)
	text := made.ReplaceAllString(filepath.ToSlash(out.String()), "2026-06-15T020000Z")
	if words[0] == "asfound" && words[1] == "history" {
		text = regexp.MustCompile(`(?m)^\d{4}-\d\d-\d\d( \d\d:\d\d)?`).ReplaceAllStringFunc(text, func(at string) string { return "2026-06-15 02:00"[:len(at)] })
	}
	return text
}
