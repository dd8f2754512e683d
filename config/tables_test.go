package config

import (
	"encoding/json"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/judge"
)

func published(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "testdata", "published", name))
	if err == nil {
		err = json.Unmarshal(text, into)
	}
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// TestTablesAgainstPublishedValues sees that every table of the config has the
// published values and no other, and says its edition, source and status.
func TestTablesAgainstPublishedValues(t *testing.T) {
	var cover struct {
		Source string
		Inches map[string]map[string]float64
	}
	published(t, "minimum-cover.json", &cover)
	same(t, cover.Source, coverTables, cover.Inches)
	for name, classes := range cover.Inches {
		all(t, coverTables, name, len(classes))
		for class, inches := range classes {
			var got float64
			row(t, coverTables, name, class, func(c tableClass) { c.d.lengthAbove0(c.section, "minimum", &got) })
			if math.Abs(got-inches*0.0254) > 1e-12 {
				t.Errorf("%s: %s, %s is %g m, published %g in", cover.Source, name, class, got, inches)
			}
		}
	}

	var zones struct {
		Source string
		Metres map[string]float64
	}
	published(t, "tolerance-zones.json", &zones)
	same(t, zones.Source, zoneTables, zones.Metres)
	for name, metres := range zones.Metres {
		var got float64
		table := openTable(zoneTables, name)
		table.d.lengthAbove0(table.section, "each_side", &got)
		half := table.d.truth(table.section, "half_width")
		if clean(t, table); math.Abs(got-metres) > 1e-12 || !half {
			t.Errorf("%s: %s is %g m, half the width %v, published %g m", zones.Source, name, got, half, metres)
		}
	}

	var presets struct {
		Source  string
		Classes map[string]map[string][4]*float64
	}
	published(t, "accuracy-classes.json", &presets)
	same(t, presets.Source, toleranceTables, presets.Classes)
	for name, classes := range presets.Classes {
		all(t, toleranceTables, name, len(classes))
		for class, want := range classes {
			var r judge.Rule
			row(t, toleranceTables, name, class, func(c tableClass) { c.take("quality"); c.limits(&r, table{}) })
			for k, got := range []float64{r.HorizontalM, r.HorizontalShare, r.DepthM, r.DepthShare} {
				if v := want[k]; v == nil && got != 0 || v != nil && math.Abs(got-*v) > 1e-12 {
					t.Errorf("%s: %s, %s: column %d is %g", presets.Source, name, class, k, got)
				}
			}
		}
	}
}

// same sees that the tables of a kind are those that are published.
func same[V any](t *testing.T, source, kind string, want map[string]V) {
	t.Helper()
	if got, want := tableNames(kind), slices.Sorted(maps.Keys(want)); !slices.Equal(got, want) {
		t.Errorf("%s: tables %q, published %q", source, got, want)
	}
}

// all sees that a table has so many classes.
func all(t *testing.T, kind, name string, n int) {
	t.Helper()
	if got := len(openTable(kind, name).classes()); got != n {
		t.Errorf("%s/%s has %d classes, published %d", kind, name, got, n)
	}
}

// row reads one class of a table, which has nothing else in it.
func row(t *testing.T, kind, name, class string, read func(tableClass)) {
	t.Helper()
	table := openTable(kind, name)
	c, err := table.pick(class)
	if err != nil {
		t.Errorf("%s/%s: %v", kind, name, err)
		return
	}
	read(c)
	c.done()
	clean(t, table)
}

// clean sees that nothing is wrong in a table and that it says where it is from.
func clean(t *testing.T, table table) {
	t.Helper()
	table.done()
	for _, p := range table.d.problems {
		t.Error(p)
	}
	if table.name == "" || !strings.Contains(table.source, "; edition: ") || !strings.Contains(table.source, "; values: ") ||
		!strings.Contains(table.source, "seen") && !strings.Contains(table.source, "recalled") {
		t.Errorf("%s: no name, edition, source or status: %q", table.d.file, table.source)
	}
}

// Zones that protect digging are never tolerances of a map.
func TestZonesAreNoPresets(t *testing.T) {
	for _, zone := range tableNames(zoneTables) {
		var preset string
		err := presetName("tolerance.preset", &preset).set(zone)
		if err == nil || !strings.Contains(err.Error(), "protects digging") {
			t.Errorf("%s is a preset: %v", zone, err)
		}
	}
	if job := Default(); len(job.Judge.Rules) != 0 || len(job.Judge.Cover) != 0 || len(job.Judge.Zones) != 0 {
		t.Errorf("rules that nobody chose: %+v", job.Judge)
	}
}
