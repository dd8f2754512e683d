package pipeline_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/survey"
)

// rowsOf reads a CSV file, a row a map from the column's name.
func rowsOf(t *testing.T, name string) (out []map[string]string) {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, c := range rows[0] {
			m[c] = r[i]
		}
		out = append(out, m)
	}
	return out
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// clause is a piece of a sentence. Its named groups are numbers or names that must
// be found again; a number may name a value of another name by "value_1", which
// stands for value.
type clause struct {
	name    string
	pattern *regexp.Regexp
}

func clauses(of ...[2]string) (out []clause) {
	for _, c := range of {
		// {x} is a number called x, {x:...} a text called x.
		p := regexp.MustCompile(`\{([a-z_0-9]+)\}`).ReplaceAllString(c[1], `(?P<$1>[-+]?[0-9]+(?:\.[0-9]+)?)`)
		p = regexp.MustCompile(`\{([a-z_0-9]+):`).ReplaceAllString(p, `(?P<$1>`)
		p = strings.ReplaceAll(p, "}}", ")")
		out = append(out, clause{c[0], regexp.MustCompile(`^\s*` + p)})
	}
	return out
}

// found is what the published files say of what a sentence is about.
type found struct {
	numbers map[string]float64
	texts   map[string]string
	slackM  float64 // of metres that were worked out again from rounded ones
}

// trace consumes a sentence clause by clause, and finds every number and name in it
// again. What no clause knows is an error: no number can hide.
func trace(sentence string, known []clause, f found) (used []string, problems []string) {
	rest := sentence
	for strings.TrimSpace(rest) != "" {
		taken := false
		for _, c := range known {
			at := c.pattern.FindStringSubmatchIndex(rest)
			if at == nil || at[1] == 0 {
				continue
			}
			groups := c.pattern.FindStringSubmatch(rest)
			for i, name := range c.pattern.SubexpNames() {
				if name != "" && groups[i] != "" {
					if p := f.same(name, groups[i]); p != "" {
						problems = append(problems, c.name+": "+p)
					}
				}
			}
			rest, taken, used = rest[at[1]:], true, append(used, c.name)
			break
		}
		if !taken {
			return used, append(problems, "nothing is known of: "+rest)
		}
	}
	return used, problems
}

var repeated = regexp.MustCompile(`_[0-9]+$`)

func (f *found) same(name, said string) string {
	key := repeated.ReplaceAllString(name, "")
	if want, ok := f.texts[key]; ok {
		a, err := strconv.ParseFloat(said, 64)
		b, err2 := strconv.ParseFloat(want, 64)
		if said != want && (err != nil || err2 != nil || math.Abs(a-b) > 0.0101) {
			return fmt.Sprintf("%s is %q in the sentence, %q found again", key, said, want)
		}
		return ""
	}
	want, ok := f.numbers[key]
	if !ok {
		return fmt.Sprintf("%s %q is nowhere published", key, said)
	}
	v, err := strconv.ParseFloat(said, 64)
	decimals := 0
	if i := strings.IndexByte(said, '.'); i >= 0 {
		decimals = len(said) - i - 1
	}
	slack := 0.5*math.Pow10(-decimals) + 1e-4 // published numbers are rounded too
	if decimals == 0 && want == math.Round(want) {
		slack = 1e-9 // a count
	}
	if err != nil || !(math.Abs(v-want) <= slack+f.slackM) {
		return fmt.Sprintf("%s is %s in the sentence, %.4f found again", key, said, want)
	}
	return ""
}

// published is one run's files.
type published struct {
	job                         string // its folder
	findings                    []map[string]any
	records, shares             map[string]map[string]string
	readings, sessions, effects []map[string]string
	profiles, checks            []map[string]string
	result                      *survey.Result
}

// publishTown runs a town and reads back what it published.
func publishTown(t *testing.T, seed uint64) *published {
	params, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	params.Crews.Marks, params.Crews.TestHoles = 1, 1
	job := filepath.Join(t.TempDir(), "job")
	file, err := synth.Make(seed, params).Write(job, synth.WriteOptions{Limits: true, Marks: true, Exposures: true})
	if err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	out, err := pipeline.Run(context.Background(), c.Job("test", time.Unix(0, 0)), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	in := func(name string) []map[string]string { return rowsOf(t, filepath.Join(out.Folder, name)) }
	p := &published{
		job: job, result: out.Result, readings: in("readings.csv"), sessions: in("sessions.csv"), effects: in("effects.csv"),
		profiles: in("profiles.csv"), checks: in("mark_checks.csv"), records: map[string]map[string]string{}, shares: map[string]map[string]string{},
	}
	for _, r := range in("records.csv") {
		p.records[r["record"]] = r
	}
	for _, r := range in("shares.csv") {
		p.shares[r["record"]] = r
	}
	data, err := os.ReadFile(filepath.Join(out.Folder, "findings.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	var collection struct {
		Features []struct {
			Properties map[string]any
			Geometry   struct{ Coordinates json.RawMessage }
		}
	}
	if err := json.Unmarshal(data, &collection); err != nil {
		t.Fatal(err)
	}
	for _, f := range collection.Features {
		var line [][2]float64
		if json.Unmarshal(f.Geometry.Coordinates, &line) == nil {
			f.Properties["length"] = groundLength(line)
		}
		p.findings = append(p.findings, f.Properties)
	}
	return p
}

// groundLength is the length of a short line in longitude and latitude, metres on
// the WGS 84 ellipsoid by its radii of curvature.
func groundLength(line [][2]float64) float64 {
	const a, e2 = 6378137, 0.00669437999014
	sum := 0.0
	for i := 1; i < len(line); i++ {
		sin, cos := math.Sincos(line[i][1] * math.Pi / 180)
		w := math.Sqrt(1 - e2*sin*sin)
		east, north := (line[i][0]-line[i-1][0])*cos*a/w, (line[i][1]-line[i-1][1])*a*(1-e2)/(w*w*w)
		sum += math.Hypot(east, north) * math.Pi / 180
	}
	return sum
}

// Every number and name in the sentence of every finding, and in what is said of
// every sheet, session and source of positions, can be found again.
func TestEveryNumberIsTraceable(t *testing.T) {
	used := map[string]int{}
	for _, seed := range []uint64{7309, 7331, 7343, 7327} {
		p := publishTown(t, seed)
		p.checkedAgain(t)
		p.backed(t, seed)
		p.traceFindings(t, seed, used)
		p.traceEffects(t, seed, used)
	}
	for _, known := range []map[string][]clause{clausesOf, explanations} {
		for kind, of := range known {
			for _, c := range of {
				if used[kind+": "+c.name] == 0 && !seldom[kind+": "+c.name] {
					t.Errorf("no sentence on a %s has the clause %q: nothing is seen of it", kind, c.name)
				}
			}
		}
	}
	t.Log(used)
}
