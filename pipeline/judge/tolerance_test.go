package judge

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

func line(x0, y0, x1, y1 float64) orb.MultiLineString {
	return orb.MultiLineString{{{x0, y0}, {x1, y1}}}
}

// rulesTown is five records, 10 m long each, and a district over part of them.
func rulesTown() *survey.Survey {
	rec := func(id, utility, quality, material, sheet string, diameterM, coverM, x0 float64) survey.Record {
		return survey.Record{
			ID: id, Utility: utility, Quality: quality, Material: material, Sheet: sheet,
			DiameterM: diameterM, CoverM: coverM, Scale: 1, Parts: line(x0, 0, x0+10, 0),
		}
	}
	return &survey.Survey{
		Records: []survey.Record{
			rec("a", "gas", "b1", "PE", "S-1", 0.3, 1.2, 0),
			rec("b", "gas", "QL-A", "ST", "S-2", 0.2, 1, 0),
			rec("c", "water", "", "PE", "S-1", math.NaN(), math.NaN(), 4),
			rec("d", "water", "", "DI", "S-2", 0.6, 1, 6),
			rec("e", "electric", "D", "", "", 0.05, 0.7, 50),
		},
		Districts: []survey.Area{
			{Name: "centre", Polygon: orb.MultiPolygon{{{{5, -1}, {12, -1}, {12, 1}, {5, 1}, {5, -1}}}}},
			{Name: "centre", Polygon: orb.MultiPolygon{{{{12, -1}, {20, -1}, {20, 1}, {12, 1}, {12, -1}}}}},
		},
	}
}

func TestFirstRuleThatARecordMeets(t *testing.T) {
	s := rulesTown()
	tests := []struct {
		name  string
		where []Where
		want  []int
	}{
		{"no rules", nil, []int{-1, -1, -1, -1, -1}},
		{"utility, then the rest", []Where{{Utility: []string{"gas"}}, {}}, []int{0, 0, 1, 1, 1}},
		{"letters of any case, one of several", []Where{{Quality: []string{"B1", "ql-a"}}}, []int{0, 0, -1, -1, -1}},
		{"all conditions at once", []Where{{Utility: []string{"gas"}, Material: []string{"PE"}, Sheet: []string{"S-2"}}, {Material: []string{"PE"}}}, []int{1, -1, 1, -1, -1}},
		{"the first wins", []Where{{Sheet: []string{"S-1"}}, {Utility: []string{"gas"}}}, []int{0, 1, 0, -1, -1}},
		{"diameters, from the first to below the second", []Where{{FromM: 0.2, BelowM: 0.3}, {FromM: 0.3}}, []int{1, 0, -1, 1, -1}},
		{"an unknown diameter meets none", []Where{{BelowM: 10}}, []int{0, 0, -1, 0, 0}},
		{"half of the length in a district of two pieces", []Where{{District: "centre"}}, []int{0, 0, 0, 0, -1}},
		{"a district without a polygon", []Where{{District: "harbour"}}, []int{-1, -1, -1, -1, -1}},
	}
	for _, tt := range tests {
		o := Options{}
		for _, w := range tt.where {
			o.Rules = append(o.Rules, Rule{Where: w})
			o.Cover = append(o.Cover, CoverRule{Where: w})
			o.Zones = append(o.Zones, ZoneRule{Where: w})
		}
		for _, got := range [][]int{o.Caught(s), o.CoverCaught(s), o.ZoneCaught(s)} {
			if !slices.Equal(got, tt.want) {
				t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
			}
		}
	}
	o := Options{Rules: []Rule{{Where: Where{District: "centre"}}, {Where: Where{District: "harbour"}}}, Zones: []ZoneRule{{Where: Where{District: "quay"}}}}
	if got := o.UnknownDistricts(s); !slices.Equal(got, []string{"harbour", "quay"}) {
		t.Errorf("unknown districts %v", got)
	}
}

func TestToleranceOfARecord(t *testing.T) {
	s := rulesTown()
	shares := Rule{Limits: Limits{HorizontalM: 0.15, DepthM: 0.3}, HorizontalShare: 0.15, DepthShare: 0.15}
	tests := []struct {
		name              string
		o                 Options
		record            int
		horizontal, depth float64
	}{
		{"the default", Options{Default: Limits{HorizontalM: 0.5, DepthM: 0.3}}, 0, 0.5, 0.3},
		{"half the width", Options{Default: Limits{HorizontalM: 0.5, DepthM: 0.3, HalfWidth: true}}, 0, 0.65, 0.3},
		{"half of no width", Options{Default: Limits{HorizontalM: 0.5, DepthM: 0.3, HalfWidth: true}}, 2, 0.5, 0.3},
		{"a share of the cover is more", Options{Rules: []Rule{shares}}, 0, 0.18, 0.18},
		{"a share of the cover is less", Options{Rules: []Rule{shares}}, 4, 0.15, 0.105},
		{"no cover to take a share of", Options{Rules: []Rule{shares}}, 2, 0.15, 0.3},
	}
	for _, tt := range tests {
		got := tt.o.tolerance(&s.Records[tt.record], tt.o.Caught(s)[tt.record])
		if math.Abs(got.HorizontalM-tt.horizontal) > 1e-12 || math.Abs(got.DepthM-tt.depth) > 1e-12 {
			t.Errorf("%s: %g m and %g m, want %g m and %g m", tt.name, got.HorizontalM, got.DepthM, tt.horizontal, tt.depth)
		}
	}
	if n := (&Options{Default: Limits{HalfWidth: true}}).Widthless(s); n != 1 {
		t.Errorf("%d records without a width, want 1", n)
	}
}

// The rule of decision on one normal quantity is that of the standards: the
// factors of JCGM 106:2012 for the confidence, k = 2 of ILAC-G8, 0 for simple
// acceptance.
func TestGuardBands(t *testing.T) {
	var jcgm struct {
		Source string
		Z      [][2]float64
	}
	var ilac struct {
		Source string
		K      float64 `json:"coverage_factor"`
	}
	published(t, "jcgm106.json", &jcgm)
	published(t, "ilac-g8.json", &ilac)
	const limit, u = 10, 0.5 // so wide that the other limit plays no part
	decided := func(t *testing.T, source string, o Options, factor float64) {
		t.Helper()
		for _, c := range []struct {
			value float64
			want  survey.Verdict
		}{
			{limit + (factor+0.01)*u, survey.VerdictOutside},
			{limit - (factor+0.01)*u, survey.VerdictWithin},
		} {
			if got := o.verdict(beyond(c.value, u, limit)); got != c.want {
				t.Errorf("%s: %g is %s, want %s", source, c.value, got, c.want)
			}
		}
		if factor == 0 {
			return
		}
		for _, value := range []float64{limit + (factor-0.01)*u, limit, limit - (factor-0.01)*u} {
			if got := o.verdict(beyond(value, u, limit)); got != survey.VerdictUndecided {
				t.Errorf("%s: %g is %s, want undecided", source, value, got)
			}
		}
	}
	for _, z := range jcgm.Z {
		decided(t, jcgm.Source, Options{Confidence: z[0], GuardBand: GuardConfidence}, z[1])
	}
	decided(t, ilac.Source, Options{Confidence: 0.6, GuardBand: GuardExpanded}, ilac.K)
	decided(t, ilac.Source, Options{Confidence: 0.95, GuardBand: GuardNone}, 0)
	rapid.Check(t, func(rt *rapid.T) {
		o := Options{GuardBand: GuardNone}
		if v := o.verdict(rapid.Float64Range(0, 1).Draw(rt, "p")); v == survey.VerdictUndecided {
			rt.Fatal("undecided by simple acceptance")
		}
	})
	for _, g := range []GuardBand{GuardConfidence, GuardExpanded, GuardNone} {
		o := Options{Confidence: 0.95, GuardBand: g}
		if w := o.DecisionRule(); !strings.Contains(w, "JCGM 106:2012") || !strings.Contains(w, "ILAC-G8:09/2019") {
			t.Errorf("%s: no standard in %q", g, w)
		}
	}
	if o := (Options{Confidence: 0.9, GuardBand: GuardExpanded}); math.Abs(o.level()-estimate.NormalCDF(2)) > 1e-15 {
		t.Errorf("level %v", o.level())
	}
}

func published(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}
