// Command town writes a made-up town as a user would hand it in, and its truth
// beside it.
//
//	go run ./internal/synth/town -difficulty hard -seed 7 DIR
//	go run ./internal/synth/town -records 200000 -readings 1000000 DIR
//	go run ./internal/synth/town -over mains.shp -utility water -coverage 0.1 DIR
//
// DIR/job is what asfound is given; DIR/truth.json is what nobody gives it. With
// -over the lines of a shapefile in a projected system are the truth, and the
// network of the difficulty is not used.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/internal/synth"
)

func main() {
	difficulty := flag.String("difficulty", "hard", "easy, hard or cruel")
	seed := flag.Uint64("seed", 1, "of the town: the same one gives the same bytes")
	records := flag.Int("records", 0, "about how many; 0 as the difficulty has it")
	readings := flag.Int("readings", 0, "about how many; needs -records")
	marks := flag.Bool("marks", false, "name the marks in the config")
	exposures := flag.Bool("exposures", false, "name the test holes in the config")
	fittings := flag.Bool("fittings", false, "name the valves in the config")
	limits := flag.Bool("limits", false, "name minimum covers and a tolerance zone in the config")
	over := flag.String("over", "", "shapefile of lines in a projected system that are the truth")
	utility := flag.String("utility", "water", "of the lines of -over")
	coverage := flag.Float64("coverage", 0, "share of the length that is walked; 0 as the difficulty has it")
	flag.Parse()
	if flag.NArg() != 1 || (*records > 0) != (*readings > 0) || (*over != "" && *records > 0) || *coverage < 0 || *coverage > 1 {
		flag.Usage()
		os.Exit(2)
	}
	w := work{*difficulty, *seed, *records, *readings, *over, *utility, *coverage, synth.WriteOptions{Marks: *marks, Exposures: *exposures, Fittings: *fittings, Limits: *limits}}
	if err := write(flag.Arg(0), w); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// work is the town to write.
type work struct {
	difficulty        string
	seed              uint64
	records, readings int
	over, utility     string
	coverage          float64
	files             synth.WriteOptions
}

// town makes it.
func (w *work) town() (*synth.Town, error) {
	p, err := synth.Preset(w.difficulty)
	if err != nil {
		return nil, err
	}
	if w.records > 0 {
		p = synth.Large(p, w.records, w.readings)
	}
	if w.coverage > 0 {
		p.Crews.Coverage = w.coverage
	}
	if w.over == "" {
		return synth.Make(w.seed, p), nil
	}
	l, err := shapefile.Read(w.over)
	if err != nil {
		return nil, err
	}
	return synth.OverLayer(l, w.utility, w.seed, p)
}

func write(dir string, w work) error {
	town, err := w.town()
	if err != nil {
		return err
	}
	config, err := town.Write(filepath.Join(dir, "job"), w.files)
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
