// Command town writes a made-up town as a user would hand it in, and its truth
// beside it.
//
//	go run ./internal/synth/town -difficulty hard -seed 7 DIR
//	go run ./internal/synth/town -records 200000 -readings 1000000 DIR
//
// DIR/job is what asfound is given; DIR/truth.json is what nobody gives it.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"github.com/asfound/asfound/internal/synth"
)

func main() {
	difficulty := flag.String("difficulty", "hard", "easy, hard or cruel")
	seed := flag.Uint64("seed", 1, "of the town: the same one gives the same bytes")
	records := flag.Int("records", 0, "about how many; 0 as the difficulty has it")
	readings := flag.Int("readings", 0, "about how many; needs -records")
	marks := flag.Bool("marks", false, "name the marks in the config")
	exposures := flag.Bool("exposures", false, "name the test holes in the config")
	flag.Parse()
	if flag.NArg() != 1 || (*records > 0) != (*readings > 0) {
		flag.Usage()
		os.Exit(2)
	}
	o := synth.WriteOptions{Marks: *marks, Exposures: *exposures}
	if err := write(flag.Arg(0), *difficulty, *seed, *records, *readings, o); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func write(dir, difficulty string, seed uint64, records, readings int, o synth.WriteOptions) error {
	p, err := synth.Preset(difficulty)
	if err != nil {
		return err
	}
	if records > 0 {
		p = synth.Large(p, records, readings)
	}
	town := synth.Make(seed, p)
	config, err := town.Write(filepath.Join(dir, "job"), o)
	if err != nil {
		return err
	}
	if err := town.WriteTruth(filepath.Join(dir, "truth.json")); err != nil {
		return err
	}
	s := town.Survey()
	n := 0
	for i := range s.Traces {
		n += len(s.Traces[i].Readings)
	}
	_, err = fmt.Printf("%s: %d records, %d readings\n%s\n", town.Name, len(s.Records), n, config)
	return err
}
