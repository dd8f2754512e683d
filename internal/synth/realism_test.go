package synth

import (
	"math"
	"slices"
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
)

// tally counts over towns what a town should be like.
type tally struct {
	records, readings, shifted, sheets  float64
	jumped, distorted                   float64
	metres, covered                     float64
	faults                              map[Fault]int
	modes                               map[survey.Mode]int
	missing, twice, abandoned, blank    int
	honest, dishonest, passiveUnknown   int
	turned, scaled, blunders, wrongBase int
	networkErrors, control, holes       int
	twoCrews, overSeveral, rings        int
	emptySwept                          int
	rises                               []float64 // current after a jump over current before
	depth                               [2][]float64
}

func (c *tally) add(town *Town) {
	s, truth := town.Survey(), &town.Truth
	c.records += float64(len(s.Records))
	for _, x := range truth.Sheets {
		c.sheets++
		if math.Hypot(x.East, x.North) > 0.45 {
			c.shifted++
		}
		c.turned += count(x.Turn != 0)
		c.scaled += count(x.Scale != 1)
		c.blunders += count(x.Blunder != "")
	}
	for i := range truth.Records {
		r := &truth.Records[i]
		c.twice += count(r.DuplicateOf != "")
		c.abandoned += count(r.Abandoned)
		c.blank += count(s.Records[i].Sheet == "")
		for _, f := range r.Faults {
			c.faults[f]++
		}
	}
	for i := range truth.Lines {
		l := &truth.Lines[i]
		c.missing += count(l.Missing)
		c.rings += count(l.Points[0] == l.Points[len(l.Points)-1])
		c.metres += length(l.Points)
	}
	for _, x := range truth.Sessions {
		c.wrongBase += count(x.WrongBase)
	}
	c.networkErrors += count(truth.Sources[0].East != 0)
	c.control += count(len(s.Checks) > 0)
	c.holes += count(len(town.Holes) > 0)
	for _, a := range truth.Areas {
		c.emptySwept += len(a.Empty)
	}
	c.walks(town)
}

// walks counts what the crews did.
func (c *tally) walks(town *Town) {
	s, truth := town.Survey(), &town.Truth
	covered := map[[2]int]bool{} // line and stretch of 5 m
	crews := map[int]map[string]bool{}
	for i := range s.Traces {
		tr, tt := &s.Traces[i], &truth.Traces[i]
		lines := map[int]bool{}
		c.modes[tr.Readings[0].Mode]++
		c.passiveUnknown += count(tr.Readings[0].Mode == survey.ModePassive && tr.Utility == "")
		previous, at := -1, 0.0
		for k := range tr.Readings {
			r, x := &tr.Readings[k], &tt.Readings[k]
			c.readings++
			lines[x.Target] = true
			c.distorted += float64(count(x.Distorted))
			if x.Float {
				stated := r.SigmaM
				c.honest += count(stated > 0.1)
				c.dishonest += count(stated < 0.05)
			}
			line := &truth.Lines[x.Target]
			station, _ := foot(line.Points, stations(line.Points), x.Pole)
			if previous == x.Target && math.Abs(station-at) < 35 {
				for b := int(min(at, station) / 5); b <= int(max(at, station)/5); b++ {
					covered[[2]int{x.Target, b}] = true
				}
			}
			previous, at = x.Target, station
			if x.Jumped {
				c.jumped++
				if k > 0 && !tt.Readings[k-1].Jumped && r.Mode == survey.ModeActive {
					c.rises = append(c.rises, r.CurrentA/tr.Readings[k-1].CurrentA)
				}
			} else if r.Mode == survey.ModeActive && math.Abs(x.ShiftM) < 0.002 && !math.IsNaN(r.DepthM) {
				real := x.CoverM + line.DiameterM/2
				if line.Conductor == survey.ConductorWire {
					real = x.CoverM
				}
				switch {
				case real < 0.9:
					c.depth[0] = append(c.depth[0], r.DepthM-real)
				case real > 1.3:
					c.depth[1] = append(c.depth[1], r.DepthM-real)
				}
			}
		}
		c.overSeveral += count(len(lines) > 1)
		for l := range lines {
			if crews[l] == nil {
				crews[l] = map[string]bool{}
			}
			crews[l][tr.Crew] = true
		}
	}
	for _, who := range crews {
		c.twoCrews += count(len(who) > 1)
	}
	c.covered += 5 * float64(len(covered))
}

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// What the hard towns are like, over seeds that nothing was chosen by. The
// limits are what the difficulty set was made for (common practice, no source).
func TestHardTownsAreOrdinaryTowns(t *testing.T) {
	const towns = 16
	c := tally{faults: map[Fault]int{}, modes: map[survey.Mode]int{}}
	p := paramsOf(t, "hard")
	for seed := range uint64(towns) {
		c.add(Make(1000+seed, p))
	}
	for _, x := range []struct {
		what             string
		got, least, most float64
	}{
		{"records in a town", c.records / towns, 250, 350},
		{"readings in a town", c.readings / towns, 5000, 10000},
		{"share of sheets off by over 0.45 m", c.shifted / c.sheets, 0.15, 0.30},
		{"share of readings jumped", c.jumped / c.readings, 0.01, 0.03},
		{"share of readings distorted", c.distorted / c.readings, 0.02, 0.15},
		{"share of the length walked", c.covered / c.metres, 0.4, 0.6},
	} {
		t.Logf("%s: %.3f", x.what, x.got)
		if !(x.got >= x.least && x.got <= x.most) {
			t.Errorf("%s: %.3f, want %v to %v", x.what, x.got, x.least, x.most)
		}
	}
	for what, n := range map[string]int{
		"lines on no map": c.missing, "records drawn twice": c.twice, "records of nothing": c.abandoned, "blank sheets": c.blank,
		"turned sheets": c.turned, "scaled sheets": c.scaled, "frame blunders": c.blunders, "wrong bases": c.wrongBase,
		"towns with a network error": c.networkErrors, "towns with control": c.control, "towns with test holes": c.holes,
		"lines walked by two crews": c.twoCrews, "traces over several lines": c.overSeveral, "closed rings": c.rings,
		"honest floats": c.honest, "dishonest floats": c.dishonest, "passive traces of unknown utility": c.passiveUnknown,
		"sonde traces": c.modes[survey.ModeSonde], "passive traces": c.modes[survey.ModePassive], "records of nothing where somebody swept": c.emptySwept,
	} {
		if n == 0 {
			t.Errorf("no %s in %d towns", what, towns)
		}
	}
	for name, n := range map[string]int{"a network error": c.networkErrors, "control": c.control, "test holes": c.holes} {
		if n == towns {
			t.Errorf("every town has %s", name)
		}
	}
	for _, f := range []Fault{FaultOwnShift, FaultBump, FaultKink, FaultWrongSide, FaultCopied, FaultCover, FaultCoverUnit, FaultCoverPoint} {
		if c.faults[f] == 0 {
			t.Errorf("no %s in %d towns", f, towns)
		}
	}
}

// A crew that goes over to a neighbour reads more current there than before.
func TestJumpsRaiseTheCurrent(t *testing.T) {
	c := tally{faults: map[Fault]int{}, modes: map[survey.Mode]int{}}
	p := paramsOf(t, "hard")
	for seed := range uint64(16) {
		c.add(Make(2000+seed, p))
	}
	rises := slices.DeleteFunc(c.rises, math.IsNaN)
	slices.Sort(rises)
	if len(rises) < 30 {
		t.Fatalf("only %d jumps", len(rises))
	}
	higher := 0
	for _, r := range rises {
		higher += count(r > 1)
	}
	if median := rises[len(rises)/2]; median < 1.15 || float64(higher) < 0.65*float64(len(rises)) {
		t.Errorf("%d of %d jumps raise the current, by a median factor of %.2f", higher, len(rises), median)
	}
}

// Depth errors grow with depth, without a neighbour's help: the two coils do it.
func TestDepthErrorsGrowWithDepth(t *testing.T) {
	c := tally{faults: map[Fault]int{}, modes: map[survey.Mode]int{}}
	p := paramsOf(t, "hard")
	for seed := range uint64(8) {
		c.add(Make(3000+seed, p))
	}
	if len(c.depth[0]) < 200 || len(c.depth[1]) < 200 {
		t.Fatalf("%d shallow and %d deep readings", len(c.depth[0]), len(c.depth[1]))
	}
	shallow, deep := rms(c.depth[0]), rms(c.depth[1])
	if deep < 1.6*shallow {
		t.Errorf("depth errors of %.3f m below 0.9 m of depth, %.3f m beyond 1.3 m", shallow, deep)
	}
	if shallow > 0.08 || deep > 0.2 {
		t.Errorf("depth errors of %.3f and %.3f m without a neighbour: a receiver is better", shallow, deep)
	}
}
