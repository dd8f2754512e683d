//go:build linux

package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"testing"
	"time"
)

// The line is proc(5)'s own layout, with a name that tries to break it: utime 70,
// stime 30, cutime 1000, cstime 500 ticks.
func TestParseStat(t *testing.T) {
	u, err := parseStat([]byte("4242 (a) b) S 17 4242 4242 0 -1 4194560 900 800 0 0 70 30 1000 500 20 0 1 0 100 0 0\n"))
	if err != nil || u != (usage{parent: 17, own: time.Second, endedChildren: 15 * time.Second}) {
		t.Errorf("%+v, %v", u, err)
	}
	for _, bad := range []string{"", "1 (x) S 17", "1 (x) S 17 1 1 0 -1 0 0 0 0 0 x 0 0 0"} {
		if _, err := parseStat([]byte(bad)); err == nil {
			t.Errorf("%q is read", bad)
		}
	}
}

// This process uses the processor; its usage says so and grows.
func TestFamilyUsage(t *testing.T) {
	before, err := familyUsage(os.Getpid())
	if err != nil {
		t.Fatal(err)
	}
	for began := processorTime(); processorTime()-began < 30*time.Millisecond; {
	}
	after, err := familyUsage(os.Getpid())
	if err != nil {
		t.Fatal(err)
	}
	if grown := after - before; grown < 2*tick {
		t.Errorf("30 ms of work show as %v", grown)
	}
}

func TestFollow(t *testing.T) {
	log := `{"time":"2026-01-01T00:00:00Z","level":"INFO","msg":"read","took":1500000000}
{"time":"2026-01-01T00:00:00Z","level":"INFO","msg":"match","took":250000000}
something else
`
	var s side
	if rest := s.follow(strings.NewReader(log), os.Getpid()); rest != "something else\n" {
		t.Errorf("not of the log: %q", rest)
	}
	for _, x := range s.steps {
		if x.peakB < 1<<20 {
			t.Errorf("%s: a process of Go in %d bytes", x.name, x.peakB)
		}
	}
	if len(s.steps) != 2 || s.steps[0].name != "read" || s.steps[0].wall != 1500*time.Millisecond || s.steps[1].wall != 250*time.Millisecond {
		t.Errorf("%+v", s.steps)
	}
}

func seconds(wall, cpu float64) cost {
	return cost{time.Duration(wall * 1e9), time.Duration(cpu * 1e9)}
}

// The faster join counts, the other is left out; rounds of matching add up.
func TestRatios(t *testing.T) {
	c := comparison{
		postgis: &side{steps: []step{{"records", seconds(3, 2), 0}, {stepJoin, seconds(20, 15), 0}, {stepJoinParallel, seconds(12, 16), 0}, {"write", seconds(1, 1), 0}}},
		asfound: &side{steps: []step{{"read", seconds(1, 1), 1e8}, {"match", seconds(1, 2), 2e8}, {"match", seconds(3, 6), 5e8}}, whole: seconds(4, 9.5), peakB: 5e8},
		alone:   seconds(2, 4),
	}
	alone := comparison{postgis: c.postgis, alone: c.alone}
	if err := alone.print(io.Discard, &town{Readings: 1000}); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := c.print(&b, &town{Readings: 1000}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"16.00 19.00 whole, with the faster join",
		"1.00 1.00 read (at most 100 MB)",
		"peak memory 500 MB",
		"match 4000000 ns of processor time a reading",
		"join / match, first round 12.0 8.0",
		"join / match, all rounds 3.0 2.0",
		"join / match by itself 6.0 4.0",
		"script / run, whole 4.0 2.0",
	} {
		if !strings.Contains(strings.Join(strings.Fields(b.String()), " "), want) {
			t.Errorf("%q is not in\n%s", want, b.String())
		}
	}
}

// A town is made once: what is found again is what was written.
func TestTown(t *testing.T) {
	d := data{difficulty: "hard", seed: 3, records: 300, readings: 1500, root: t.TempDir()}
	first, err := d.town()
	if err != nil {
		t.Fatal(err)
	}
	if first.Records < 150 || first.Records > 600 || first.Readings < 750 || first.Readings > 3000 {
		t.Errorf("%d records and %d readings, asked for 300 and 1500", first.Records, first.Readings)
	}
	written, err := os.Stat(first.Config)
	if err != nil {
		t.Fatal(err)
	}
	again, err := d.town()
	if err != nil || *again != *first {
		t.Errorf("%+v, then %+v, %v", first, again, err)
	}
	if now, err := os.Stat(first.Config); err != nil || now.ModTime() != written.ModTime() {
		t.Errorf("the town is made anew: %v", err)
	}
	rows := 0
	files, err := filepath.Glob(filepath.Join(first.Dir, "field", "*.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		rows += bytes.Count(text, []byte("\n")) - 1
	}
	if rows != first.Readings {
		t.Errorf("%d rows in the field files, %d readings", rows, first.Readings)
	}
}

// What was given back does not count in the next peak.
func TestPeakSince(t *testing.T) {
	const big = 64 << 20
	hold := make([]byte, big)
	for i := 0; i < big; i += 4096 {
		hold[i] = 1
	}
	with, err := peakSince(os.Getpid())
	if err != nil {
		t.Fatal(err)
	}
	runtime.KeepAlive(hold)
	hold = nil
	debug.FreeOSMemory()
	if _, err := peakSince(os.Getpid()); err != nil { // begins anew
		t.Fatal(err)
	}
	without, err := peakSince(os.Getpid())
	if err != nil {
		t.Fatal(err)
	}
	if without > with-big/2 {
		t.Errorf("peak %d bytes with %d held, %d after", with, big, without)
	}
}
