package publish

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
)

var update = flag.Bool("update", false, "write the golden files anew")

// run publishes a result into a temporary folder and returns the run's folder.
func run(t testing.TB, r *survey.Result) string {
	t.Helper()
	folder, err := Run(r, Options{Output: filepath.Join(t.TempDir(), "out"), Started: started, Config: config})
	if err != nil {
		t.Fatal(err)
	}
	return folder
}

func contents(t testing.TB, folder, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The names of a run's files are a contract, as are the columns of its tables:
// these come first, in this order; more may follow.
var contract = map[string]string{
	"report.html": "", "register.xlsx": "", "findings.geojson": "", "records-updated.gpkg": "", "records-updated.geojson": "",
	"readings.csv": "source,row,line,trace,record,station_m,offset_m,offset_u_m,cover_difference_m,match_probability,status",
	"records.csv":  "record,utility,sheet,length_m,covered_m,within_m,outside_m,undecided_m,position,worst_offset_m,worst_offset_u_m,depth,cover_difference_m,cover_difference_u_m,attribution,moved_m",
	"profiles.csv": "record,station_m,offset_m,offset_u_m,readings",
	"effects.csv":  "effect,name,readings,east_m,north_m,east_u_m,north_u_m,significant,explanation",
	"resurvey.csv": "rank,package,record,from_m,to_m,length_m,probability_outside,weight,cost,benefit,cumulative_cost,reason", "resurvey.geojson": "",
	"marks.csv":   "source,row,line,ticket,utility,crew,record,station_m,offset_m,match_probability,status,reason",
	"rejects.csv": "source,row,line,field,value,reason", "summary.json": "", "manifest.json": "",
}

func TestContract(t *testing.T) {
	for name, r := range map[string]*survey.Result{"a handful": handful(t), "nothing": nothing()} {
		folder := run(t, r)
		for file, columns := range contract {
			head, _, _ := strings.Cut(contents(t, folder, file), "\n")
			if !strings.HasPrefix(head+",", columns+",") && columns != "" {
				t.Errorf("%s: %s begins with %q, not with %q", name, file, head, columns)
			}
		}
	}
}

func TestGolden(t *testing.T) {
	for name, r := range map[string]*survey.Result{"handful": handful(t), "nothing": nothing()} {
		folder := run(t, r)
		for _, file := range []string{
			"caution.txt", "changes.csv", "effects.csv", "findings.geojson", "fittings-updated.geojson", "marks.csv", "readings.csv", "records-updated.geojson", "records.csv", "rejects.csv",
			"resurvey.csv", "resurvey.geojson", "sessions.csv", "shares.csv", "summary.json",
		} {
			golden := filepath.Join("testdata", name, file)
			got := contents(t, folder, file)
			if *update {
				if err := os.MkdirAll(filepath.Dir(golden), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("%s differs from %s: look at it, and run with -update if it is right\n%s", file, golden, got)
			}
		}
	}
}

// The same result makes the same bytes, whatever the time and the order in
// which files were done.
func TestSameBytes(t *testing.T) {
	for name, make := range map[string]func() *survey.Result{
		"a handful": func() *survey.Result { return handful(t) },
		"a town":    func() *survey.Result { return town(t, 4, 6) },
		"nothing":   nothing,
	} {
		first := run(t, make())
		later, err := Run(make(), Options{Output: t.TempDir(), Started: started.AddDate(1, 2, 3), Config: ConfigFile{Name: "other"}})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			if contents(t, first, f.name) != contents(t, later, f.name) {
				t.Errorf("%s: %s differs between two runs of one result", name, f.name)
			}
		}
	}
}

func TestManifest(t *testing.T) {
	folder := run(t, handful(t))
	var m manifest
	if err := json.Unmarshal([]byte(contents(t, folder, manifestName)), &m); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Outputs) != len(entries)-1 {
		t.Errorf("the manifest lists %d outputs; the folder has %d files beside it", len(m.Outputs), len(entries)-1)
	}
	for _, o := range m.Outputs {
		text := contents(t, folder, o.Name)
		digest := sha256.Sum256([]byte(text))
		if int64(len(text)) != o.Bytes || hex.EncodeToString(digest[:]) != o.SHA256 {
			t.Errorf("%s is not the file that the manifest says", o.Name)
		}
	}
	if m.Started != "2026-11-24T23:35:01Z" || m.Config.SHA256 != config.SHA256 || m.Version != "test" {
		t.Errorf("manifest: started %q, config %+v, version %q", m.Started, m.Config, m.Version)
	}
	if len(m.Inputs) != 4 || m.Inputs[0].SHA256 != "aa" || m.Inputs[0].Siblings[0].SHA256 != "ab" || m.Inputs[3].SetAside == "" {
		t.Errorf("inputs: %+v", m.Inputs)
	}
}

func TestSummary(t *testing.T) {
	s := mustPrepare(t, handful(t)).summarise()
	if l := s.Lengths; l.TotalM != 310 || l.SurveyedM != 190 || l.OutsideM != 60 || l.UnsurveyedM != 120 || *l.OutsideShare != .3158 {
		t.Errorf("lengths: %+v", l)
	}
	if f := s.Findings[survey.KindPosition]; f.Total != 2 || f.Verdicts[survey.VerdictOutside] != 1 || f.Verdicts[survey.VerdictUndecided] != 1 {
		t.Errorf("position findings: %+v", f)
	}
	if r := s.Readings; r.Total != 8 || r.Status[survey.StatusUsed] != 4 || r.Status[survey.StatusDuplicate] != 1 || r.Status[survey.StatusForeign] != 0 {
		t.Errorf("readings: %+v", r)
	}
	if s.Records.Corrected != 2 || s.Effects.Significant[survey.EffectSheet] != 1 || s.Resurvey.Cost != 490 {
		t.Errorf("%d corrected, effects %+v, re-survey %+v", s.Records.Corrected, s.Effects, s.Resurvey)
	}
	empty := mustPrepare(t, nothing()).summarise()
	if empty.Lengths.OutsideShare != nil || empty.Lengths.TotalM != 0 {
		t.Errorf("lengths of nothing: %+v", empty.Lengths)
	}
}

func mustPrepare(t testing.TB, r *survey.Result) *edition {
	t.Helper()
	e, err := prepare(r)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestResultThatDoesNotFit(t *testing.T) {
	cases := []struct {
		spoil func(*survey.Result)
		want  string
	}{
		{func(r *survey.Result) { r.Survey.Sources[2].Used++ }, "field/a.csv: 8 used + 1 duplicate + 1 rejected rows are not the 9 rows read"},
		{func(r *survey.Result) { r.Judgements = r.Judgements[:2] }, "2 judgements for records for 5"},
		{func(r *survey.Result) { r.Matches[0] = r.Matches[0][:1] }, `1 matches for the readings of trace "a/L1" for 5`},
		{func(r *survey.Result) { r.Matches = append(r.Matches, nil) }, "4 traces of matches for traces for 3"},
		{func(r *survey.Result) { r.Model.Profiles = r.Model.Profiles[:1] }, "1 profiles for records for 5"},
		{func(r *survey.Result) { r.Survey.Records[1].Feature = 99 }, "record gis/mains.shp#WM-2 stands in no layer"},
		{func(r *survey.Result) { r.Findings[0].Record = 5 }, "finding P-1 is of record number 5"},
		{func(r *survey.Result) { r.Corrections[0].Parts = nil }, "has 1 parts, its corrected line 0"},
		{func(r *survey.Result) { r.Corrections[0].Parts[0].From[0] = 3 }, "names vertex 4 of 3"},
		{func(r *survey.Result) { r.Corrections[0].Parts[0].From = nil }, "4 vertices, but 0 origins"},
		{func(r *survey.Result) { r.Survey.Plane = "EPSG:1" }, "working plane"},
		{func(r *survey.Result) { r.Survey.Layers[1].CRS = "nonsense" }, "gis/gas.geojson"},
		{func(r *survey.Result) { r.Survey = nil }, "no result"},
	}
	for _, c := range cases {
		r := handful(t)
		c.spoil(r)
		output := filepath.Join(t.TempDir(), "out")
		_, err := Run(r, Options{Output: output, Started: started})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("want an error with %q, have %v", c.want, err)
		}
		if _, err := os.Stat(output); err == nil {
			t.Errorf("%q: something was written", c.want)
		}
	}
}
