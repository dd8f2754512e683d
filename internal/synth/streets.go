package synth

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// TrueLine is one line as it lies in the ground, between two fittings.
type TrueLine struct {
	Utility   string
	Material  string
	Conductor survey.Conductor
	DiameterM float64
	Installed int // year
	Service   bool
	Points    orb.LineString // plane, grid metres
	CoverM    []float64      // per point: top of line to grade

	// sideM is how far right of the street's middle it lies; NaN unknown.
	sideM float64
}

// habit is how a utility builds.
type habit struct {
	utility     string
	weight      float64    // how often it lies in a street
	coverM      [2]float64 // range of mean covers
	diametersM  []float64
	serviceM    float64 // diameter of a service
	metal       string  // carries a signal itself
	plastic     string  // does not
	neverSignal bool
}

var habits = []habit{
	{"water", 0.95, [2]float64{0.9, 1.7}, []float64{0.15, 0.2, 0.3}, 0.025, "DI", "PVC", false},
	{"gas", 0.75, [2]float64{0.6, 1.1}, []float64{0.05, 0.1, 0.15}, 0.02, "STEEL", "PE", false},
	{"electric", 0.75, [2]float64{0.6, 1.0}, []float64{0.1, 0.15}, 0.05, "CABLE", "CABLE", false},
	{"communication", 0.6, [2]float64{0.45, 0.9}, []float64{0.05, 0.1}, 0.03, "CABLE", "FIBRE", false},
	{"sewer", 0.5, [2]float64{1.6, 3.2}, []float64{0.2, 0.25}, 0.1, "", "CLAY", true},
}

// street is the middle of one street, its blocks between crossings, and the
// mains that lie in it.
type street struct {
	middle orb.LineString
	block  []int // per vertex of middle: the block that starts there
	blocks int
	mains  []*main
}

// main is one long line in a street, before it is cut at fittings.
type main struct {
	habit     *habit
	like      TrueLine // attributes
	points    orb.LineString
	cover     []float64
	block     []int // per vertex
	sideM     float64
	first     bool // the utility's first in the street: it joins those of other streets
	junctions orb.LineString
	absent    map[int]bool // blocks without it
}

// streetPlan lays out a bent grid of streets about the middle of the site.
func streetPlan(seed uint64, p Network) []street {
	d := roll(seed, phaseStreets, 0)
	turn := d.Float64() * math.Pi / 2
	sin, cos := math.Sincos(turn)
	corner := make([][]orb.Point, p.Avenues)
	for i := range corner {
		corner[i] = make([]orb.Point, p.CrossStreets)
		for j := range corner[i] {
			jog := d.vector(0.06 * p.BlockM)
			x := (float64(i)-float64(p.Avenues-1)/2)*p.BlockM*1.15 + jog[0]
			y := (float64(j)-float64(p.CrossStreets-1)/2)*p.BlockM + jog[1]
			corner[i][j] = orb.Point{x*cos - y*sin, x*sin + y*cos}
		}
	}
	var streets []street
	for i := range p.Avenues {
		streets = append(streets, newStreet(d, p, corner[i]))
	}
	for j := range p.CrossStreets {
		row := make([]orb.Point, p.Avenues)
		for i := range row {
			row[i] = corner[i][j]
		}
		streets = append(streets, newStreet(d, p, row))
	}
	return streets
}

// newStreet runs through its crossings, with a stub of half a block at each end
// and bends in some blocks.
func newStreet(d dice, p Network, crossings []orb.Point) street {
	n := len(crossings)
	out := func(a, b orb.Point) orb.Point { return mix(b, a, 1.3+0.4*d.Float64()) }
	nodes := make([]orb.Point, 0, n+2)
	if n > 1 {
		nodes = append(nodes, out(crossings[0], crossings[1]))
	}
	nodes = append(nodes, crossings...)
	if n > 1 {
		nodes = append(nodes, out(crossings[n-1], crossings[n-2]))
	}
	s := street{blocks: len(nodes) - 1}
	for b := 0; b+1 < len(nodes); b++ {
		s.middle, s.block = append(s.middle, nodes[b]), append(s.block, b)
		if d.chance(p.CurvedStreets) {
			across := unit(minus(nodes[b+1], nodes[b])).right().times(d.normal(0.05 * p.BlockM))
			for _, t := range []float64{0.3, 0.5, 0.7} {
				bulge := across.times(1 - 4*(t-0.5)*(t-0.5)*1.5)
				s.middle, s.block = append(s.middle, moved(mix(nodes[b], nodes[b+1], t), bulge)), append(s.block, b)
			}
		}
	}
	s.middle, s.block = append(s.middle, nodes[len(nodes)-1]), append(s.block, len(nodes)-2)
	return s
}

// layMains puts parallel lines into a street.
func layMains(d dice, p Network, s *street) {
	count := p.LinesPerStreet[0] + d.IntN(p.LinesPerStreet[1]-p.LinesPerStreet[0]+1)
	var chosen []*habit
	for len(chosen) < count {
		rest := make([]*habit, 0, len(habits))
		for i := range habits {
			if !slices.Contains(chosen, &habits[i]) {
				rest = append(rest, &habits[i])
			}
		}
		chosen = append(chosen, pick(d, rest))
	}
	if d.chance(p.SameUtility) {
		chosen[len(chosen)-1] = chosen[0]
	}
	d.Shuffle(len(chosen), func(i, j int) { chosen[i], chosen[j] = chosen[j], chosen[i] })
	apart := make([]float64, count)
	for i := 1; i < count; i++ {
		apart[i] = apart[i-1] + d.between(p.ApartM)
	}
	side := d.between([2]float64{-4.5, 4.5 - apart[count-1]})
	seen := map[*habit]bool{}
	for i, h := range chosen {
		m := newMain(d, p, s, h, side+apart[i])
		m.first = !seen[h]
		seen[h] = true
		s.mains = append(s.mains, m)
	}
}

// newMain draws one line along a street, with its dodges, cover and gaps.
func newMain(d dice, p Network, s *street, h *habit, sideM float64) *main {
	m := &main{habit: h, sideM: sideM, block: s.block, absent: map[int]bool{}, like: attributes(d, p, h, false)}
	mean := d.between(h.coverM)
	offsets := make([]float64, len(s.middle))
	dodge, cover := 0.0, 0.0
	for i := range s.middle {
		if i == 0 || s.block[i] != s.block[i-1] {
			if dodge = 0; d.chance(0.15) {
				dodge = d.between([2]float64{-p.DodgeM, p.DodgeM})
			}
			if d.chance(p.DeadEnds) {
				m.absent[s.block[i]] = true
			}
		}
		cover = 0.5*cover + d.normal(0.85*p.CoverVariationM)
		offsets[i] = sideM + dodge
		m.cover = append(m.cover, max(mean+cover, 0.25))
	}
	m.points = beside(s.middle, offsets)
	return m
}

// attributes are what a map would say of a new line of a utility.
func attributes(d dice, p Network, h *habit, service bool) TrueLine {
	l := TrueLine{Utility: h.utility, Conductor: survey.ConductorPipe, Material: h.metal, Service: service, Installed: 1948 + d.IntN(75)}
	l.DiameterM = h.diametersM[d.IntN(len(h.diametersM))]
	if service {
		l.DiameterM = h.serviceM
	}
	switch u := d.Float64(); {
	case h.neverSignal || u < p.PlasticWithout:
		l.Conductor, l.Material = survey.ConductorNone, h.plastic
	case u < p.PlasticWithout+p.PlasticWithWire && h.metal != "CABLE":
		l.Conductor, l.Material = survey.ConductorWire, h.plastic
	}
	return l
}

func pick(d dice, hs []*habit) *habit {
	sum := 0.0
	for _, h := range hs {
		sum += h.weight
	}
	u := d.Float64() * sum
	for _, h := range hs {
		if u -= h.weight; u < 0 {
			return h
		}
	}
	return hs[len(hs)-1]
}
