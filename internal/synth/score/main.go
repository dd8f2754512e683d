// Command score runs asfound on made-up towns, from written files to the
// published run, and holds what it published against the truth, with two
// baselines beside it.
//
//	go run ./internal/synth/score -towns 20 -difficulty hard -seed 1001
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/internal/synth/scorer"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/correct"
)

func main() {
	towns := flag.Int("towns", 20, "how many")
	seed := flag.Uint64("seed", 1001, "of the first; the others follow")
	difficulty := flag.String("difficulty", "hard", "easy, hard or cruel")
	when := flag.String("when", string(correct.WhenSurveyed), "which records move: surveyed or outside")
	flag.Parse()
	if err := run(*towns, *seed, *difficulty, correct.When(*when)); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// scores are one town's: asfound's and the baselines'.
type scores [3]*scorer.Tally

func run(towns int, seed uint64, difficulty string, when correct.When) error {
	p, err := synth.Preset(difficulty)
	if err != nil {
		return err
	}
	results, errs := make([]scores, towns), make([]error, towns)
	var work sync.WaitGroup
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i := range towns {
		work.Go(func() {
			slots <- struct{}{}
			defer func() { <-slots }()
			results[i], errs[i] = score(seed+uint64(i), p, when)
		})
	}
	work.Wait()
	total := scores{scorer.NewTally(), scorer.NewTally(), scorer.NewTally()}
	for i := range towns {
		if errs[i] != nil {
			return fmt.Errorf("town %d: %w", seed+uint64(i), errs[i])
		}
		for k := range total {
			total[k].Merge(results[i][k])
		}
	}
	fmt.Printf("%d %s towns, seeds %d to %d; shares with their 95 %% interval\n\n", towns, difficulty, seed, seed+uint64(towns)-1)
	scorer.Print(os.Stdout, []string{"asfound", "nearest record", "nearest record, mean shift of sheets"}, total[:])
	return nil
}

// score makes a town, hands it in as files, and scores what comes out.
func score(seed uint64, p synth.Params, when correct.When) (scores, error) {
	dir, err := os.MkdirTemp("", "asfound-town-")
	if err != nil {
		return scores{}, err
	}
	defer os.RemoveAll(dir)
	town := synth.Make(seed, p)
	file, err := town.Write(filepath.Join(dir, "job"), synth.WriteOptions{})
	if err != nil {
		return scores{}, err
	}
	c, err := config.Load(file)
	if err != nil {
		return scores{}, err
	}
	job := c.Job("score", time.Unix(0, 0).UTC())
	job.Correct.When = when
	out, err := pipeline.Run(context.Background(), job, nil, nil)
	if err != nil {
		return scores{}, err
	}
	published, err := scorer.Published(out.Folder, town.Frame)
	if err != nil {
		return scores{}, err
	}
	return scores{
		scorer.Score(town, published),
		scorer.Score(town, scorer.Nearest(town)),
		scorer.Score(town, scorer.NearestBySheet(town)),
	}, nil
}
