package main

import (
	"os"
	"path/filepath"
	"testing"
)

func TestDemoFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a", "demo")
	if err := checkDemoFolder(dir); err != nil {
		t.Fatal("a new folder:", err)
	}
	if err := os.WriteFile(filepath.Join(dir, "asfound.yaml"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := checkDemoFolder(dir); err != nil {
		t.Error("an earlier demo:", err)
	}
	if err := os.Remove(filepath.Join(dir, demoMarker)); err != nil {
		t.Fatal(err)
	}
	if err := checkDemoFolder(dir); err == nil {
		t.Error("a folder with a user's files is taken for a demo")
	}
	if err := checkDemoFolder(filepath.Join(dir, "asfound.yaml")); err == nil {
		t.Error("a file is taken for a folder")
	}
}
