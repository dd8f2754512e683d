//go:build unix

package shapefile

import (
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// cpu is the processor time of this process: what other programs do at the same
// time does not count.
func cpu(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkBesideGDAL reads 500,000 PolyLineZ with 12 attributes, and has
// ogr2ogr read them into nothing. It prints rows a second of the clock and of a
// processor, and how many times as many the latter are as ogr2ogr's.
func BenchmarkBesideGDAL(b *testing.B) {
	const n = 500_000
	dir := b.TempDir()
	for name, f := range generate(n).files() {
		if err := os.WriteFile(filepath.Join(dir, name), f.Data, 0o666); err != nil {
			b.Fatal(err)
		}
	}
	path := filepath.Join(dir, "mains.shp")
	var gdal float64 // processor seconds of one reading
	report := func(b *testing.B, used time.Duration) {
		each := used.Seconds() / float64(b.N)
		b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		b.ReportMetric(n/each, "rows/cpu-s")
		if gdal > 0 {
			b.ReportMetric(gdal/each, "x-ogr2ogr")
		}
	}
	b.Run("ogr2ogr", func(b *testing.B) {
		program := tool(b, "ogr2ogr")
		var used time.Duration
		for b.Loop() {
			// GDAL has no driver that writes nothing: a filter that asks for
			// each row's shape and that none passes has it read all.
			cmd := exec.Command(program, "-f", "CSV", "/vsistdout/", path, "-where", "OGR_GEOM_AREA > 1")
			if out, err := cmd.CombinedOutput(); err != nil {
				b.Fatalf("%v: %s", err, out)
			}
			used += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
		}
		report(b, used)
		gdal = used.Seconds() / float64(b.N)
	})
	b.Run("rows", func(b *testing.B) {
		began := cpu(b)
		for b.Loop() {
			r, err := Open(path)
			if err != nil {
				b.Fatal(err)
			}
			for _, err := range r.Rows() {
				if err != nil {
					b.Fatal(err)
				}
			}
			r.Close()
		}
		report(b, cpu(b)-began)
	})
	b.Run("layer", func(b *testing.B) {
		began := cpu(b)
		for b.Loop() {
			if _, err := Read(path); err != nil {
				b.Fatal(err)
			}
		}
		report(b, cpu(b)-began)
	})
}
