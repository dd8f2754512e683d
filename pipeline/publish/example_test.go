package publish_test

import (
	"fmt"
	"log"
	"os"
	"path/filepath"
	"time"

	"github.com/asfound/asfound/pipeline/publish"
	"github.com/asfound/asfound/pipeline/survey"
)

func ExampleRun() {
	out, err := os.MkdirTemp("", "asfound-example")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(out)

	result := &survey.Result{Job: "example", Version: "v1", Survey: &survey.Survey{Plane: "EPSG:26917"}}
	folder, err := publish.Run(result, publish.Options{Output: out, Started: time.Date(2026, 11, 24, 23, 35, 1, 0, time.UTC)})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(filepath.Base(folder))
	files, err := os.ReadDir(folder)
	if err != nil {
		log.Fatal(err)
	}
	for _, f := range files {
		fmt.Println(f.Name())
	}
	// Output:
	// 2026-11-24T233501Z
	// caution.txt
	// changes.csv
	// effects.csv
	// findings.geojson
	// fittings-updated.geojson
	// manifest.json
	// mark_checks.csv
	// marks.csv
	// profiles.csv
	// readings.csv
	// records-updated.geojson
	// records-updated.gpkg
	// records.csv
	// register.xlsx
	// rejects.csv
	// report.html
	// resurvey.csv
	// resurvey.geojson
	// sessions.csv
	// shares.csv
	// summary.json
}
