package synth

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// walk is one walk of one crew along lines that hang together.
type walk struct {
	path     []step
	points   orb.LineString // the whole path
	stations []float64
	line     []int     // per segment of points: true line
	depth    []float64 // per point: to the centre of the signal
	cover    []float64 // per point: to the top
	taps     []float64 // stations where a part of the current leaves

	fromM, toM float64
	gap        [2]float64 // stretch without a signal
	spacingM   float64
	mode       survey.Mode
	hookup     survey.Hookup
	frequency  float64
	ticket     string
	crew       int
	label      string
	wrongMode  bool
}

// step is one line of a path.
type step struct {
	line    int
	forward bool
}

// planner chooses what is walked.
type planner struct {
	topo    *topology
	p       Params
	covered []float64 // per line: share walked
	walks   []walk
	seed    uint64
	areas   []sweep
}

// carries says whether a signal can be put on a line.
func carries(l *TrueLine) bool { return l.Conductor != survey.ConductorNone }

// plan chooses the walks: first what was swept, then lines anywhere until the
// coverage is reached, some of them twice.
func (n *planner) plan() {
	total, done, turn := 0.0, 0.0, 0
	for i := range n.topo.lines {
		if carries(&n.topo.lines[i]) {
			total += last(n.topo.stations[i])
		}
	}
	for a := range n.areas {
		for _, l := range n.areas[a].lines {
			if n.covered[l] < 0.5 && carries(&n.topo.lines[l]) {
				d := roll(n.seed, phaseTraces, turn)
				done += n.walkFrom(d, l, n.areas[a].ticket, n.areas[a].method == "passive", true)
				turn++
			}
		}
	}
	for tries := 0; done < n.p.Crews.Coverage*total && tries < 50*len(n.topo.lines); tries++ {
		d := roll(n.seed, phaseTraces, turn)
		turn++
		l := d.IntN(len(n.topo.lines))
		if !carries(&n.topo.lines[l]) || n.covered[l] > 0.5 {
			continue
		}
		done += n.walkFrom(d, l, "", false, false)
	}
	n.sondes()
}

// walkFrom walks a path that begins on a line and returns the length that
// nobody had walked before.
func (n *planner) walkFrom(d dice, l int, ticket string, passive, whole bool) float64 {
	c := n.p.Crews
	w := walk{path: n.path(d, step{l, d.chance(0.5)}, d.logBetween(c.TraceM), whole), ticket: ticket, mode: survey.ModeActive, crew: d.IntN(c.Crews)}
	n.stake(&w)
	total := last(w.stations)
	w.fromM, w.toM = 0, total
	if !whole && total > 30 {
		w.fromM, w.toM = d.between([2]float64{0, 0.12 * total}), total-d.between([2]float64{0, 0.12 * total})
	}
	n.equip(d, &w, passive)
	fresh := n.count(&w)
	n.walks = append(n.walks, w)
	if again := d.chance(c.Repeated); again && c.Crews > 1 {
		n.walks = append(n.walks, n.again(d, w))
	}
	return fresh
}

// equip chooses how the line is energised and how closely it is read.
func (n *planner) equip(d dice, w *walk, passive bool) {
	c := n.p.Crews
	w.label = n.topo.lines[w.path[0].line].Utility
	w.spacingM = d.logBetween([2]float64{min(2, c.SpacingM[1]), c.SpacingM[1]})
	if d.chance(c.DenseShare) {
		w.spacingM = d.logBetween([2]float64{c.SpacingM[0], max(2, c.SpacingM[0])})
	}
	w.hookup = []survey.Hookup{survey.HookupDirect, survey.HookupDirect, survey.HookupClamp, survey.HookupInduction}[d.IntN(4)]
	w.frequency = []float64{512, 1024, 8192, 8192, 32768}[d.IntN(5)]
	if w.hookup == survey.HookupInduction {
		w.frequency = []float64{8192, 32768}[d.IntN(2)]
	}
	if passive || (w.label == "electric" && d.chance(c.PassiveTraces*4)) {
		w.mode, w.hookup, w.frequency = survey.ModePassive, survey.HookupUnknown, 60
		if d.chance(c.UnknownPassive) {
			w.label = ""
		}
	}
	if long := d.between(n.p.Signal.NoSignalM); d.chance(n.p.Signal.NoSignal) && w.toM-w.fromM > 3*long {
		at := d.between([2]float64{w.fromM + long, w.toM - long})
		w.gap = [2]float64{at - long/2, at + long/2}
	}
	switch u := d.Float64(); {
	case u < c.Unlabelled:
		w.label = ""
	case u < c.Unlabelled+c.Mislabelled:
		w.label = habits[d.IntN(len(habits))].utility
	}
}

// again is the same walk by another crew, some of them the other way round.
func (n *planner) again(d dice, w walk) walk {
	w.crew = (w.crew + 1 + d.IntN(n.p.Crews.Crews-1)) % n.p.Crews.Crews
	if d.chance(0.5) {
		path := slices.Clone(w.path)
		slices.Reverse(path)
		for i := range path {
			path[i].forward = !path[i].forward
		}
		total := last(w.stations)
		w.path, w.fromM, w.toM = path, total-w.toM, total-w.fromM
		n.stake(&w)
	}
	n.equip(d, &w, w.mode == survey.ModePassive)
	return w
}

// path goes on from a step, mostly straight, until it is long enough.
func (n *planner) path(d dice, s step, lengthM float64, whole bool) []step {
	path := []step{s}
	in := map[int]bool{s.line: true}
	sum := last(n.topo.stations[s.line])
	for !whole && sum < lengthM {
		here := path[len(path)-1]
		w := 0
		if here.forward {
			w = 1
		}
		out := n.topo.lines[here.line].outward(w)
		best, straightest := step{line: -1}, math.Inf(-1)
		for _, e := range n.topo.at[n.topo.ends[here.line][w]] {
			l := &n.topo.lines[e.line]
			if in[e.line] || l.Utility != n.topo.lines[here.line].Utility || !carries(l) || l.Service {
				continue
			}
			straight := -out.dot(l.outward(e.which)) + d.normal(0.45)
			if straight > straightest {
				best, straightest = step{e.line, e.which == 0}, straight
			}
		}
		if best.line < 0 {
			break
		}
		path = append(path, best)
		in[best.line] = true
		sum += last(n.topo.stations[best.line])
	}
	return path
}

// stake lays the path out with stations.
func (n *planner) stake(w *walk) {
	w.points, w.line, w.depth, w.cover, w.taps = nil, nil, nil, nil, nil
	for k, s := range w.path {
		l := &n.topo.lines[s.line]
		for i := range l.Points {
			v := i
			if !s.forward {
				v = len(l.Points) - 1 - i
			}
			if k > 0 && i == 0 {
				continue
			}
			w.points = append(w.points, l.Points[v])
			w.cover = append(w.cover, l.CoverM[v])
			w.depth = append(w.depth, l.signalDepth(l.CoverM[v]))
			if len(w.points) > 1 {
				w.line = append(w.line, s.line)
			}
		}
	}
	w.stations = stations(w.points)
	at := 0.0
	for k, s := range w.path {
		at += last(n.topo.stations[s.line])
		far := 0
		if s.forward {
			far = 1
		}
		if k+1 < len(w.path) && len(n.topo.at[n.topo.ends[s.line][far]]) > 2 {
			w.taps = append(w.taps, at)
		}
	}
}

// signalDepth is how deep the current runs below grade: in the middle of a pipe
// or cable, on top of it in a tracer wire.
func (l *TrueLine) signalDepth(coverM float64) float64 {
	if l.Conductor == survey.ConductorWire {
		return coverM
	}
	return coverM + l.DiameterM/2
}

// count adds what a walk covers and returns the part that is new.
func (n *planner) count(w *walk) float64 {
	fresh, at := 0.0, 0.0
	for _, s := range w.path {
		long := last(n.topo.stations[s.line])
		part := max(min(at+long, w.toM)-max(at, w.fromM), 0) / long
		before := n.covered[s.line]
		n.covered[s.line] = min(before+part, 1)
		fresh += (n.covered[s.line] - before) * long
		at += long
	}
	return fresh
}

// sondes push a transmitter through pipes that carry no signal.
func (n *planner) sondes() {
	var pipes []int
	for i := range n.topo.lines {
		if l := &n.topo.lines[i]; !carries(l) && !l.Service && l.DiameterM >= 0.1 {
			pipes = append(pipes, i)
		}
	}
	if len(pipes) == 0 {
		return
	}
	d := roll(n.seed, phaseTraces, 1<<30)
	for range d.count(n.p.Crews.SondeTraces * float64(len(n.walks))) {
		w := walk{path: []step{{pipes[d.IntN(len(pipes))], d.chance(0.5)}}, mode: survey.ModeSonde, crew: d.IntN(n.p.Crews.Crews), frequency: 512}
		n.stake(&w)
		w.toM = last(w.stations)
		w.label = n.topo.lines[w.path[0].line].Utility
		w.spacingM = d.between([2]float64{2, 6})
		w.wrongMode = d.chance(n.p.Crews.SondeWrongMode)
		n.walks = append(n.walks, w)
	}
}
