package adjust

import (
	"cmp"
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
	obs      []observation
	checks   []check
	sessions []string
	sources  []string
	crews    []string  // of each session
	sourceM  []float64 // of each source: accuracy of the operation behind its positions
	biases   []biasKey
	knots    []knot // by session, then time
}

// knot is a moment at which a session's wandering positions are estimated.
type knot struct {
	session int
	timeS   float64
}

// biasKey is what a bias belongs to: one trace in one connected part of the network.
type biasKey struct{ trace, part int }

// observation is one used reading: offset = n . (d + f + g + wander w) + sign b + e.
type observation struct {
	trace, reading, record int
	point                  orb.Point // plane
	bias, session, source  int
	sign                   float64 // +1 walked with the record's direction, -1 against
	sigma                  float64 // new at every reading
	wander                 float64 // standard deviation of the wandering part; 0 none
	knot                   int     // between knots[knot] and knots[knot+1]
	knotAlpha              float64 // share of the second

	// set anew in every iteration, on the displaced line
	node        int     // between nodes[node] and nodes[node+1]
	alpha       float64 // share of the second
	east, north float64 // the record's normal to the right
	value       float64 // n . (reading - record)
	segment     int     // of the record's part
	weight      float64 // Student-t
	out         bool    // projects on an end or a corner: says nothing across the line
	residual    float64
}

// check is one control check: observed - known = f + g + e.
type check struct {
	session, source int
	east, north     float64
	sigma           float64
	weight          float64
}

// gather turns matches into observations, in an order that does not depend on
// the order of the input.
func gather(s *survey.Survey, matches [][]survey.Match, n *network, o Options) *evidence {
	ev := &evidence{}
	ev.nameSessions(s)
	session, source := indexOf(ev.sessions), indexOf(ev.sources)
	biases := map[biasKey]int{}
	for _, t := range s.ByID() {
		tr := &s.Traces[t]
		for i := range tr.Readings {
			m := &matches[t][i]
			if m.Status != survey.StatusUsed || m.AtEnd {
				continue
			}
			rd := &tr.Readings[i]
			rn := &n.records[m.Record]
			at, _ := rn.between(m.Part, m.StationM)
			key := biasKey{t, n.parts[rn.nodes[at].point]}
			b, ok := biases[key]
			if !ok {
				b = len(ev.biases)
				biases[key] = b
				ev.biases = append(ev.biases, key)
			}
			ob := observation{
				trace: t, reading: i, record: m.Record, point: rd.Point,
				bias: b, session: session[tr.Session], source: source[tr.Positions],
				sign: 1, weight: 1,
			}
			ob.sigma, ob.wander = o.sigma(rd, m)
			if m.Against {
				ob.sign = -1
			}
			ev.obs = append(ev.obs, ob)
		}
	}
	ev.layKnots(s, o.WanderS)
	ev.addChecks(s, session, source, o)
	return ev
}

// knotsPerTau is how many knots stand in one correlation time: the process is
// taken as linear between them.
const knotsPerTau = 4

// layKnots places the knots of the wandering positions where readings are.
func (ev *evidence) layKnots(s *survey.Survey, tauS float64) {
	order := make([]int, 0, len(ev.obs))
	at := func(i int) knot {
		ob := &ev.obs[i]
		t := s.Traces[ob.trace].Readings[ob.reading].Time
		return knot{ob.session, float64(t.UnixMilli()) / 1000}
	}
	for i := range ev.obs {
		if ev.obs[i].wander > 0 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := at(a), at(b)
		return cmp.Or(cmp.Compare(x.session, y.session), cmp.Compare(x.timeS, y.timeS))
	})
	step := tauS / knotsPerTau
	for _, i := range order {
		k := at(i)
		n := len(ev.knots)
		if n == 0 || ev.knots[n-1].session != k.session || k.timeS > ev.knots[n-1].timeS {
			// a pair around this reading, unless the last knot is near enough to go on from
			if n > 0 && ev.knots[n-1].session == k.session && k.timeS <= ev.knots[n-1].timeS+step {
				ev.knots = append(ev.knots, knot{k.session, ev.knots[n-1].timeS + step})
			} else {
				ev.knots = append(ev.knots, k, knot{k.session, k.timeS + step})
			}
			n = len(ev.knots)
		}
		ob := &ev.obs[i]
		ob.knot = n - 2
		a, b := ev.knots[n-2], ev.knots[n-1]
		ob.knotAlpha = min(max((k.timeS-a.timeS)/(b.timeS-a.timeS), 0), 1)
	}
}

func (ev *evidence) addChecks(s *survey.Survey, session, source map[string]int, o Options) {
	order := make([]int, len(s.Checks))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		x, y := &s.Checks[a], &s.Checks[b]
		return cmp.Or(cmp.Compare(x.Session, y.Session), cmp.Compare(x.Mark, y.Mark), x.Time.Compare(y.Time),
			cmp.Compare(x.Observed[0], y.Observed[0]), cmp.Compare(x.Observed[1], y.Observed[1]))
	})
	for _, i := range order {
		c := &s.Checks[i]
		a := axesOf(c.Scale, c.Convergence)
		e, n := a.ground(c.Observed[0]-c.Known[0], c.Observed[1]-c.Known[1])
		sigma := math.Hypot(o.position(c.SigmaM), o.PoleM) // it wanders, too: alone, all of it is new
		ev.checks = append(ev.checks, check{session[c.Session], source[c.Positions], e, n, sigma, 1})
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

// nameSessions lists sessions and sources of positions by name, of readings and
// checks.
func (ev *evidence) nameSessions(s *survey.Survey) {
	crew, accuracy := map[string]string{}, map[string]float64{}
	operation := map[string]float64{}
	for i := range s.Sources {
		if m := s.Sources[i].OperationM; m > 0 { // not where its accuracy is unknown
			operation[s.Sources[i].Name] = m
		}
	}
	for i := range s.Traces {
		tr := &s.Traces[i]
		crew[tr.Session] = tr.Crew
		accuracy[tr.Positions] = max(accuracy[tr.Positions], 0)
		if len(tr.Readings) > 0 {
			accuracy[tr.Positions] = max(accuracy[tr.Positions], operation[tr.Readings[0].File])
		}
	}
	for i := range s.Checks {
		c := &s.Checks[i]
		crew[c.Session] = crew[c.Session] + ""
		accuracy[c.Positions] = max(accuracy[c.Positions], operation[c.File])
	}
	ev.sessions, ev.sources = sortedKeys(crew), sortedKeys(accuracy)
	for _, name := range ev.sessions {
		ev.crews = append(ev.crews, crew[name])
	}
	for _, name := range ev.sources {
		ev.sourceM = append(ev.sourceM, accuracy[name])
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

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func indexOf(names []string) map[string]int {
	m := make(map[string]int, len(names))
	for i, n := range names {
		m[n] = i
	}
	return m
}
