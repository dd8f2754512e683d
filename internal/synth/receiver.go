package synth

import (
	"math"
	"slices"

	"github.com/asfound/asfound/internal/synth/physics"
	"github.com/asfound/asfound/pipeline/survey"
)

// receiver is what one crew carries and how it works.
type receiver struct {
	name        string
	match       float64 // gain of the upper coil against the lower
	sweepM      float64 // looked at to each side of the last mark
	attention   float64 // how much louder a second peak must be
	separations bool    // peak and null are written down apart
}

// sensed is one reading before it has a position.
type sensed struct {
	stationM  float64
	across    float64 // of the pole, + right of walking, off the target line
	along     float64 // hand along the line
	depthM    float64
	currentA  float64
	separate  float64
	line      int     // whose field it was
	lineAt    float64 // of that line, + right of walking
	lineCover float64
	shiftM    float64
	jumped    bool
	lost      bool // no peak: no reading
}

// coupling is how much of the target's current a neighbour carries along a walk.
type coupling struct {
	base   float64
	bleeds [][3]float64 // from, to, ratio
}

// at is the ratio of the neighbour's current to the target's at a station. Its
// sign is the sign of the base: with or against the target.
func (c *coupling) at(station float64) float64 {
	k := math.Abs(c.base)
	for _, b := range c.bleeds {
		ramp := min(max(min(station-b[0], b[1]-station)/3, 0), 1)
		k += ramp * (b[2] - k)
	}
	return math.Copysign(k, c.base)
}

// sensor walks one walk with one receiver.
type sensor struct {
	topo  *topology
	p     Signal
	seed  uint64
	index int // of the walk
	walk  *walk
	rx    *receiver
	d     dice
	bias  float64

	currentA  float64
	fadeM     float64
	taps      []float64 // share that goes on after each tap
	couplings map[int]*coupling
	own       map[int]bool // lines of the path
	tracked   float64      // where the crew last found the signal, off the target
	fields    []physics.Line
	at        []int     // per field: true line
	covers    []float64 // per field
	ids       []int32   // of segments near, reused
}

func newSensor(topo *topology, p Params, seed uint64, index int, w *walk, rx *receiver) *sensor {
	d := roll(seed, phaseReadings, index)
	s := &sensor{topo: topo, p: p.Signal, seed: seed, index: index, walk: w, rx: rx, d: d, couplings: map[int]*coupling{}, own: map[int]bool{}}
	s.bias = d.normal(p.Crews.TraceBiasM)
	s.currentA = d.logBetween(map[survey.Hookup][2]float64{
		survey.HookupDirect: {0.02, 0.1}, survey.HookupClamp: {0.01, 0.05}, survey.HookupInduction: {0.004, 0.02}, survey.HookupUnknown: {0.01, 0.2},
	}[w.hookup])
	s.fadeM = 3e4 / math.Sqrt(w.frequency) * d.between([2]float64{0.7, 1.6})
	for range w.taps {
		s.taps = append(s.taps, d.between([2]float64{0.55, 0.95}))
	}
	for _, st := range w.path {
		s.own[st.line] = true
	}
	return s
}

// target is the current on the line that the crew follows.
func (s *sensor) target(station float64) float64 {
	i := s.currentA * math.Exp(-(station-s.walk.fromM)/s.fadeM)
	for k, at := range s.walk.taps {
		if station > at && at > s.walk.fromM {
			i *= s.taps[k]
		}
	}
	return i
}

// coupled is the coupling of a run on this walk. It depends on nothing but the
// walk and the run.
func (s *sensor) coupled(run int) *coupling {
	if c, ok := s.couplings[run]; ok {
		return c
	}
	d := roll(s.seed, phaseCoupling, s.index<<20^run)
	median := s.p.Coupling[0]
	switch s.walk.hookup {
	case survey.HookupClamp:
		median = s.p.Coupling[1]
	case survey.HookupInduction, survey.HookupUnknown:
		median = s.p.Coupling[2]
	}
	if s.walk.frequency > 10e3 {
		median *= 1.6
	}
	c := &coupling{base: min(median*math.Exp(d.normal(s.p.CouplingSpread)), 0.9)}
	if d.chance(0.35) { // a current that comes back through the neighbour
		c.base = -c.base
	}
	for range d.count(s.p.BleedPerKm * (s.walk.toM - s.walk.fromM) / 1000) {
		at := d.between([2]float64{s.walk.fromM, s.walk.toM})
		c.bleeds = append(c.bleeds, [3]float64{at, at + d.logBetween(s.p.BleedM), d.between(s.p.BleedRatio)})
	}
	s.couplings[run] = c
	return c
}

// gather collects the line currents in the plane across the walk at a station:
// the target first, at 0, then the neighbours. Lines that cross steeply are left
// out: their field lies along the walk.
func (s *sensor) gather(station float64) {
	w := s.walk
	p, along := pointAt(w.points, w.stations, station)
	seg, t := locate(w.stations, station)
	i := s.target(station)
	depth := w.depth[seg] + t*(w.depth[seg+1]-w.depth[seg])
	cover := w.cover[seg] + t*(w.cover[seg+1]-w.cover[seg])
	s.fields = append(s.fields[:0], physics.Line{Depth: depth, Current: i})
	s.at = append(s.at[:0], w.line[seg])
	s.covers = append(s.covers[:0], cover)
	s.ids = s.topo.segments.near(p, reachM, s.ids)
	for _, id := range s.ids {
		g := s.topo.segments.all[id]
		l := int(g.line)
		if s.own[l] || !carries(&s.topo.lines[l]) || s.topo.run[l] == s.topo.run[w.line[seg]] {
			continue
		}
		x, u, cosine, ok := s.topo.section(g, p, along)
		if !ok || slices.Contains(s.at[1:], l) {
			continue
		}
		line := &s.topo.lines[l]
		cover := line.CoverM[g.at] + u*(line.CoverM[g.at+1]-line.CoverM[g.at])
		k := s.coupled(s.topo.run[l]).at(station)
		s.fields = append(s.fields, physics.Line{X: x, Depth: line.signalDepth(cover), Current: i * k * math.Abs(cosine)})
		s.at = append(s.at, l)
		s.covers = append(s.covers, cover)
	}
}

// Every so often a crew sweeps wide, to see whether it is still on its line.
const wideEveryM, wideM = 20, 2.2

// find is where the crew finds the signal: it sweeps to both sides of where it
// was, and goes to a second peak only if that is clearly louder.
func (s *sensor) find() (float64, bool) {
	if len(s.fields) == 1 {
		return 0, true
	}
	const slack = 0.4
	sweep := s.rx.sweepM
	if s.d.chance(s.walk.spacingM / wideEveryM) {
		sweep = wideM
	}
	reach := sweep + slack
	best, ok := physics.Peak(s.fields, s.tracked, 0, reach)
	loudest := math.Abs(physics.Across(s.fields, best, 0))
	for _, from := range [2]float64{s.tracked - sweep, s.tracked + sweep} {
		x, found := physics.Peak(s.fields, from, 0, reach)
		if !found || math.Abs(x-s.tracked) > reach {
			continue
		}
		if b := math.Abs(physics.Across(s.fields, x, 0)); !ok || b > s.rx.attention*loudest {
			best, ok, loudest = x, true, b
		}
	}
	return best, ok
}

// faintest is the signal, over the coils' own noise, below which a crew finds no
// line (common practice, no source).
const faintest = 20

// sense takes the reading at a station.
func (s *sensor) sense(station float64) sensed {
	s.gather(station)
	if s.walk.mode == survey.ModeSonde {
		return s.sonde(station)
	}
	x, ok := s.find()
	if !ok || math.Abs(x) > 2.6 {
		s.tracked = 0
		if x, ok = physics.Peak(s.fields, 0, 0, 1); !ok {
			return sensed{lost: true}
		}
	}
	s.tracked = x
	field := math.Abs(physics.Across(s.fields, x, 0))
	if s.walk.mode == survey.ModeActive && field < faintest*s.p.CoilFloorT {
		return sensed{lost: true}
	}
	r := sensed{stationM: station, line: s.at[0], lineCover: s.covers[0], shiftM: x, currentA: nan, depthM: nan, separate: nan}
	k := s.measured(x)
	if k > 0 {
		r.line, r.lineCover, r.lineAt, r.shiftM, r.jumped = s.at[k], s.covers[k], s.fields[k].X, x-s.fields[k].X, true
	}
	noise := math.Hypot(s.p.BracketNoise, s.p.CoilFloorT/field)
	if s.walk.mode == survey.ModePassive {
		noise *= 2
	}
	found := s.d.normal(physics.BracketSigma(s.fields[k].Depth, noise))
	r.across = x + s.bias + found + s.d.normal(s.p.HandM)
	r.along = s.d.normal(2 * s.p.HandM)
	if s.walk.mode == survey.ModeActive {
		lower := s.coil(physics.Across(s.fields, x, 0))
		upper := s.coil(physics.Across(s.fields, x, s.p.CoilsM)) * (1 + s.rx.match)
		r.depthM = physics.LineDepth(lower, upper, s.p.CoilsM)
		if r.depthM > 6 {
			r.depthM = nan
		}
		r.currentA = physics.LineCurrent(lower, r.depthM)
	}
	if s.rx.separations {
		if null, ok := physics.Null(s.fields, x, 0, 1.2); ok {
			r.separate = math.Abs(null + s.d.normal(0.012) - x - found)
		}
	}
	return r
}

// measured says whose field a peak belongs to: the target's (0) unless a
// neighbour is both nearer and stronger there.
func (s *sensor) measured(x float64) int {
	best := 0
	part := func(k int) float64 { return math.Abs(physics.Across(s.fields[k:k+1], x, 0)) }
	for k := 1; k < len(s.fields); k++ {
		if math.Abs(x-s.fields[k].X) < math.Abs(x-s.fields[best].X) && part(k) > part(0) {
			best = k
		}
	}
	return best
}

// coil is what a coil shows of a field.
func (s *sensor) coil(field float64) float64 {
	return field*(1+s.d.normal(s.p.CoilNoise)) + s.d.normal(s.p.CoilFloorT)
}

// sonde reads a transmitter that lies on the bottom of the pipe.
func (s *sensor) sonde(station float64) sensed {
	line := &s.topo.lines[s.at[0]]
	depth := s.covers[0] + line.DiameterM - 0.03
	const momentAm2 = 0.02
	lower := s.coil(physics.Dipole(momentAm2, depth))
	upper := s.coil(physics.Dipole(momentAm2, depth+s.p.CoilsM)) * (1 + s.rx.match)
	r := sensed{stationM: station, line: s.at[0], lineCover: s.covers[0], currentA: nan, separate: nan}
	r.depthM = physics.SondeDepth(lower, upper, s.p.CoilsM)
	if s.walk.wrongMode {
		r.depthM = physics.LineDepth(lower, upper, s.p.CoilsM)
	}
	found := physics.BracketSigma(depth, s.p.BracketNoise)
	r.across, r.along = s.bias+s.d.normal(found)+s.d.normal(s.p.HandM), s.d.normal(found)
	return r
}
