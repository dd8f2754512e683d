package config_test

import (
	"errors"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"strings"

	"github.com/asfound/asfound/config"
)

func ExampleLoad() {
	dir, err := os.MkdirTemp("", "asfound")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "job.yaml")
	text := `
records: [{path: mains.shp, utility: water}]
field: [{path: day1.csv, crs: "EPSG:4269", columns: {trace: LINE, latitude: LAT, longitude: LON, depht: D}}]
match: {search_radius: 20}
`
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		log.Fatal(err)
	}
	_, err = config.Load(file)
	var problems config.Problems
	errors.As(err, &problems)
	for _, p := range problems {
		fmt.Println(strings.TrimPrefix(p.Error(), dir+string(filepath.Separator)))
	}
	// Output:
	// job.yaml:2: mains.shp: no such file: correct the path, which starts from the config's folder
	// job.yaml:3: unknown key field.columns.depht: did you mean depth?
	// job.yaml:3: day1.csv: no such file: correct the path, which starts from the config's folder
	// job.yaml:4: match.search_radius: "20" has no unit: write it as "20 m"
}
