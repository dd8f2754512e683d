package rank

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// city is records of 40 m, thirty a sheet, of which a part was surveyed, with a
// made-up model: sheets and lines off by normal errors, some sheets far off.
func city(records int) *town {
	w := &town{}
	rng := rand.New(rand.NewPCG(1, 2))
	side := int(math.Sqrt(float64(records)))
	var shift [2]float64
	surveyed := 0
	for i := range records {
		sheet := i / 30
		if i%30 == 0 {
			size := 0.12
			if rng.Float64() < 0.15 {
				size = 1.2
			}
			shift = [2]float64{size * rng.NormFloat64(), size * rng.NormFloat64()}
			w.m.Effects = append(w.m.Effects, survey.Effect{
				Kind: survey.EffectSheet, Name: fmt.Sprint("S-", sheet), Records: 30,
				V: survey.Vector{EE: 0.25, NN: 0.25},
			})
			surveyed = rng.IntN(16)
		}
		x, y := 50*float64(i%side), 50*float64(i/side)
		line := orb.LineString{{x, y}, {x + 40, y}}
		along := rng.Float64() < 0.5
		if along {
			line[1] = orb.Point{x, y + 40}
		}
		w.s.Records = append(w.s.Records, survey.Record{
			Source: "map", ID: fmt.Sprint(i), Utility: []string{"water", "gas"}[i%2], Sheet: fmt.Sprint("S-", sheet), Installed: 1950 + i%70,
			Scale: 1, Parts: orb.MultiLineString{line},
		})
		w.m.Sheet = append(w.m.Sheet, sheet)
		own := 0.1 * rng.NormFloat64()
		if rng.Float64() < 0.08 {
			own = rng.NormFloat64()
		}
		j := survey.Judgement{Record: i, LengthM: 40, Tolerance: survey.Tolerance{HorizontalM: 0.5}, Position: survey.VerdictUnsurveyed}
		var p survey.Profile
		e := &w.m.Effects[sheet]
		if i%30 < surveyed {
			e.Readings += 10
			e.V = survey.Vector{East: shift[0], North: shift[1], EE: 0.01 / float64(i%30+1), NN: 0.01 / float64(i%30+1)}
			j.Stretches = []survey.Stretch{{FromM: 0, ToM: 40, Verdict: survey.VerdictWithin}}
		}
		for k := range 5 {
			n := survey.Node{StationM: 10 * float64(k), D: survey.Vector{East: e.V.East, North: e.V.North}, OffsetU: 0.3}
			if i%30 < surveyed {
				n.D, n.OffsetU, n.Readings = survey.Vector{East: shift[0] + own, North: shift[1] + own}, 0.03, 2
			}
			p.Nodes = append(p.Nodes, n)
		}
		w.m.Profiles = append(w.m.Profiles, p)
		w.js = append(w.js, j)
	}
	return w
}

func BenchmarkStretches(b *testing.B) {
	for _, n := range []int{20_000, 200_000, 2_000_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			if n > 200_000 && testing.Short() {
				b.Skip("gigabytes")
			}
			w := city(n)
			b.ReportAllocs()
			b.ResetTimer()
			for b.Loop() {
				rs, _ := Stretches(&w.s, w.js, &w.m, options())
				b.ReportMetric(float64(len(rs)), "stretches")
			}
		})
	}
}
