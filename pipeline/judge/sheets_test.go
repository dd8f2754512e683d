package judge

import (
	"math"
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
)

// visited is a visit of a straight line that runs in a direction, degrees from north.
func visited(record int, deg, offsetM float64) visit {
	east, north := math.Sincos((deg + 90) * math.Pi / 180)
	return visit{record: record, crew: "blue", readings: 10, offsetM: offsetM, east: east, north: north, ee: east * east, en: east * north, nn: north * north}
}

func TestAcross(t *testing.T) {
	for _, tt := range []struct {
		name string
		degs []float64
		want float64 // direction across, degrees from north up to 180; NaN the lines run every way
	}{
		{"one line north", []float64{0}, 90},
		{"one line north-east", []float64{45}, 135},
		{"against each other", []float64{30, 210}, 120},
		// 12 degrees to either side: sin^2 is 0.043 of the squares.
		{"much the same way", []float64{12, -12}, 90},
		// 14 degrees: 0.059.
		{"not quite", []float64{14, -14}, math.NaN()},
		{"a crossing", []float64{0, 90}, math.NaN()},
		{"one of many runs across", []float64{0, 0, 0, 0, 0, 0, 90}, math.NaN()},
		{"nothing", nil, math.NaN()},
	} {
		var lines [][]visit
		for i, deg := range tt.degs {
			lines = append(lines, []visit{visited(i, deg, 0)})
		}
		east, north, ok := across(lines)
		if ok == math.IsNaN(tt.want) {
			t.Errorf("%s: %t", tt.name, ok)
		}
		if deg := math.Mod(math.Atan2(east, north)*180/math.Pi+360, 180); ok && math.Abs(deg-tt.want) > 1e-9 {
			t.Errorf("%s: across is %.1f, want %.1f", tt.name, deg, tt.want)
		}
	}
}

// Lines that run north show 0.9 m to the east. What a sheet's vector has along them
// is said to be no observation, and names no sheet.
func TestShiftAlongTheLines(t *testing.T) {
	for _, tt := range []struct {
		name        string
		degs        []float64
		east, north float64
		significant bool
		says        []string
	}{
		{"across", []float64{0, 0, 0}, 0.9, 0.3, true, []string{
			"3 of 3 surveyed lines of drawing S that could show it lie 0.90 m west of where 1 crew found them (u 0.10 m): add 0.90 m to the east.",
			"that the vector has 0.30 m to the north there (u 0.50 m) is no observation",
		}},
		{"to the west and south", []float64{0, 0, 0}, -0.9, -0.3, true, []string{"lie 0.90 m east of", "0.30 m to the south there"}},
		{"along", []float64{0, 0, 0}, 0.05, 1.9, false, []string{
			"No shift worth naming across its lines (0.05 m, u 0.10 m).", "that the vector has 1.90 m to the north there",
		}},
		// 0.3 m + 1.645 u are 0.4645 m: the rate of 0.05.
		{"hardly across", []float64{0, 0, 0}, 0.46, 1.9, false, nil},
		{"just across", []float64{0, 0, 0}, 0.47, 1.9, true, nil},
		{"a line the other way", []float64{0, 0, 90}, 0.05, 1.9, true, []string{"1 of 1 surveyed line of drawing S that could show it lie 1.90 m south of"}},
	} {
		m := &survey.Model{
			Effects: []survey.Effect{
				{Kind: survey.EffectSheet, Name: "S", Readings: 30, Records: 3, Significant: true, V: survey.Vector{East: tt.east, North: tt.north, EE: 0.01, NN: 0.25}},
				{Kind: survey.EffectSession, Name: "one", Readings: 30},
			},
		}
		f := &field{m: m, o: &Options{NameM: 0.3, FalseDiscovery: 0.05}, bySheet: map[string][][]visit{}, checks: make([]checkErrors, 2)}
		for i, deg := range tt.degs {
			v := visited(i, deg, 0)
			v.session, v.offsetM = 1, v.shows(tt.east, tt.north)
			f.bySheet["S"] = append(f.bySheet["S"], []visit{v})
		}
		e := m.Effects[0]
		e.Significant = f.worthNaming(&e)
		if e.Significant != tt.significant {
			t.Errorf("%s: significant %t", tt.name, e.Significant)
		}
		got := f.explain(&e, 0, nil)
		for _, says := range tt.says {
			if !strings.Contains(got, says) {
				t.Errorf("%s: %s\nwant: %s", tt.name, got, says)
			}
		}
	}
}
