package match

import (
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// steady is a trace along x, a reading every metre and ten seconds, with nothing
// wrong.
func steady(n int) *survey.Trace {
	tr := &survey.Trace{ID: "t", Utility: "gas"}
	for i := range n {
		tr.Readings = append(tr.Readings, survey.Reading{
			Point: orb.Point{float64(i), 0}, SigmaM: 0.01, Fix: survey.FixFixed, Mode: survey.ModeActive, Hookup: survey.HookupClamp,
			Time: time.Date(2026, 5, 4, 9, 0, 10*i, 0, time.UTC), DepthM: 1, CurrentA: 0.02, FrequencyHz: 8192, SeparationM: 0.02,
		})
	}
	return tr
}

// TestRules shows for every rule a reading that passes and one that fails. The
// change is made to the fifth of ten readings.
func TestRules(t *testing.T) {
	at := func(change func(r *survey.Reading)) func(*survey.Trace) {
		return func(tr *survey.Trace) { change(&tr.Readings[5]) }
	}
	for _, c := range []struct {
		rule        string
		pass, fail  func(*survey.Trace)
		untrusted   bool
		reason      string
		inflate     float64 // at least, where it fails
		foreignOdds float64 // where it fails
	}{
		{
			rule: "doubt", pass: at(func(r *survey.Reading) { r.Remark = "near a tree" }),
			fail: at(func(r *survey.Reading) { r.Doubt = true }), untrusted: true, reason: "the crew doubts it",
		},
		{
			rule: "separation", pass: at(func(r *survey.Reading) { r.SeparationM = 0.03 }),
			fail: at(func(r *survey.Reading) { r.SeparationM = 0.18 }), reason: "position indications 0.18 m apart: less certain", inflate: 3,
		},
		{
			rule: "separation", pass: at(func(r *survey.Reading) { r.SeparationM = math.NaN() }),
			fail: at(func(r *survey.Reading) { r.SeparationM = 0.4 }), untrusted: true, reason: "position indications 0.40 m apart",
		},
		{
			rule: "depth step", pass: func(tr *survey.Trace) { // a step that lasts
				for i := 5; i < 10; i++ {
					tr.Readings[i].DepthM = 1.6
				}
			},
			fail: at(func(r *survey.Reading) { r.DepthM = 1.6 }), reason: "depth 1.60 m between 1.00 m and 1.00 m", inflate: 4,
		},
		{
			rule: "current rise", pass: at(func(r *survey.Reading) { r.CurrentA = 0.015 }),
			fail: at(func(r *survey.Reading) { r.CurrentA = 0.028 }), reason: "current 40 % above the readings before", inflate: 1.8,
		},
		{
			rule: "mode", pass: at(func(r *survey.Reading) { r.Mode = survey.ModeUnknown }),
			fail: at(func(r *survey.Reading) { r.Mode = survey.ModePassive }), foreignOdds: 5,
		},
		{
			rule: "hook-up", pass: at(func(r *survey.Reading) { r.Hookup = survey.HookupUnknown }),
			fail: at(func(r *survey.Reading) { r.Hookup = survey.HookupInduction }), foreignOdds: 2,
		},
		{
			rule: "fix", pass: at(func(r *survey.Reading) { r.Fix, r.SigmaM = survey.FixFloat, 0.5 }),
			fail: at(func(r *survey.Reading) { r.Fix = survey.FixFloat }), reason: "float position: 0.3 m taken for its accuracy", inflate: 5,
		},
		{
			rule: "fix", pass: at(func(r *survey.Reading) { r.Fix = survey.FixTotalStation }),
			fail: at(func(r *survey.Reading) { r.Fix = survey.FixAutonomous }), reason: "uncorrected position: 3.0 m taken for its accuracy", inflate: maxInflate,
		},
		{
			rule: "speed", pass: at(func(r *survey.Reading) { r.Time = time.Time{} }),
			fail: at(func(r *survey.Reading) { r.Point[1] = 60 }), untrusted: true, reason: "6 m/s from the reading before and to the next",
		},
		{
			rule: "sonde", pass: at(func(r *survey.Reading) { r.DepthTo = survey.DepthToTop }),
			fail: at(func(r *survey.Reading) { r.Mode = survey.ModeSonde }), reason: "sonde: kept for depth only",
		},
	} {
		t.Run(c.rule, func(t *testing.T) {
			o := ordinary
			tr := steady(10)
			c.pass(tr)
			if p := judgeTrust(tr, &o, nil)[5]; p.untrusted || p.reason != "" || p.inflate > 1.01 || p.foreign != 1 {
				t.Errorf("should pass: %+v", p)
			}
			tr = steady(10)
			c.fail(tr)
			f := judgeTrust(tr, &o, nil)[5]
			if f.untrusted != c.untrusted || f.reason != c.reason || f.inflate < c.inflate || (c.foreignOdds != 0 && f.foreign != c.foreignOdds) {
				t.Errorf("should fail: %+v", f)
			}
		})
	}
}

func TestRulesNeedNoColumn(t *testing.T) {
	// Only positions are mapped: no rule has an opinion.
	o := ordinary
	tr := steady(10)
	for i := range tr.Readings {
		tr.Readings[i] = survey.Reading{
			Point: tr.Readings[i].Point, SigmaM: nan, DepthM: nan, CurrentA: nan, FrequencyHz: nan, SeparationM: nan, ElevationM: nan,
		}
	}
	for i, got := range judgeTrust(tr, &o, nil) {
		if got != (trust{inflate: 1, foreign: 1}) {
			t.Errorf("reading %d: %+v", i, got)
		}
	}
}

// exactly is where the peak and the null are over a line current, and how deep two
// coils take it to be, beside a neighbour at a distance with relative current k: by
// search in the exact fields.
func exactly(distance, depth, deep, k float64) (peak, null, reads float64) {
	across := func(x, up float64) float64 {
		a, b := depth+up, deep+up
		return a/(x*x+a*a) + k*b/((x-distance)*(x-distance)+b*b)
	}
	upright := func(x float64) float64 {
		y := x - distance
		return x/(x*x+depth*depth) + k*y/(y*y+deep*deep)
	}
	top, low := 0.0, math.Inf(1)
	for x := -0.3; x <= 0.3; x += 1e-5 {
		if a := across(x, 0); a > top {
			peak, top = x, a
		}
		if u := math.Abs(upright(x)); u < low {
			null, low = x, u
		}
	}
	return peak, null, coilsM / (across(peak, 0)/across(peak, coilsM) - 1)
}

const coilsM = 0.4

func TestPullAgainstExactFields(t *testing.T) {
	data, err := os.ReadFile("../../testdata/published/line-current-fields.json")
	if err != nil {
		t.Fatal(err)
	}
	var published struct {
		Citation string `json:"citation"`
		TwoLines []struct {
			Apart    float64 `json:"apart_m"`
			Relative float64 `json:"relative_current"`
			Peak     float64 `json:"peak_shift_m"`
			Null     float64 `json:"null_shift_m"`
			Depth    float64 `json:"two_coil_depth_m"`
		} `json:"two_lines"`
	}
	if err := json.Unmarshal(data, &published); err != nil || len(published.TwoLines) == 0 {
		t.Fatal("no published fields of two lines:", err)
	}
	for _, line := range published.TwoLines {
		peak, null, reads := exactly(line.Apart, 1, 1, line.Relative)
		if math.Abs(peak-line.Peak) > 1e-4 || math.Abs(null-line.Null) > 1e-4 || (line.Depth > 0 && math.Abs(reads-line.Depth) > 1e-3) {
			t.Errorf("D %v k %v: peak %.4f null %.4f depth %.3f, want %+v (%s)", line.Apart, line.Relative, peak, null, reads, line, published.Citation)
		}
	}
	// To first order in k, good to the order of k; also where the lines are not
	// equally deep.
	for _, c := range []struct{ distance, depth, deep, k float64 }{
		{1, 1, 1, 0.02},
		{1, 1, 1, -0.02},
		{0.6, 1, 1, 0.02},
		{2, 1, 1, 0.05},
		{0.8, 1.8, 0.6, 0.01},
		{0.8, 1.8, 0.6, -0.01},
		{1.2, 0.7, 1.6, 0.05},
		{3, 1.5, 0.8, 0.03},
	} {
		peak, null, reads := exactly(c.distance, c.depth, c.deep, c.k)
		f, g, q := pull(c.distance, c.depth, c.deep, coilsM)
		if math.Abs(c.k*f-peak) > 0.1*math.Abs(peak)+1e-4 || math.Abs(c.k*g-(null-peak)) > 0.1*math.Abs(peak)+0.1*math.Abs(null-peak) {
			t.Errorf("%+v: to first order peak %.4f apart %.4f, exactly %.4f %.4f", c, c.k*f, c.k*g, peak, null-peak)
		}
		ratio := c.depth / (c.depth + coilsM) * (1 + c.k*q)
		if got := coilsM * ratio / (1 - ratio); math.Abs(got-reads) > 0.1*math.Abs(reads-c.depth)+1e-3 {
			t.Errorf("%+v: to first order a depth of %.4f m is read, exactly %.4f m", c, got, reads)
		}
	}
	// Equally deep, a separation implies what the separation rule says.
	for _, distance := range []float64{0.5, 1, 2} {
		f, g, _ := pull(distance, 1, 1, coilsM)
		if got := peakErrorM(g, distance); math.Abs(got-f) > 1e-12 {
			t.Errorf("D %v: a separation of %.4f implies %.4f, want %.4f", distance, g, got, f)
		}
	}
}

func TestNeighbours(t *testing.T) {
	// A deep line with a neighbour 1 m away, energised by induction: likely moved.
	// The same by direct connection, or without a neighbour, or beside a line that
	// lies deeper than itself: not.
	neighbour := line("W", "water", "S1", orb.Point{0, 1}, orb.Point{100, 1})
	deep := neighbour
	deep.CoverM = 2.6
	own := line("G", "gas", "S1", orb.Point{0, 0}, orb.Point{100, 0})
	insulated := neighbour
	insulated.Conductor = survey.ConductorNone
	for _, c := range []struct {
		name      string
		records   []survey.Record
		hookup    survey.Hookup
		depthM    float64
		frequency float64
		separate  float64
		untrusted bool
	}{
		{"induction, deep, indications far apart", []survey.Record{own, neighbour}, survey.HookupInduction, 2.2, 33e3, 0.14, true},
		{"induction, shallow", []survey.Record{own, neighbour}, survey.HookupInduction, 0.5, 33e3, nan, false},
		{"direct, deep", []survey.Record{own, neighbour}, survey.HookupDirect, 2.2, 1024, 0.02, false},
		{"induction, deep, neighbour carries nothing", []survey.Record{own, insulated}, survey.HookupInduction, 2.2, 33e3, 0.14, false},
		{"induction, no separations, neighbour not so deep", []survey.Record{own, neighbour}, survey.HookupInduction, 1.5, 33e3, nan, true},
		{"induction, no separations, neighbour deeper", []survey.Record{own, deep}, survey.HookupInduction, 1.5, 33e3, nan, false},
		{"induction, deep, alone", []survey.Record{own}, survey.HookupInduction, 2.2, 33e3, 0.14, false},
	} {
		w := walk("gas", 1)
		w.depth, w.current = c.depthM, 0.02
		w.to(orb.Point{2, 0}, orb.Point{98, 0}, 2)
		for i := range w.tr.Readings {
			r := &w.tr.Readings[i]
			r.Hookup, r.FrequencyHz, r.SeparationM = c.hookup, c.frequency, c.separate
		}
		m := Traces(town(c.records, w), nil, ordinary)[0][20]
		if got := m.Status == survey.StatusUntrusted; got != c.untrusted {
			t.Errorf("%s: %s, %s", c.name, m.Status, m.Reason)
		}
		if c.untrusted && !strings.Contains(m.Reason, "neighbouring lines move this signal") {
			t.Errorf("%s: reason %q", c.name, m.Reason)
		}
	}
}

func TestHums(t *testing.T) {
	trace := func(utility string, mode survey.Mode) survey.Trace {
		w := walk(utility, 1)
		w.to(orb.Point{0, 0}, orb.Point{3, 0}, 1)
		for i := range w.tr.Readings {
			w.tr.Readings[i].Mode = mode
		}
		return w.tr
	}
	electric, water, own := trace("electric", survey.ModePassive), trace("water", survey.ModePassive), trace("gas", survey.ModeActive)
	for _, c := range []struct {
		name   string
		traces []survey.Trace
		want   string
	}{
		{"three of one utility", []survey.Trace{electric, own, electric, electric}, "electric"},
		{"too few", []survey.Trace{electric, electric, own}, ""},
		{"of two minds", []survey.Trace{electric, water, electric, electric, water}, ""},
		{"none", nil, ""},
	} {
		if got := hums(c.traces); got != c.want {
			t.Errorf("%s: %q hums, want %q", c.name, got, c.want)
		}
	}
}

// Separations that are small one by one tell together of a current in the
// neighbour: readings a few metres apart share it.
func TestSeparationsTogether(t *testing.T) {
	records := []survey.Record{
		line("G", "gas", "S1", orb.Point{0, 0}, orb.Point{100, 0}), line("W", "water", "S1", orb.Point{0, 1.2}, orb.Point{100, 1.2}),
	}
	distrusted := func(separations func(i int) float64) int {
		w := walk("gas", 1)
		w.depth, w.current = 1.6, 0.02
		w.to(orb.Point{2, 0}, orb.Point{98, 0}, 1)
		for i := range w.tr.Readings {
			r := &w.tr.Readings[i]
			r.Hookup, r.FrequencyHz, r.SeparationM = survey.HookupInduction, 8192, separations(i)
		}
		n := 0
		for _, m := range Traces(town(records, w), nil, ordinary)[0] {
			if m.Status == survey.StatusUntrusted {
				n++
			}
		}
		return n
	}
	if n := distrusted(func(int) float64 { return 0.02 }); n > 0 {
		t.Errorf("%d of 97 readings with clean separations distrusted", n)
	}
	if n := distrusted(func(i int) float64 { return 0.12 + 0.04*float64(i%2) }); n < 90 {
		t.Errorf("%d of 97 readings distrusted whose separations agree on a current beside", n)
	}
}
