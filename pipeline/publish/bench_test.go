package publish

import (
	"path/filepath"
	"testing"
)

// BenchmarkRun writes a million readings on two hundred thousand records,
// file by file and as a whole.
func BenchmarkRun(b *testing.B) {
	r := town(b, 183, 10)
	e, err := prepare(r)
	if err != nil {
		b.Fatal(err)
	}
	for _, f := range files {
		b.Run(f.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := e.writeFile(b.TempDir(), f); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	b.Run("whole", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := Run(r, Options{Output: filepath.Join(b.TempDir(), "out"), Started: started, Config: config}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
