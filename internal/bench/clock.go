//go:build linux

package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// cost is what something took: on the wall, and of the processors.
type cost struct{ wall, cpu time.Duration }

func (c cost) plus(d cost) cost { return cost{c.wall + d.wall, c.cpu + d.cpu} }

// step is one step of a run and what it took.
type step struct {
	name string
	cost
	peakB int64 // most memory at one time; 0 not measured
}

// total adds up steps.
func total(steps []step) (sum cost) {
	for _, s := range steps {
		sum = sum.plus(s.cost)
	}
	return sum
}

// tick is the unit of times in /proc (USER_HZ, which Linux has kept at 100 for
// programs whatever the kernel's own).
const tick = 10 * time.Millisecond

// usage is the processor time of a process and of its ended children, and its
// parent, after /proc/PID/stat (proc(5)).
type usage struct {
	parent             int
	own, endedChildren time.Duration
}

// processUsage reads it; a process that has gone is an error.
func processUsage(pid int) (usage, error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return usage{}, err
	}
	return parseStat(text)
}

func parseStat(text []byte) (usage, error) {
	// The name, in brackets, may hold anything.
	fields := strings.Fields(string(text[bytes.LastIndexByte(text, ')')+1:]))
	const parent, utime = 1, 11 // after the name; utime, stime, cutime, cstime
	if len(fields) < utime+4 {
		return usage{}, fmt.Errorf("stat of a process: %q", text)
	}
	var n [5]int64
	for i, f := range append(fields[utime:utime+4:utime+4], fields[parent]) {
		v, err := strconv.ParseInt(f, 10, 64)
		if err != nil {
			return usage{}, fmt.Errorf("stat of a process: %q", text)
		}
		n[i] = v
	}
	return usage{parent: int(n[4]), own: time.Duration(n[0]+n[1]) * tick, endedChildren: time.Duration(n[2]+n[3]) * tick}, nil
}

// familyUsage is the processor time of a process, of its children and of all
// that have ended below them. A child that ends between two looks would be
// counted twice or not at all, so it looks until none does.
func familyUsage(pid int) (time.Duration, error) {
	for {
		before, err := processUsage(pid)
		if err != nil {
			return 0, err
		}
		sum, err := childrenUsage(pid)
		if err != nil {
			return 0, err
		}
		after, err := processUsage(pid)
		if err != nil {
			return 0, err
		}
		if after.endedChildren == before.endedChildren {
			return after.own + after.endedChildren + sum, nil
		}
	}
}

func childrenUsage(pid int) (sum time.Duration, err error) {
	stats, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		return 0, err
	}
	for _, name := range stats {
		text, err := os.ReadFile(name)
		if err != nil {
			continue // ended since
		}
		if u, err := parseStat(text); err == nil && u.parent == pid {
			sum += u.own + u.endedChildren
		}
	}
	return sum, nil
}

// peakSince is the most memory that a process has had resident since it was last
// asked, after VmHWM of /proc/PID/status; 5 to clear_refs begins anew (proc(5)).
func peakSince(pid int) (int64, error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, err
	}
	_, after, found := strings.Cut(string(text), "VmHWM:")
	fields := strings.Fields(after)
	if !found || len(fields) == 0 {
		return 0, fmt.Errorf("status of a process without VmHWM: %q", text)
	}
	kB, err := strconv.ParseInt(fields[0], 10, 64)
	if err != nil {
		return 0, err
	}
	return kB * 1024, os.WriteFile(fmt.Sprintf("/proc/%d/clear_refs", pid), []byte("5"), 0)
}
