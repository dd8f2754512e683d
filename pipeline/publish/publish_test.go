package publish

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
)

// run publishes a result into a temporary folder and returns the run's folder.
func run(t testing.TB, r *survey.Result) string {
	t.Helper()
	folder, err := Run(r, Options{Output: filepath.Join(t.TempDir(), "out"), Started: started, Config: config})
	if err != nil {
		t.Fatal(err)
	}
	return folder
}

func contents(t testing.TB, folder, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestTry(t *testing.T) {
	folder := run(t, handful(t))
	os.RemoveAll("/tmp/pub/run")
	os.CopyFS("/tmp/pub/run", os.DirFS(folder))
	run(t, nothing())
}

func TestTown(t *testing.T) {
	folder := run(t, town(t, 7, 14))
	os.RemoveAll("/tmp/pub/town")
	os.CopyFS("/tmp/pub/town", os.DirFS(folder))
}
