package adjust

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// unknowns numbers everything that is estimated. Two unknowns (east, north) to
// a point, a record's own shift, a sheet, a session and a source of positions;
// one to a trace's bias. A knot of a session's wandering positions has two.
type unknowns struct {
	points, own, bias, wander, sheets, sessions, sources, whole int // first of each kind
	n                                                           int
}

// evidence is the readings and checks as equations.
type evidence struct {
	obs      []observation // by record, then trace
	checks   []check
	left     []left
	sessions []session
	setups   map[setup]int // their numbers
	sources  []string
	sourceM  []float64 // of each source: accuracy of the operation behind its positions

	receivers []string // by name
	receiver  []int32  // of each trace
	traceIDs  []string
	biases    int    // one a trace in each connected part of the network
	compared  []bool // biases of walks along a record that was walked again
	knots     []knot // by session, then time
}

// session is one set-up with positions from one source.
type session struct {
	name, crew string
	source     int
}

// knot is a moment around which a session's wandering positions are estimated.
type knot struct {
	session int
	timeS   float64
	follows bool // tied to the one before
}

// observation is one used reading: offset = n . (d + f + g + wander w) + sign b + e.
// An exposed line is one without b and w, a surveyed fitting two, along the axes.
type observation struct {
	point         orb.Point // plane
	sigma         float64   // new at every reading
	wander        float64   // standard deviation of the wandering part; 0 none
	budget        budget    // what they are made of
	trace         int32     // -1: an exposure
	reading       int32     // of the trace; or the exposure
	record        int32
	bias, session int32    // bias -1: none
	knot          int32    // the nearest in time; -1: none
	at            [3]int32 // bias, knot and session in the record's cell
	against       bool     // walked against the record's direction: the bias is to its left
	fixed         bool     // a fitting: its place on the record is known

	// set anew in every iteration, on the displaced line
	out         bool    // projects on an end or a corner: says nothing across the line
	node        int32   // between nodes[node] and nodes[node+1]
	alpha       float64 // share of the second
	east, north float64 // the record's normal to the right
	value       float64 // n . (reading - record)
	weight      float64 // Student-t
	residual    float64
}

// measure sets the normal at a foot point and how far across it the reading lies;
// along it the line is taken to run on.
func (ob *observation) measure(rn *recordNet, part, segment int, stationM float64) {
	ob.east, ob.north = rn.axes.right(&rn.line, part, segment)
	foot := rn.line.AtPart(part, segment, stationM)
	e, n := rn.axes.ground(ob.point[0]-foot[0], ob.point[1]-foot[1])
	ob.value = e*ob.east + n*ob.north
}

// sign of the bias.
func (ob *observation) sign() float64 {
	if ob.against {
		return -1
	}
	return 1
}

// check is one control check: observed - known = f + g + e.
type check struct {
	session     int
	east, north float64
	sigma       float64
	weight      float64
}

// gather turns matches into observations, in an order that does not depend on
// the order of the input.
func gather(s *survey.Survey, matches [][]survey.Match, exposed []survey.Match, n *network, o Options) *evidence {
	ev := &evidence{left: gatherLeft(s, n), traceIDs: make([]string, len(s.Traces)), obs: make([]observation, 0, countUsed(matches)+2*len(exposed))}
	ev.nameSessions(s)
	type biasKey struct{ trace, part int32 }
	biases := map[biasKey]int32{}
	for _, t := range s.ByID() {
		tr := &s.Traces[t]
		ev.traceIDs[t] = tr.ID
		for i := range tr.Readings {
			m := &matches[t][i]
			if m.Status != survey.StatusUsed || m.AtEnd {
				continue
			}
			rd := &tr.Readings[i]
			rn := &n.records[m.Record]
			at, alpha := rn.between(m.Part, m.StationM)
			key := biasKey{int32(t), n.parts[rn.nodes[at].point]}
			b, ok := biases[key]
			if !ok {
				b = int32(len(biases))
				biases[key] = b
			}
			ob := observation{
				trace: int32(t), reading: int32(i), record: int32(m.Record), point: rd.Point, node: int32(at), alpha: alpha,
				bias: b, session: int32(ev.setups[setup{tr.Session, tr.Positions}]), knot: -1, against: m.Against, weight: 1,
			}
			ob.measure(rn, m.Part, m.Segment, m.StationM)
			ob.budget = o.budget(rd, m)
			ob.sigma, ob.wander = ob.budget.sigma(1)
			ev.obs = append(ev.obs, ob)
		}
	}
	ev.biases = len(biases)
	ev.nameReceivers(s)
	ev.addExposures(s, exposed, n, o)
	ev.layKnots(s, o.WanderS)
	ev.sortByRecord(n.rank)
	ev.compareBiases()
	ev.addChecks(s, o)
	return ev
}

// sortByRecord sorts the observations by the rank of their record, those of one in
// the order in which they are.
func (ev *evidence) sortByRecord(rank []int) {
	next := make([]int, len(rank)+1)
	for i := range ev.obs {
		next[rank[ev.obs[i].record]+1]++
	}
	for r := range rank {
		next[r+1] += next[r]
	}
	sorted := make([]observation, len(ev.obs))
	for i := range ev.obs {
		at := &next[rank[ev.obs[i].record]]
		sorted[*at] = ev.obs[i]
		*at++
	}
	ev.obs = sorted
}

// compareBiases marks the biases of walks along a record that was walked again:
// there it is not the map that a bias could stand for.
func (ev *evidence) compareBiases() {
	ev.compared = make([]bool, ev.biases)
	for i := 1; i < len(ev.obs); i++ {
		if a, b := &ev.obs[i-1], &ev.obs[i]; a.record == b.record && a.bias != b.bias && a.bias >= 0 && b.bias >= 0 {
			ev.compared[a.bias], ev.compared[b.bias] = true, true
		}
	}
}

// countUsed is how many readings are used at most.
func countUsed(matches [][]survey.Match) (used int) {
	for t := range matches {
		for i := range matches[t] {
			if matches[t][i].Status == survey.StatusUsed {
				used++
			}
		}
	}
	return used
}

// knotsPerTau is how many knots stand in one correlation time: the process is
// taken as constant around each. Half a step away it still correlates by
// exp(-1/12), 0.92; that this is enough is practice.
const knotsPerTau = 6

// apartTaus is the pause, in correlation times, after which wandering positions
// are taken as new: they are less than half correlated then. Walks hours and
// streets apart would hang together otherwise, and with them all sheets.
const apartTaus = math.Ln2

// layKnots places the knots of the wandering positions where readings are.
func (ev *evidence) layKnots(s *survey.Survey, tauS float64) {
	timeOf := func(ob *observation) float64 {
		return float64(s.Traces[ob.trace].Readings[ob.reading].Time.UnixMilli()) / 1000
	}
	var order []*observation
	for i := range ev.obs {
		if ev.obs[i].wander > 0 {
			order = append(order, &ev.obs[i])
		}
	}
	slices.SortStableFunc(order, func(a, b *observation) int {
		return cmp.Or(cmp.Compare(a.session, b.session), cmp.Compare(timeOf(a), timeOf(b)))
	})
	half := tauS / knotsPerTau / 2
	for _, ob := range order {
		t, n := timeOf(ob), len(ev.knots)
		if n == 0 || ev.knots[n-1].session != int(ob.session) || t > ev.knots[n-1].timeS+half {
			follows := n > 0 && ev.knots[n-1].session == int(ob.session) && t < ev.knots[n-1].timeS+apartTaus*tauS
			ev.knots = append(ev.knots, knot{int(ob.session), t + half, follows})
		}
		ob.knot = int32(len(ev.knots) - 1)
	}
}

func (ev *evidence) addChecks(s *survey.Survey, o Options) {
	order := orderOf(len(s.Checks), func(a, b int) int {
		x, y := &s.Checks[a], &s.Checks[b]
		return cmp.Or(cmp.Compare(x.Session, y.Session), cmp.Compare(x.Mark, y.Mark), x.Time.Compare(y.Time),
			cmp.Compare(x.Observed[0], y.Observed[0]), cmp.Compare(x.Observed[1], y.Observed[1]))
	})
	for _, i := range order {
		c := &s.Checks[i]
		a := axesOf(c.Scale, c.Convergence)
		e, n := a.ground(c.Observed[0]-c.Known[0], c.Observed[1]-c.Known[1])
		sigma := math.Hypot(o.position(c.SigmaM), o.PoleM) // it wanders, too: alone, all of it is new
		ev.checks = append(ev.checks, check{ev.setups[setup{c.Session, c.Positions}], e, n, sigma, 1})
	}
	ev.weighChecks(o.Nu)
}

// weighChecks weighs each control check against the others of its session, so
// that one on a wrong mark loses. The map has no say in it: many readings on a
// wrong record must not outvote a known position.
func (ev *evidence) weighChecks(nu float64) {
	for from := 0; from < len(ev.checks); {
		to := from
		var east, north []float64
		for ; to < len(ev.checks) && ev.checks[to].session == ev.checks[from].session; to++ {
			east, north = append(east, ev.checks[to].east), append(north, ev.checks[to].north)
		}
		e, n := estimate.Median(east), estimate.Median(north)
		for i := from; i < to; i++ {
			c := &ev.checks[i]
			de, dn := (c.east-e)/c.sigma, (c.north-n)/c.sigma
			c.weight = min(1, estimate.StudentTVector(de*de+dn*dn, 2, nu))
		}
		from = to
	}
}

// setup is a session as the survey has it, and where its positions come from.
type setup struct{ session, positions string }

// nameSessions lists sessions and sources of positions by name, of readings and
// checks. A session with positions from two sources is two.
func (ev *evidence) nameSessions(s *survey.Survey) {
	crew, accuracy := map[setup]string{}, map[string]float64{}
	operation := map[string]float64{}
	for i := range s.Sources {
		if m := s.Sources[i].OperationM; m > 0 { // not where its accuracy is unknown
			operation[s.Sources[i].Name] = m
		}
	}
	for i := range s.Traces {
		tr := &s.Traces[i]
		if u := (setup{tr.Session, tr.Positions}); crew[u] == "" || tr.Crew < crew[u] {
			crew[u] = tr.Crew
		}
		accuracy[tr.Positions] = max(accuracy[tr.Positions], 0)
		if len(tr.Readings) > 0 {
			accuracy[tr.Positions] = max(accuracy[tr.Positions], operation[tr.Readings[0].File])
		}
	}
	for i := range s.Exposures {
		e := &s.Exposures[i]
		crew[setup{e.Session, e.Positions}] = max(crew[setup{e.Session, e.Positions}], e.Crew)
		accuracy[e.Positions] = max(accuracy[e.Positions], operation[e.File])
	}
	for i := range s.Checks {
		c := &s.Checks[i]
		crew[setup{c.Session, c.Positions}] += ""
		accuracy[c.Positions] = max(accuracy[c.Positions], operation[c.File])
	}
	ev.sources = slices.Sorted(maps.Keys(accuracy))
	source, sources := indexOf(ev.sources), map[string]int{}
	for _, name := range ev.sources {
		ev.sourceM = append(ev.sourceM, accuracy[name])
	}
	setups := slices.SortedFunc(maps.Keys(crew), func(a, b setup) int {
		return cmp.Or(cmp.Compare(a.session, b.session), cmp.Compare(a.positions, b.positions))
	})
	ev.setups = map[setup]int{}
	for i, u := range setups {
		ev.setups[u] = i
		sources[u.session]++
	}
	for _, u := range setups {
		name := u.session
		if sources[name] > 1 {
			name += " / " + u.positions
		}
		ev.sessions = append(ev.sessions, session{name, crew[u], source[u.positions]})
	}
}

// between is the pair of nodes around a station of a part: the first of them,
// and the share of the second.
func (rn *recordNet) between(part int, stationM float64) (first int, alpha float64) {
	i, _ := slices.BinarySearchFunc(rn.nodes, foot{part: part, stationM: stationM}, func(n node, f foot) int {
		return cmp.Or(cmp.Compare(n.part, f.part), cmp.Compare(n.stationM, f.stationM))
	})
	i--
	if i < 0 || rn.nodes[i].part != part {
		i++
	}
	if i+1 >= len(rn.nodes) || rn.nodes[i+1].part != part {
		i--
	}
	a, b := rn.nodes[i].stationM, rn.nodes[i+1].stationM
	if b > a {
		alpha = min(max((stationM-a)/(b-a), 0), 1)
	}
	return i, alpha
}

// orderOf is the order of n things.
func orderOf(n int, compare func(a, b int) int) []int {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, compare)
	return order
}

// nameReceivers lists the receivers by name.
func (ev *evidence) nameReceivers(s *survey.Survey) {
	named := map[string]bool{}
	for t := range s.Traces {
		named[s.Traces[t].Receiver] = true
	}
	ev.receivers = slices.Sorted(maps.Keys(named))
	index := indexOf(ev.receivers)
	ev.receiver = make([]int32, len(s.Traces))
	for t := range s.Traces {
		ev.receiver[t] = int32(index[s.Traces[t].Receiver])
	}
}

func indexOf(names []string) map[string]int {
	m := make(map[string]int, len(names))
	for i, n := range names {
		m[n] = i
	}
	return m
}
