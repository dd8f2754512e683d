// Command score runs asfound on made-up towns, from written files to the
// published run, and holds what it published against the truth, with two
// baselines beside it.
//
//	go run ./internal/synth/score -towns 20 -difficulty hard -seed 1001
//	go run ./internal/synth/score -towns 1 -over mains.shp -coverage 0.1
//	go run ./internal/synth/score -towns 20 -matches true
//
// With -over the lines of a shapefile in a projected system are the truth, and
// only the map, the crews and the signals follow the difficulty.
//
// With -matches true a perfect matching stands in for the program's own, so that
// the faults of the adjustment stand alone.
//
// How to read the table: a row is a figure, defined in the documentation of
// package scorer. In a column stand the value, its 95 % interval in brackets and
// the number of cases. "17.2: 14.0 (9.1-20.9) 120" is a promise: 17.2 % was
// promised on average, 14.0 % was found. "0.030 / 0.090 1234" are a mean (or, where
// the row says so, a root mean square) and a 95th percentile. Shares of good
// things belong beside the shares of harm below them: whoever says nothing does no
// harm and finds nothing. "wanted" is what the project wants of itself.
//
// A table says something only beside its difficulty's version and its seeds, and
// only if nobody tuned on those seeds.
package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/internal/synth/scorer"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/correct"
	"github.com/asfound/asfound/pipeline/survey"
)

func main() {
	towns := flag.Int("towns", 20, "how many")
	seed := flag.Uint64("seed", 1001, "of the first; the others follow")
	difficulty := flag.String("difficulty", "hard", "easy, hard or cruel")
	when := flag.String("when", string(correct.WhenSurveyed), "which records move: surveyed or outside")
	csvFile := flag.String("csv", "", "write the table into this file too, for other programs")
	over := flag.String("over", "", "shapefile of lines in a projected system that are the truth")
	utility := flag.String("utility", "water", "of the lines of -over")
	coverage := flag.Float64("coverage", 0, "share of the length that is walked; 0 as the difficulty has it")
	matches := flag.String("matches", matchesOwn, "own, or true: the matching is replaced by the truth, so that what is wrong is the adjustment's")
	weights := flag.Bool("weights", true, "rank by consequence too, as the towns' jobs have it; without, every wrong metre counts the same in the re-survey order")
	flag.Parse()
	if w := correct.When(*when); flag.NArg() > 0 || *towns < 1 || *coverage < 0 || *coverage > 1 || (*matches != matchesOwn && *matches != matchesTrue) || (w != correct.WhenSurveyed && w != correct.WhenOutside) {
		flag.Usage()
		os.Exit(2)
	}
	todo := work{difficulty: *difficulty, seed: *seed, towns: *towns, when: correct.When(*when), workers: runtime.GOMAXPROCS(0), utility: *utility, trueMatches: *matches == matchesTrue, sameWeight: !*weights}
	err := todo.prepare(*over, *coverage)
	if err == nil {
		err = run(os.Stdout, *csvFile, todo)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// work is which towns to score, and how.
type work struct {
	difficulty string
	params     synth.Params
	seed       uint64
	towns      int
	when       correct.When
	workers    int

	over    *shapefile.Layer // nil: the towns' own lines
	utility string

	trueMatches bool
	sameWeight  bool // of all lines in the re-survey order
}

// What -matches may say.
const matchesOwn, matchesTrue = "own", "true"

func (todo *work) prepare(over string, coverage float64) (err error) {
	if todo.params, err = synth.Preset(todo.difficulty); err != nil {
		return err
	}
	if coverage > 0 {
		todo.params.Crews.Coverage = coverage
	}
	if over != "" {
		todo.over, err = shapefile.Read(over)
	}
	return err
}

func (todo *work) town(seed uint64) (*synth.Town, error) {
	if todo.over == nil {
		return synth.Make(seed, todo.params), nil
	}
	return synth.OverLayer(todo.over, todo.utility, seed, todo.params)
}

func run(w io.Writer, csvFile string, todo work) error {
	columns, err := todo.columns()
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "%d %s towns (difficulty version %d), seeds %d to %d; what moves: %s",
		todo.towns, todo.difficulty, synth.Version(), todo.seed, todo.seed+uint64(todo.towns)-1, todo.when)
	if todo.trueMatches {
		fmt.Fprint(w, "; matched by the truth")
	}
	if todo.sameWeight {
		fmt.Fprint(w, "; ranked without consequences")
	}
	fmt.Fprint(w, "\n\n")
	if err := scorer.Print(w, columns); err != nil || csvFile == "" {
		return err
	}
	var b bytes.Buffer
	if err := scorer.WriteCSV(&b, columns); err != nil {
		return err
	}
	return os.WriteFile(csvFile, b.Bytes(), 0o644)
}

// scores are one town's: asfound's and the baselines'.
type scores [3]*scorer.Tally

// columns scores the towns side by side and adds them up in the order of their
// seeds.
func (todo *work) columns() ([]scorer.Column, error) {
	results, errs := make([]scores, todo.towns), make([]error, todo.towns)
	next := make(chan int)
	var workers sync.WaitGroup
	for range todo.workers {
		workers.Go(func() {
			for i := range next {
				results[i], errs[i] = todo.score(todo.seed + uint64(i))
			}
		})
	}
	for i := range todo.towns {
		next <- i
	}
	close(next)
	workers.Wait()
	columns := []scorer.Column{
		{Head: "asfound", Tally: scorer.NewTally()},
		{Head: "nearest record", Tally: scorer.NewTally()},
		{Head: "nearest, sheets shifted", Tally: scorer.NewTally()},
	}
	for i := range todo.towns {
		if errs[i] != nil {
			return nil, fmt.Errorf("town %d: %w", todo.seed+uint64(i), errs[i])
		}
		for k := range columns {
			columns[k].Tally.Add(results[i][k])
		}
	}
	return columns, nil
}

// score makes a town, hands it in as files, and scores what comes out.
func (todo *work) score(seed uint64) (scores, error) {
	dir, err := os.MkdirTemp("", "asfound-town-")
	if err != nil {
		return scores{}, err
	}
	defer os.RemoveAll(dir)
	town, err := todo.town(seed)
	if err != nil {
		return scores{}, err
	}
	file, err := town.Write(filepath.Join(dir, "job"), synth.WriteOptions{Fittings: true})
	if err != nil {
		return scores{}, err
	}
	c, err := config.Load(file)
	if err != nil {
		return scores{}, err
	}
	job := c.Job("score", time.Unix(0, 0).UTC())
	job.Correct.When = todo.when
	if todo.sameWeight {
		job.Rank.Consequences = nil
	}
	if todo.trueMatches {
		job.Matcher = func(s *survey.Survey, _ *survey.Model) [][]survey.Match { return town.Matches(s) }
	}
	out, err := pipeline.Run(context.Background(), job, nil, nil)
	if err != nil {
		return scores{}, err
	}
	published, err := scorer.Published(out.Folder, town.Frame)
	if err != nil {
		return scores{}, fmt.Errorf("published files: %w", err)
	}
	s := town.Survey()
	return scores{
		scorer.Score(s, &town.Truth, published),
		scorer.Score(s, &town.Truth, scorer.Nearest(s)),
		scorer.Score(s, &town.Truth, scorer.NearestBySheet(s)),
	}, nil
}
