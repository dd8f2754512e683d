//go:build linux

package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"syscall"
	"time"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/match"
	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// side is one of the two that are compared.
type side struct {
	steps []step
	whole cost
	peakB int64 // most memory at one time; 0 not measured
}

// did adds a step and says so, for whoever waits.
func (s *side) did(x step) {
	fmt.Fprintf(os.Stderr, "%s: %.2f s, of the processors %.2f s\n", x.name, x.wall.Seconds(), x.cpu.Seconds())
	s.steps = append(s.steps, x)
}

// asfound runs the program as a user would and takes the stages' times from its
// log, and their processor time and peak memory from the process at each line.
func asfound(ctx context.Context, t *town) (*side, error) {
	work, err := os.MkdirTemp("", "asfound-bench-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(work)
	program := filepath.Join(work, "asfound")
	if err := build(ctx, program); err != nil {
		return nil, err
	}
	defer os.RemoveAll(filepath.Join(t.Dir, "out"))
	cmd := exec.CommandContext(ctx, program, "run", "-c", t.Config, "--log", "json")
	var summary bytes.Buffer
	cmd.Stdout = &summary
	lines, err := cmd.StderrPipe()
	if err != nil {
		return nil, err
	}
	began := time.Now()
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	s := &side{}
	rest := s.follow(lines, cmd.Process.Pid)
	if err := cmd.Wait(); err != nil {
		return nil, fmt.Errorf("%w\n%s", err, rest)
	}
	s.whole = cost{time.Since(began), cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()}
	for _, x := range s.steps {
		s.peakB = max(s.peakB, x.peakB)
	}
	s.steps = append(s.steps, step{name: "start, end", cost: cost{s.whole.wall - total(s.steps).wall, s.whole.cpu - total(s.steps).cpu}})
	return s, rows(filepath.Join(t.Dir, "out"), t.Readings)
}

// follow reads a run's log and returns what is not of it.
func (s *side) follow(log io.Reader, pid int) (rest string) {
	before := time.Duration(0)
	for in := bufio.NewScanner(log); in.Scan(); {
		var line struct {
			Stage string        `json:"msg"`
			Took  time.Duration `json:"took"`
		}
		u, err := processUsage(pid)
		if json.Unmarshal(in.Bytes(), &line) != nil || line.Took == 0 && line.Stage == "" || err != nil {
			rest += in.Text() + "\n"
			continue
		}
		peakB, err := peakSince(pid)
		if err != nil {
			fmt.Fprintln(os.Stderr, "memory not measured:", err)
		}
		s.did(step{line.Stage, cost{line.Took, u.own - before}, peakB})
		before = u.own
	}
	return rest
}

// rows sees that the run in a folder has published a row for every reading.
func rows(out string, readings int) error {
	runs, err := filepath.Glob(filepath.Join(out, "2*", "readings.csv"))
	if err != nil || len(runs) != 1 {
		return errors.Join(fmt.Errorf("%s: %d runs, want 1", out, len(runs)), err)
	}
	return countRows(runs[0], readings)
}

func countRows(file string, want int) error {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	r := csv.NewReader(bufio.NewReaderSize(f, 1<<20))
	r.ReuseRecord = true
	for n := -1; ; n++ {
		switch _, err := r.Read(); {
		case err == io.EOF && n == want:
			return nil
		case err == io.EOF:
			return fmt.Errorf("%s: %d rows, want %d", file, n, want)
		case err != nil:
			return err
		}
	}
}

// matchAlone reads a job and matches it once, with default options and knowing
// nothing of sheets.
func matchAlone(ctx context.Context, t *town, profile string) (c cost, err error) {
	job, err := load(t)
	if err != nil {
		return cost{}, err
	}
	s, err := read.Files(ctx, job.Read)
	if err != nil {
		return cost{}, err
	}
	runtime.GC()
	var matches [][]survey.Match
	err = profiled(profile, "match.pprof", func() error {
		before, began := processorTime(), time.Now()
		matches = match.Traces(s, nil, config.Default().Match)
		c = cost{time.Since(began), processorTime() - before}
		return nil
	})
	used := 0
	for _, trace := range matches {
		for i := range trace {
			if trace[i].Status == survey.StatusUsed {
				used++
			}
		}
	}
	if err == nil && used == 0 {
		err = errors.New("not one reading is used")
	}
	return c, err
}

// profileRun does the whole job in this process, with a profile.
func profileRun(ctx context.Context, t *town, profile string) error {
	job, err := load(t)
	if err != nil {
		return err
	}
	defer os.RemoveAll(filepath.Join(t.Dir, "out"))
	return profiled(profile, "run.pprof", func() error {
		_, err := pipeline.Run(ctx, job, slog.New(slog.DiscardHandler), nil)
		return err
	})
}

func load(t *town) (pipeline.Job, error) {
	c, err := config.Load(t.Config)
	if err != nil {
		return pipeline.Job{}, err
	}
	return c.Job("bench", time.Now()), nil
}

// profiled does work with a processor profile in a file of a folder; without one
// where the folder is "".
func profiled(dir, name string, work func() error) error {
	if dir == "" {
		return work()
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	f, err := os.Create(filepath.Join(dir, name))
	if err != nil {
		return err
	}
	defer f.Close()
	if err := pprof.StartCPUProfile(f); err != nil {
		return err
	}
	defer pprof.StopCPUProfile()
	return work()
}

// processorTime is that of this process.
func processorTime() time.Duration {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		panic(err) // there is no such failure for oneself
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}
