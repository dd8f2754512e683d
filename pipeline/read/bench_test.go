//go:build unix

package read

import (
	"bufio"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// benchmarkRows is 1,000,000 with ASFOUND_SLOW=1.
func benchmarkRows() int {
	if os.Getenv("ASFOUND_SLOW") == "1" {
		return 1_000_000
	}
	return 100_000
}

// writeReadings writes readings of 16 columns: traces of 50 along the mains.
func writeReadings(b *testing.B, path string, rows int) {
	b.Helper()
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "LINE,TIME,LAT,LON,ACC,FIX,DEPTH_IN,MA,HZ,MODE,HOOKUP,UTIL,CREW,RX,SEP,TICKET")
	start := time.Date(2026, 6, 1, 13, 0, 0, 0, time.UTC)
	for i := range rows {
		trace, crew := i/50, i/50%7
		fmt.Fprintf(w, "L%d,%s,%.7f,%.7f,0.0%d,4,%.1f,%.2f,8192,active,direct,WTR,C%d,R%d,0.0%d,T%d\n",
			trace, start.Add(time.Duration(i)*5*time.Second).Format(time.RFC3339),
			40+float64(i%5000)*1e-6, -81+float64(trace%1000)*1e-5, 1+i%4, 36+float64(i%10), 12-float64(i%50)*0.05,
			crew, crew, i%9, trace/20)
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	if err := f.Close(); err != nil {
		b.Fatal(err)
	}
}

// cpu is the processor time of this process: what other programs do at the same
// time does not count.
func cpu(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkReadings measures a whole file of readings, up to traces in the plane
// and with its digest, beside encoding/csv that only splits the same bytes into
// values. It prints rows a second of the clock and of a processor, and how many
// times as long the processor takes as for encoding/csv.
func BenchmarkReadings(b *testing.B) {
	rows := benchmarkRows()
	o := input{field: map[string]string{"field/r.csv": "LINE,TIME,LAT,LON,ACC,FIX,DEPTH_IN,MA,HZ,MODE,HOOKUP,UTIL,CREW,RX,SEP,TICKET\n"}}.options(b)
	path := o.Field[0].Path
	writeReadings(b, path, rows)
	info, err := os.Stat(filepath.Clean(path))
	if err != nil {
		b.Fatal(err)
	}
	var alone float64 // processor seconds of encoding/csv
	run := func(name string, do func() int) {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(info.Size())
			b.ReportAllocs()
			began := cpu(b)
			for b.Loop() {
				if n := do(); n != rows {
					b.Fatalf("%d rows of %d", n, rows)
				}
			}
			each := (cpu(b) - began).Seconds() / float64(b.N)
			b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
			b.ReportMetric(float64(rows)/each, "rows/cpu-s")
			if alone == 0 {
				alone = each
				return
			}
			b.ReportMetric(each/alone, "x-encoding/csv")
		})
	}
	run("encoding-csv", func() int {
		f, err := os.Open(path)
		if err != nil {
			b.Fatal(err)
		}
		defer f.Close()
		r := csv.NewReader(bufio.NewReaderSize(f, bufferBytes))
		r.ReuseRecord = true
		n := -1
		for {
			if _, err := r.Read(); err == io.EOF {
				return n
			} else if err != nil {
				b.Fatal(err)
			}
			n++
		}
	})
	run("asfound", func() int {
		s, err := Files(context.Background(), o)
		if err != nil {
			b.Fatal(err)
		}
		n := 0
		for i := range s.Traces {
			n += len(s.Traces[i].Readings)
		}
		return n
	})
}
