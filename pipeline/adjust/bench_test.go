//go:build unix

package adjust

import (
	"fmt"
	"math"
	"os"
	"runtime"
	"syscall"
	"testing"
	"time"

	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// cpu is the processor time that this process has taken.
func cpu(b *testing.B) time.Duration {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		b.Fatal(err)
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// BenchmarkNetwork adjusts hard towns of a thousand to a million readings (to ten
// million with ASFOUND_SLOW=1), one record to five readings, with perfect matches: a
// round of the pipeline is one call. The exponent is that of the readings with which
// the time has grown since the size before: 1 is linear.
func BenchmarkNetwork(b *testing.B) {
	p, err := synth.Preset("hard")
	if err != nil {
		b.Fatal(err)
	}
	o := testOptions()
	sizes := []int{1_000, 10_000, 100_000, 300_000, 1_000_000}
	if os.Getenv("ASFOUND_SLOW") == "1" {
		sizes = append(sizes, 3_000_000, 10_000_000)
	}
	var lastUsed, lastCPU float64
	for _, n := range sizes {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			town := synth.Make(1, synth.Large(p, n/5, n))
			s := town.Survey()
			matches := town.Matches(s)
			town = nil
			used := 0
			for t := range matches {
				for i := range matches[t] {
					if matches[t][i].Status == survey.StatusUsed {
						used++
					}
				}
			}
			runtime.GC()
			began := cpu(b)
			var m *survey.Model
			for b.Loop() {
				if m, err = Network(s, matches, nil, nil, o); err != nil {
					b.Fatal(err)
				}
			}
			each := float64((cpu(b) - began).Microseconds()) / float64(b.N)
			b.ReportMetric(each/float64(used), "cpu-us/reading")
			if lastUsed > 0 && lastUsed != float64(used) {
				b.ReportMetric(math.Log(each/lastCPU)/math.Log(float64(used)/lastUsed), "exponent")
			}
			lastUsed, lastCPU = float64(used), each
			var mem runtime.MemStats
			runtime.ReadMemStats(&mem)
			b.ReportMetric(float64(mem.HeapSys-mem.HeapReleased)/1e6, "heap-MB")
			b.ReportMetric(float64(used), "used")
			b.ReportMetric(float64(len(s.Records)), "records")
			b.ReportMetric(float64(m.Fit.Iterations), "iterations")
		})
	}
}
