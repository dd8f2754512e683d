package read

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
)

// published reads a file of values from outside the project.
func published(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("../../testdata/published", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}
