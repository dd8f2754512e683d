//go:build linux

// Command bench runs asfound and a PostGIS script on the same made-up data, one
// after the other on one machine, and prints how long each step of both takes.
//
//	go run ./internal/bench
//	go run ./internal/bench -records 10000 -readings 50000
//
// The PostGIS script (folder postgis) does what a join can do of the job: it finds
// the nearest record to each reading within 5 m, and where on it that is. It has a
// cluster of its own, tuned for nothing but speed, which is gone afterwards. It
// needs Debian's postgresql-15-postgis-3 and gdal-bin, or the like.
//
// Wall seconds say little on a machine that others use: beside them stand the
// seconds of processor time of all processes of a step, and a ratio of each.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"
)

func main() {
	var d data
	flag.StringVar(&d.difficulty, "difficulty", "hard", "of the town: easy, hard or cruel")
	flag.Uint64Var(&d.seed, "seed", 1, "of the town")
	flag.IntVar(&d.records, "records", 200_000, "about how many")
	flag.IntVar(&d.readings, "readings", 1_000_000, "about how many")
	flag.StringVar(&d.root, "dir", filepath.Join(os.TempDir(), "asfound-bench"), "where towns are kept for the next time; the server, which may be another user, reads there")
	profile := flag.String("profile", "", "folder for processor profiles of the match stage and of a whole run")
	bin := flag.String("postgres", newestPostgres(), "folder of PostgreSQL's programs; \"\" leaves PostGIS out")
	whole := flag.Bool("whole", true, "do asfound's whole run, not the match stage alone")
	flag.Parse()
	if flag.NArg() > 0 || d.records < 1 || d.readings < 1 {
		flag.Usage()
		os.Exit(2)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, d, *bin, *profile, *whole); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(ctx context.Context, d data, bin, profile string, whole bool) error {
	t, err := d.town()
	if err != nil {
		return err
	}
	fmt.Printf("%s town of seed %d: %d records, %d readings; %d cores\n\n", d.difficulty, d.seed, t.Records, t.Readings, runtime.NumCPU())
	var c comparison
	if bin != "" {
		if c.postgis, err = postgis(ctx, bin, t); err != nil {
			return fmt.Errorf("PostGIS: %w", err)
		}
	}
	if whole {
		if c.asfound, err = asfound(ctx, t); err != nil {
			return fmt.Errorf("asfound: %w", err)
		}
	}
	if c.alone, err = matchAlone(ctx, t, profile); err != nil {
		return fmt.Errorf("match alone: %w", err)
	}
	if err := c.print(os.Stdout, t); err != nil || profile == "" || !whole {
		return err
	}
	return profileRun(ctx, t, profile)
}

// build builds asfound as it is released.
func build(ctx context.Context, to string) error {
	cmd := exec.CommandContext(ctx, "go", "build", "-o", to, "github.com/asfound/asfound/cmd/asfound")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("go build: %w\n%s", err, out)
	}
	return nil
}
