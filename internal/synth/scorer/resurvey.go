package scorer

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// What a re-survey costs in the towns' jobs, and what counts as settled.
const (
	perM       = 1.8  // money per metre of line
	mobilised  = 400  // money per work package
	packageM   = 3000 // of line in a crew's day: a package of more is several
	budget     = 0.2  // of what it costs to survey everything
	settledM   = 0.1  // a sheet's shift known that well across a line is settled there
	cellM      = 1.0
	priorRatio = 0.06 // (a record's own error over a sheet's shift)^2, the ridge of a sheet's estimate
	strayM     = 0.2  // a record that far off its sheet's shift counts half
	shuffles   = 5
)

// pick is a stretch of a record to survey.
type pick struct {
	record, group int // group: the package, or -1: as it comes
	fromM, toM    float64
}

// ground is what is true of the town's records metre by metre, for a re-survey.
type ground struct {
	x      *scoring
	cells  [][]cell
	sheets map[string][]int // records by the sheet that the map names
}

// cell is one metre of a record.
type cell struct {
	offset   float64 // how far to the right its line lies
	e, n     float64 // to the right, true east and north
	wrong    bool    // beyond tolerance
	surveyed bool    // by good readings
	open     bool    // no reading of any kind
}

// resurvey scores the order in which to survey next, and the probabilities that
// came with it.
func (x *scoring) resurvey() {
	g := newGround(x)
	whole := g.whole()
	everything := g.spend(whole, math.Inf(1), nil)
	money := budget * everything
	var order []pick
	for _, v := range x.o.Resurvey {
		if r, ok := x.index[v.Record]; ok {
			order = append(order, pick{r, v.Package, v.FromM, v.ToM})
			x.calibrate(r, v)
		}
	}
	wanted := g.unresolved()
	g.score(order, money, wanted, 1, Resolved, ResolvedWeight)
	g.score(ungrouped(order), money, wanted, 1, ResolvedAsLines, -1)
	age := slices.Clone(whole)
	slices.SortStableFunc(age, func(a, b pick) int { return cmp.Compare(g.installed(a.record), g.installed(b.record)) })
	g.score(age, money, wanted, 1, ResolvedByAge, ResolvedWeightByAge)
	g.score(g.best(whole, g.shiftedOut(wanted)), money, wanted, 1, ResolvedBySheets, -1)
	g.score(g.best(whole, wanted), money, wanted, 1, ResolvedByTruth, -1)
	rng := rand.New(rand.NewPCG(x.truth.Seed, 1))
	for range shuffles {
		random := slices.Clone(whole)
		rng.Shuffle(len(random), func(a, b int) { random[a], random[b] = random[b], random[a] })
		g.score(random, money, wanted, 1.0/shuffles, ResolvedAtRandom, ResolvedWeightAtRandom)
	}
}

// shiftedOut are those of the places that their sheet's true shift alone puts beyond
// tolerance.
func (g *ground) shiftedOut(wanted []place) (out []place) {
	for _, p := range wanted {
		rec, c := &g.x.records[p.record], &g.cells[p.record][p.cell]
		if rec.sheet == nil {
			continue
		}
		east, north := rec.sheet.At(g.x.truth.Frame, rec.before.At((float64(p.cell)+0.5)*cellM))
		if math.Abs(east*c.e+north*c.n) > rec.limitM {
			out = append(out, p)
		}
	}
	return out
}

// best are the stretches with the most of the wanted places a metre first.
func (g *ground) best(whole []pick, wanted []place) []pick {
	is := map[place]bool{}
	for _, p := range wanted {
		is[p] = true
	}
	value := make([]float64, len(whole))
	order := make([]int, len(whole))
	for i, p := range whole {
		order[i] = i
		for m := p.fromM; m < p.toM; m += cellM {
			if is[place{p.record, int(m/cellM + 0.5)}] {
				value[i] += cellM / (p.toM - p.fromM)
			}
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(value[b], value[a]) })
	out := make([]pick, len(whole))
	for i, k := range order {
		out[i] = whole[k]
	}
	return out
}

func ungrouped(order []pick) []pick {
	out := slices.Clone(order)
	for i := range out {
		out[i].group = -1
	}
	return out
}

// installed is a record's year; unknown comes last.
func (g *ground) installed(r int) int {
	if y := g.x.records[r].Installed; y > 0 {
		return y
	}
	return math.MaxInt
}

// calibrate counts whether a stretch with a promised probability has 3 m beyond
// tolerance.
func (x *scoring) calibrate(r int, v Resurvey) {
	rec := &x.records[r]
	if rec.line == nil {
		return
	}
	p, found := v.Probability, 0.0
	if math.IsNaN(p) {
		p = 0
	}
	outside := rec.outsideOn(v.FromM, v.ToM)
	if outside {
		found = 1
	}
	if x.common != nil { // whose error it is nobody can tell
		x.value(ResurveyBrierCommon, (p-found)*(p-found))
		return
	}
	x.promise(PromiseByTenth+Figure(min(max(int(p*10), 0), 9)), p, outside)
	x.value(ResurveyBrier, (p-found)*(p-found))
}

// outsideOn says whether 3 m of a stretch of the record lie beyond tolerance.
func (r *record) outsideOn(fromM, toM float64) bool {
	run := 0.0
	for m := fromM; m <= toM; m += stepM {
		if across(r.line, r.before.At(m)) <= r.limitM {
			run = 0
		} else if run += stepM; run > stretchM {
			return true
		}
	}
	return false
}

func newGround(x *scoring) *ground {
	g := &ground{x: x, cells: make([][]cell, len(x.records)), sheets: map[string][]int{}}
	for r := range x.records {
		rec := &x.records[r]
		if rec.Sheet != "" {
			g.sheets[rec.Sheet] = append(g.sheets[rec.Sheet], r)
		}
		g.cells[r] = make([]cell, int(math.Ceil(rec.before.LengthM()/cellM)))
		for i := range g.cells[r] {
			c := &g.cells[r][i]
			m := (float64(i) + 0.5) * cellM
			p := rec.before.At(m)
			c.e, c.n = rec.right(&rec.before, m)
			c.open = true
			if rec.line == nil {
				continue
			}
			f, _ := rec.line.Nearest(p)
			e, n := rec.ground([2]float64{f.Point[0] - p[0], f.Point[1] - p[1]})
			c.offset = e*c.e + n*c.n
			c.wrong = across(rec.line, p) > rec.limitM
			c.surveyed = holds(rec.surveyed, f.StationM, 0)
			c.open = !holds(rec.touched, f.StationM, 0)
		}
	}
	return g
}

// whole are all open stretches, record by record.
func (g *ground) whole() []pick {
	var out []pick
	for r := range g.cells {
		for i := range g.cells[r] {
			if !g.cells[r][i].open {
				continue
			}
			at := float64(i) * cellM
			if k := len(out) - 1; k >= 0 && out[k].record == r && out[k].toM == at {
				out[k].toM = at + cellM
			} else {
				out = append(out, pick{r, -1, at, at + cellM})
			}
		}
	}
	return out
}

// spend surveys stretches in their order as far as the money goes, and gives what
// it cost. do is told of every metre.
func (g *ground) spend(order []pick, money float64, do func(record, cell int)) float64 {
	spent, inPackage := 0.0, math.Inf(1)
	group := 0
	for _, p := range order {
		if p.group >= 0 && p.group != group {
			group, inPackage = p.group, math.Inf(1)
		}
		for i := max(int(p.fromM/cellM+0.5), 0); i < len(g.cells[p.record]) && (float64(i)+0.5)*cellM <= p.toM; i++ {
			cost := perM * cellM
			if inPackage+cellM > packageM {
				cost += mobilised
				inPackage = 0
			}
			if spent+cost > money {
				return spent
			}
			spent += cost
			inPackage += cellM
			if do != nil {
				do(p.record, i)
			}
		}
	}
	return spent
}

// place is one metre of one record.
type place struct{ record, cell int }

// at says whether a place is picked.
func at(picked [][]bool, p place) bool {
	return picked != nil && picked[p.record] != nil && picked[p.record][p.cell]
}

// unresolved are the wrong metres that nothing was taken on and whose sheet's
// shift the surveyed parts do not settle. Of records that show one line the first
// counts.
func (g *ground) unresolved() []place {
	known := g.estimates(nil)
	var out []place
	for r := range g.cells {
		if !g.x.shows(r) {
			continue
		}
		for i := range g.cells[r] {
			if c := &g.cells[r][i]; c.wrong && c.open && !g.settled(r, i, known) {
				out = append(out, place{r, i})
			}
		}
	}
	return out
}

// score counts how much of the unresolved length an order resolves for the money:
// as it is, and, if there is such a figure, times its consequence.
func (g *ground) score(order []pick, money float64, wanted []place, part float64, plain, weighted Figure) {
	picked := make([][]bool, len(g.cells))
	g.spend(order, money, func(r, i int) {
		if picked[r] == nil {
			picked[r] = make([]bool, len(g.cells[r]))
		}
		picked[r][i] = true
	})
	known := g.estimates(picked)
	for _, p := range wanted {
		consequence, hit := ConsequenceOf(g.x.records[p.record].Utility), 0.0
		if at(picked, p) || g.settled(p.record, p.cell, known) {
			hit = 1
		}
		g.x.measure(plain, part*hit, part)
		if weighted >= 0 {
			g.x.measure(weighted, part*consequence*hit, part*consequence)
		}
	}
}

// settled says whether the estimated shift of a sheet is right across the line at
// a place, and brings the place within tolerance.
func (g *ground) settled(r, i int, known map[string][2]float64) bool {
	rec, c := &g.x.records[r], &g.cells[r][i]
	v, ok := known[rec.Sheet]
	if !ok || rec.sheet == nil || rec.sheet.Name != rec.Sheet {
		return false
	}
	east, north := rec.sheet.At(g.x.truth.Frame, rec.before.At((float64(i)+0.5)*cellM))
	estimate := v[0]*c.e + v[1]*c.n
	return math.Abs(estimate-east*c.e-north*c.n) <= settledM && math.Abs(c.offset-estimate) <= rec.limitM
}

// estimates are the shifts of the sheets as a survey without errors of what is
// surveyed and picked would give them: least squares over the records' mean
// offsets, with the records that stray weighted down.
func (g *ground) estimates(picked [][]bool) map[string][2]float64 {
	out := map[string][2]float64{}
	for name, records := range g.sheets {
		if v, ok := g.estimate(records, picked); ok {
			out[name] = v
		}
	}
	return out
}

func (g *ground) estimate(records []int, picked [][]bool) (v [2]float64, ok bool) {
	weights := make([]float64, len(records))
	for i := range weights {
		weights[i] = 1
	}
	for range 8 {
		var q normal
		for k, r := range records {
			g.each(r, picked, func(c *cell, share float64) { q.add(c.e, c.n, c.offset, weights[k]*share); ok = true })
		}
		v[0], v[1] = q.solve(priorRatio)
		for k, r := range records {
			stray := 0.0
			g.each(r, picked, func(c *cell, share float64) { stray += share * (c.offset - v[0]*c.e - v[1]*c.n) })
			weights[k] = 1 / (1 + stray*stray/(strayM*strayM))
		}
	}
	return v, ok
}

// each calls do for the metres of a record that are surveyed or picked, with each
// one's share of them. A record without a line shows nothing.
func (g *ground) each(r int, picked [][]bool, do func(c *cell, share float64)) {
	if g.x.records[r].line == nil {
		return
	}
	n := 0.0
	is := func(i int) bool { return g.cells[r][i].surveyed || at(picked, place{r, i}) }
	for i := range g.cells[r] {
		if is(i) {
			n++
		}
	}
	for i := range g.cells[r] {
		if is(i) {
			do(&g.cells[r][i], 1/n)
		}
	}
}
