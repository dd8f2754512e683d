package judge

import (
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// Which covers tell of a sheet: recorded, read, and sure to 0.25 m.
func TestToldCovers(t *testing.T) {
	for _, tt := range []struct {
		recordedM, u float64
		readings     int
		want         bool
	}{
		{1, 0.25, 1, true}, {1, 0.26, 9, false}, {1, 0.1, 0, false}, {math.NaN(), 0.1, 9, false},
	} {
		s := &survey.Survey{Records: []survey.Record{{CoverM: tt.recordedM, Parts: orb.MultiLineString{{{0, 0}, {10, 0}}}}}}
		m := &survey.Model{Profiles: []survey.Profile{{Cover: survey.Cover{Readings: tt.readings, U: tt.u}}}}
		if got := len(toldCovers(s, m)) == 1; got != tt.want {
			t.Errorf("%+v: %t", tt, got)
		}
	}
}

// What covers under a mistake differ by, from the definitions of units and of the
// points that a depth may be to: 1 ft is 0.3048 m, 1 in 2.54 cm.
func TestWhatMistakesDifferBy(t *testing.T) {
	for i, want := range []float64{
		-2.0856,      // 3 ft are 0.9144 m, recorded as 3 m
		3/0.3048 - 3, // 3 m, recorded as 3 ft
		3*2.54 - 3,   // inches taken for centimetres
		3/2.54 - 3,   // centimetres taken for inches
		-0.4, -0.2,   // a line of 0.4 m: to the invert, to the centre
		0.4, 0.2, // the other way round
	} {
		if got := coverMistakes[i].differs(3, 0.4); math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %.4f, want %.4f", coverMistakes[i].words, got, want)
		}
	}
	if !math.IsNaN(coverMistakes[4].differs(3, math.NaN())) {
		t.Error("a diameter that nobody knows says something")
	}
}

// Two covers name no pattern; three do. The likelihood of a cover is a mixture of
// one recorded right and one recorded anyhow: at 0 and u = 0.09 m that is
// 0.9/(0.15 sqrt(2 pi)) + 0.1/(0.60671 sqrt(2 pi)) = 2.4594.
func TestWhenAPatternIsNamed(t *testing.T) {
	c := toldCover{u: 0.09}
	if got := c.likely(0); math.Abs(got-math.Log(2.4594)) > 1e-3 {
		t.Errorf("log density %.4f, want %.4f", got, math.Log(2.4594))
	}
	feet := []recorded{{"gas", "S", 3, 0.1, 0.95}, {"gas", "S", 2.5, 0.1, 0.70}, {"gas", "S", 4, 0.1, 1.25}}
	for n, want := range []int{0, 0, 0, 1} {
		if got := len(coverPatterns(town(feet[:n]))); got != want {
			t.Errorf("%d covers: %d patterns, want %d", n, got, want)
		}
	}
	blank := []recorded{{"gas", "", 3, 0.1, 0.95}, {"gas", "", 2.5, 0.1, 0.70}, {"gas", "", 4, 0.1, 1.25}}
	if got := coverPatterns(town(blank)); len(got) != 0 {
		t.Errorf("records of no sheet have something in common: %s", got[0].Sentence)
	}
	two := []recorded{{"gas", "S", 3, 0.1, 0.95}, {"water", "S", 2.5, 0.1, 0.70}, {"gas", "S", 4, 0.1, 1.25}}
	for _, rs := range [][]recorded{feet, two} {
		f := coverPatterns(town(rs))[0]
		if want := map[bool]string{true: "gas", false: ""}[rs[1].utility == "gas"]; f.Utility != want || len(f.Records) != 3 || f.Readings != 30 || f.Sheet != "S" {
			t.Errorf("%+v", f)
		}
	}
	// A diameter that is not known takes a record out of what diameters explain.
	unknown := []recorded{{"sewer", "S", 1.9, 0.6, 1.28}, {"sewer", "S", 1.7, 0.3, 1.42}, {"sewer", "S", 2.2, 0.9, 1.3}, {"sewer", "S", 1.5, 0.4, 1.12}, {"sewer", "S", 1.5, math.NaN(), 1.5}}
	ps := coverPatterns(town(unknown))
	if len(ps) != 1 || !strings.Contains(ps[0].Sentence, "depths to the invert") {
		t.Fatalf("%+v", ps)
	}
	if known := coverPatterns(town(unknown[:4])); math.Abs(ps[0].Probability-known[0].Probability) > 0.01 {
		t.Errorf("a record that tells nothing of the invert changes its probability from %.4f to %.4f", known[0].Probability, ps[0].Probability)
	}
	// One recorded right speaks for the invert, by its cover alone: a surface would have
	// shifted it too, whatever its diameter.
	right := []recorded{{"sewer", "S", 1.9, 0.4, 1.5}, {"sewer", "S", 1.7, 0.4, 1.3}, {"sewer", "S", 2.2, 0.4, 1.8}, {"sewer", "S", 1.5, math.NaN(), 1.5}}
	if without, with := coverPatterns(town(right[:3])), coverPatterns(town(right)); with[0].Probability < without[0].Probability+0.1 {
		t.Errorf("a record that a surface would have shifted changes the invert's probability from %.4f to %.4f", without[0].Probability, with[0].Probability)
	}
	// What a sheet's pattern explains makes no surface with what lies around.
	sheet := []recorded{{"gas", "S", 2, 0.1, 1.5}, {"gas", "S", 1.9, 0.1, 1.4}, {"gas", "S", 1.8, 0.1, 1.3}, {"gas", "S", 1.7, 0.1, 1.2}}
	around := []recorded{{"water", "A", 1.5, 0.1, 1}, {"sewer", "B", 1.6, 0.1, 1.1}, {"electric", "C", 1.4, 0.1, 0.9}}
	if ps = coverPatterns(town(append(sheet, around...))); len(ps) != 1 || ps[0].Sheet != "S" {
		t.Errorf("%+v", ps)
	}
}

// What else a pattern may be is said from a tenth on; which way a surface went.
func TestPatternWords(t *testing.T) {
	shares := make([]float64, len(coverMistakes)+1)
	shares[0], shares[5], shares[6] = 0.6, 0.1, 0.099
	looks, p := patternWords(shares, -0.4)
	if want := "those of a surface 0.40 m higher than now, or otherwise measured (probability 0.60), or depths to the invert, a diameter more than the cover (probability 0.10)"; looks != want || p != 0.6 {
		t.Errorf("%s, %v", looks, p)
	}
	if looks, _ = patternWords(shares, 0.4); !strings.HasPrefix(looks, "those of a surface 0.40 m lower") {
		t.Error(looks)
	}
}

// A depth finding under a pattern says what it looks like. Only a surface makes it
// inseparable, and only what was put down to the record; other findings stay.
func TestExplainDepths(t *testing.T) {
	sheet := survey.Finding{Kind: survey.KindCoverPattern, Record: -1, Records: []int{0}, Attribution: survey.AttributionRecord, Sentence: "Feet."}
	surface := survey.Finding{Kind: survey.KindCoverPattern, Record: -1, Records: []int{1, 2}, Sentence: "Raised."}
	fs := explainDepths([]survey.Finding{
		{Kind: survey.KindDepth, Record: 0, Attribution: survey.AttributionRecord, Sentence: "A."},
		{Kind: survey.KindDepth, Record: 1, Attribution: survey.AttributionRecord, Sentence: "B."},
		{Kind: survey.KindDepth, Record: 2, Sentence: "C."},
		{Kind: survey.KindPosition, Record: 1, Attribution: survey.AttributionRecord, Sentence: "D."},
		{Kind: survey.KindDepth, Record: 3, Attribution: survey.AttributionRecord, Sentence: "E."},
	}, []survey.Finding{sheet, surface})
	for i, want := range []survey.Finding{
		{Sentence: "A. Feet.", Attribution: survey.AttributionRecord},
		{Sentence: "B. Raised.", Attribution: survey.AttributionInseparable},
		{Sentence: "C. Raised."},
		{Sentence: "D.", Attribution: survey.AttributionRecord},
		{Sentence: "E.", Attribution: survey.AttributionRecord},
		{Sentence: "Feet.", Attribution: survey.AttributionRecord},
		{Sentence: "Raised."},
	} {
		if fs[i].Sentence != want.Sentence || fs[i].Attribution != want.Attribution {
			t.Errorf("%d: %q, %q; want %q, %q", i, fs[i].Sentence, fs[i].Attribution, want.Sentence, want.Attribution)
		}
	}
}

// When a surface is behind covers that differ alike: records of two utilities and
// two sheets or more, with any one of them left out, within 50 m.
func TestRegradedSurface(t *testing.T) {
	all := []recorded{{"gas", "A", 0.9, 0.1, 1.4}, {"water", "B", 1.2, 0.1, 1.7}, {"sewer", "C", 1.8, 0.3, 2.3}, {"electric", "D", 0.7, 0.1, 1.2}, {"communication", "E", 0.6, 0.1, 1.1}}
	with := func(change func(rs []recorded)) []recorded {
		rs := append([]recorded(nil), all...)
		change(rs)
		return rs
	}
	by := func(differs float64) []recorded {
		return with(func(rs []recorded) {
			for i := range rs {
				rs[i].read = rs[i].recordedM + differs
			}
		})
	}
	gasBut := func(differs float64) []recorded {
		rs := append(by(differs), by(differs)[4])
		for i := range rs[:4] {
			rs[i].utility = "gas"
		}
		rs[4].utility, rs[5].utility, rs[5].sheet = "water", "water", "F"
		return rs
	}
	for _, tt := range []struct {
		name  string
		rs    []recorded
		apart float64 // between the places of the records
		want  int     // records under the surest; 0 none
		says  string
	}{
		{"raised", all, 0, 5, "5 surveyed records of 5 utilities and 5 sheets within 50 m differ alike, by +0.49 m of cover: a surface that was raised"},
		{"lowered", by(-0.4), 0, 5, "lowered"},
		{"four of them", all[:4], 0, 4, "4 utilities"},
		{"three", all[:3], 0, 0, ""},
		{"one stands off by 0.29 m", with(func(rs []recorded) { rs[0].read += 0.25 }), 0, 5, ""},
		{"one differs otherwise", with(func(rs []recorded) { rs[0].read = 0.9 }), 0, 4, ""},
		{"by too little to be one", by(0.15), 0, 0, ""},
		{"by too little, surely", append(by(0.15), append(by(0.16), by(0.14)...)...), 0, 0, ""},
		{"by a little more", by(0.3), 0, 5, ""},
		{"by a little, and few", by(0.25)[:4], 0, 0, ""},
		{"40 m from each other", all[:4], 13, 4, ""},
		{"too far from each other", all[:4], 60, 0, ""},
		{"by too little, though one differs by enough", append(by(0.17)[:4], append(by(0.17), append(by(0.17), by(0.22)[4])...)...), 0, 0, ""},
		{"the surest of places that overlap", append(by(0.5), by(0.5)[:2]...), 20, 5, ""}, // 0 to 40 m around the third, or the fifth
		{"hardly without one utility", gasBut(0.28), 0, 0, ""},                            // the waters alone are likelier by 14 to 1, which one of two shares by chance
		{"without one utility too", gasBut(0.5), 0, 6, ""},
		{"one utility", with(func(rs []recorded) {
			for i := range rs {
				rs[i].utility = "gas"
			}
		}), 0, 0, ""},
		{"one sheet but for one", with(func(rs []recorded) {
			for i := range rs[1:] {
				rs[i].sheet = "A"
			}
			rs[4].read = rs[4].recordedM
		}), 0, 0, ""},
	} {
		s, m := town(tt.rs)
		for i := range s.Records {
			y := tt.apart * float64(i)
			s.Records[i].Parts = orb.MultiLineString{{{0, y}, {10, y}}}
		}
		told := toldCovers(s, m)
		fs := regraded(s, told)
		n := 0
		if len(fs) > 0 {
			n = len(fs[0].Records)
		}
		if n != tt.want || len(fs) > 1 || len(fs) == 1 && !strings.Contains(fs[0].Sentence, tt.says) {
			t.Errorf("%s: %d findings, %d records under it, want %d: %+v", tt.name, len(fs), n, tt.want, fs)
		}
	}
	// Covers that a sheet's pattern explains are under no surface, and tell of none.
	gas := with(func(rs []recorded) { rs[1].utility, rs[2].utility, rs[3].utility = "gas", "gas", "gas" })
	gas = append(gas, recorded{"water", "F", 0.6, 0.1, 1.1}, recorded{"sewer", "G", 0.6, 0.1, 1.1})
	for _, tt := range []struct {
		rs    []recorded
		under []int
	}{{all, []int{0, 1}}, {gas, []int{4, 5, 6}}} {
		s, m := town(tt.rs)
		told := toldCovers(s, m)
		if len(regraded(s, told)) != 1 {
			t.Error("none where no sheet's pattern explains any")
		}
		told = toldCovers(s, m)
		for _, i := range tt.under {
			told[i].under = true
		}
		if fs := regraded(s, told); len(fs) != 0 {
			t.Errorf("%+v", fs)
		}
	}
}

// Of five records only the one in the middle has all others around: it must differ
// itself, and by what no sheet's pattern explains.
func TestMiddleOfARegradedSurface(t *testing.T) {
	at := []orb.Point{{0, 0}, {40, 0}, {0, 40}, {-40, 0}, {0, -40}}
	for _, tt := range []struct {
		differs float64
		under   bool
		want    int
	}{{0.5, false, 5}, {0.21, false, 5}, {0.19, false, 0}, {0.5, true, 0}} {
		s, m := town([]recorded{{"gas", "A", 0.9, 0.1, 0.9 + tt.differs}, {"water", "B", 1.2, 0.1, 1.7}, {"sewer", "C", 1.8, 0.3, 2.3}, {"electric", "D", 0.7, 0.1, 1.2}, {"communication", "E", 0.6, 0.1, 1.1}})
		for i, p := range at {
			s.Records[i].Parts = orb.MultiLineString{{{p[0] - 5, p[1]}, {p[0] + 5, p[1]}}}
		}
		told := toldCovers(s, m)
		told[0].under = tt.under
		n := 0
		if fs := regraded(s, told); len(fs) > 0 {
			n = len(fs[0].Records)
		}
		if n != tt.want {
			t.Errorf("%+v: %d records under it", tt, n)
		}
	}
}
