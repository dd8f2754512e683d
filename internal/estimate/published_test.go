package estimate

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// published reads a file of testdata/published.
func published(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

func near(t *testing.T, source, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %s is %.10g, published %.10g (tolerance %g)", source, what, got, want, tolerance)
	}
}
