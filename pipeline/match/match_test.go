package match

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

var nan = math.NaN()

func line(id, utility, sheet string, pts ...orb.Point) survey.Record {
	return survey.Record{
		Source: "map", ID: id, Utility: utility, Sheet: sheet, Conductor: survey.ConductorPipe,
		Parts: orb.MultiLineString{pts}, Scale: 1, DiameterM: nan, CoverM: nan,
	}
}

// walker makes a trace's readings along true positions.
type walker struct {
	rng     *rand.Rand
	noiseM  float64
	current float64
	depth   float64
	tr      survey.Trace
}

func walk(utility string, seed uint64) *walker {
	return &walker{
		rng: rand.New(rand.NewPCG(seed, 1)), noiseM: 0.03, current: nan, depth: nan,
		tr: survey.Trace{ID: fmt.Sprintf("field#%d", seed), Utility: utility},
	}
}

// to walks from a to b with a reading every step metres, the first at a.
func (w *walker) to(a, b orb.Point, step float64) *walker {
	l := dist(a, b)
	for at := 0.0; at <= l+1e-9; at += step {
		t := at / l
		w.tr.Readings = append(w.tr.Readings, survey.Reading{
			Point: orb.Point{
				a[0] + t*(b[0]-a[0]) + w.noiseM*w.rng.NormFloat64(),
				a[1] + t*(b[1]-a[1]) + w.noiseM*w.rng.NormFloat64(),
			},
			SigmaM: w.noiseM, DepthM: w.depth, CurrentA: w.current, FrequencyHz: nan, SeparationM: nan, ElevationM: nan,
			Mode: survey.ModeActive,
		})
	}
	return w
}

func town(records []survey.Record, walkers ...*walker) *survey.Survey {
	s := &survey.Survey{Records: records}
	for _, w := range walkers {
		s.Traces = append(s.Traces, w.tr)
	}
	return s
}

// on is the runs of record and status along a trace: "A used x5, B foreign x3".
func on(s *survey.Survey, ms []survey.Match) string {
	var words []string
	n := 0
	for i, m := range ms {
		w := string(m.Status)
		if m.Record >= 0 {
			w = s.Records[m.Record].ID + " " + w
		}
		if i > 0 && strings.HasPrefix(words[len(words)-1], w+" x") {
			n++
			words[len(words)-1] = fmt.Sprintf("%s x%d", w, n)
			continue
		}
		n = 1
		words = append(words, w+" x1")
	}
	return strings.Join(words, ", ")
}

func TestTraces(t *testing.T) {
	// Two lines 1.2 m apart, and what goes wrong beside them.
	pair := []survey.Record{
		line("G", "gas", "S1", orb.Point{0, 0}, orb.Point{100, 0}),
		line("W", "water", "S1", orb.Point{0, 1.2}, orb.Point{100, 1.2}),
	}
	stepUp := walk("gas", 3)
	stepUp.current, stepUp.depth = 0.02, 0.9
	stepUp.to(orb.Point{0, 0}, orb.Point{40, 0}, 2)
	stepUp.current, stepUp.depth = 0.05, 1.4
	stepUp.to(orb.Point{42, 1.2}, orb.Point{58, 1.2}, 2)
	stepUp.current, stepUp.depth = 0.02, 0.9
	stepUp.to(orb.Point{60, 0}, orb.Point{100, 0}, 2)

	for _, c := range []struct {
		name    string
		records []survey.Record
		walker  *walker
		want    string
	}{
		{"on its line", pair, walk("gas", 1).to(orb.Point{0, 0.1}, orb.Point{100, 0.1}, 2), "G used x51"},
		{"every half metre", pair, walk("gas", 1).to(orb.Point{0, 0.1}, orb.Point{100, 0.1}, 0.5), "G used x201"},
		{"every 25 metres", pair, walk("gas", 1).to(orb.Point{0, 0.1}, orb.Point{100, 0.1}, 25), "G used x5"},
		{"against the record", pair, walk("gas", 2).to(orb.Point{100, 0}, orb.Point{0, 0}, 2), "G used x51"},
		{"jump with a rise in current", pair, stepUp, "G used x21, W foreign x9, G used x21"},
		{"no record near", pair, walk("gas", 4).to(orb.Point{0, 30}, orb.Point{50, 30}, 2), "unmapped x26"},
		{"an unmapped gas line beside water", pair[1:], walk("gas", 5).to(orb.Point{0, -3.5}, orb.Point{80, -3.5}, 2), "unmapped x41"},
		{"unlabelled between two lines", pair, walk("", 6).to(orb.Point{0, 0.6}, orb.Point{100, 0.6}, 2), ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := town(c.records, c.walker)
			ms := Traces(s, nil, Options{})[0]
			got := on(s, ms)
			if c.want == "" {
				if m := ms[10]; m.Status != survey.StatusAmbiguous {
					t.Errorf("got %s, want all ambiguous", got)
				}
				return
			}
			if got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
				for i, m := range ms {
					t.Logf("%d %v p=%.3f %s %s", i, c.walker.tr.Readings[i].Point, m.Probability, m.Status, m.Reason)
				}
			}
		})
	}
}

// enumerate is the slow exact way: it weighs every path through the states.
func enumerate(c *chain, start []float64) (posterior [][]float64, best []int) {
	n := len(c.obs)
	posterior = make([][]float64, n)
	for i := range posterior {
		posterior[i] = make([]float64, c.states(i))
	}
	total, top := 0.0, -1.0
	path := make([]int, n)
	var walk func(i int, w float64)
	walk = func(i int, w float64) {
		if i == n {
			total += w
			for j, s := range path {
				posterior[j][s] += w
			}
			if w > top {
				top, best = w, slices.Clone(path)
			}
			return
		}
		for s := range c.states(i) {
			f := 0.0
			if i == 0 {
				f = start[s]
			} else {
				f = c.weights[c.wFrom[i]+path[i-1]*c.states(i)+s]
			}
			path[i] = s
			walk(i+1, w*f)
		}
	}
	walk(0, 1)
	for i := range posterior {
		for s := range posterior[i] {
			posterior[i][s] /= total
		}
	}
	return posterior, best
}
