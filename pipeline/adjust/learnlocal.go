package adjust

import (
	"fmt"
	"math"
	"slices"
)

// The correlation length is looked for from half to twice the given one, in steps
// of an eighth of an octave; that it is within a factor of two of it is as
// likely beforehand as one standard deviation. Both are practice.
const (
	lengthSteps = 8
	lengths     = 2*lengthSteps + 1
)

func lengthAt(given float64, k int) float64 {
	return given * math.Exp2(float64(k-lengthSteps)/8)
}

// coarseM is how far apart the places on a record are at which its local error is
// asked for its correlation length. Maps are drawn straight between their vertices:
// nearer together than this the error is smoother than the process, and would make
// it fade too slowly for the gaps between readings; practice.
const coarseM = 20

// link is two nodes of a record that follow each other about coarseM apart.
type link struct {
	a, b    int
	lengthM float64
}

// links goes along every part of the record. ends are its first and last nodes.
func (rn *recordNet) links() (links []link, ends []int) {
	nodes := rn.nodes
	for from := 0; from < len(nodes); {
		last := from
		for last+1 < len(nodes) && nodes[last+1].part == nodes[from].part {
			last++
		}
		ends = append(ends, from, last)
		// In equal shares, so that from the other end it is the same.
		lengthM := nodes[last].stationM - nodes[from].stationM
		steps := max(math.Round(lengthM/coarseM), 1)
		a := from
		for k := 1.0; k <= steps; k++ {
			b := last
			if k < steps {
				b = rn.nearest(a, last, nodes[from].stationM+k/steps*lengthM)
			}
			if b > a && nodes[a].point != nodes[b].point {
				links = append(links, link{a, b, max(nodes[b].stationM-nodes[a].stationM, 1e-3)})
			}
			a = b
		}
		from = last + 1
	}
	return links, ends
}

// nearest is the node among those from first to last that is nearest to a station.
func (rn *recordNet) nearest(first, last int, stationM float64) int {
	best := first
	for k := first; k <= last; k++ {
		if math.Abs(rn.nodes[k].stationM-stationM) < math.Abs(rn.nodes[best].stationM-stationM) {
			best = k
		}
	}
	return best
}

// hearLengths is how likely a record's local error makes each correlation length:
// -2 log of the likelihood of what its readings tell of it (its estimate, in which
// a link has its redundancy's share of the process's variance), with the record's
// own size, known as roughen knows it, integrated out. shared is a root of the
// covariance of what it shares with others.
func (p *problem) hearLengths(h *heard, c *cell, shared root) {
	if p.given.LocalNu == 0 {
		return
	}
	links, ends := p.n.records[c.record].links()
	local2 := c.localM(&p.o) * c.localM(&p.o)
	minus, plus := make([]float64, len(links)), make([]float64, len(links)) // squares of difference and sum
	told, redundancy, ended := make([]float64, len(links)), 0.0, 0.0        // residuals that are told of
	asked := p.asking(c, shared)
	for i, l := range links {
		rho := math.Exp(-l.lengthM / p.o.LambdaM)
		varMinus, varPlus := 0.0, 0.0
		for axis := range 2 {
			v, variance := asked(l.a, l.b, axis, -1)
			minus[i], varMinus = minus[i]+v*v, varMinus+variance
			v, variance = asked(l.a, l.b, axis, 1)
			plus[i], varPlus = plus[i]+v*v, varPlus+variance
		}
		told[i] = 2 - ouForm(rho, varMinus, varPlus)/local2
		redundancy += told[i]
	}
	for _, k := range ends {
		for axis := range 2 {
			v, variance := asked(k, k, axis, 0)
			ended += v * v / 2
			redundancy += (1 - variance/local2) / 2
		}
	}
	prior := p.o.LocalNu * c.expected * p.o.LocalM * p.o.LocalM
	for k := range h.lengths {
		quad, lambdaM := ended, lengthAt(p.given.LambdaM, k)
		for i, l := range links {
			rho := math.Exp(-l.lengthM / lambdaM)
			quad += ouForm(rho, minus[i], plus[i])
			h.lengths[k] += told[i] * math.Log(1-rho*rho)
		}
		h.lengths[k] += (p.o.LocalNu + max(redundancy, 0)) * math.Log(1+quad/prior)
	}
}

// ouForm is an Ornstein-Uhlenbeck link's part of the quadratic form, times its
// variance, beside half of each end's square: of the squares of the difference and
// the sum of its nodes, rho being their correlation,
//
//	((1+rho^2)/2 (a^2+b^2) - 2 rho a b)/(1-rho^2).
func ouForm(rho, minus, plus float64) float64 {
	return ((1+rho)*(1+rho)*minus + (1-rho)*(1-rho)*plus) / (4 * (1 - rho*rho))
}

// asking yields a record's local error at node a plus sign times that at b, and
// the variance of its estimate.
func (p *problem) asking(c *cell, shared root) func(a, b, axis int, sign float64) (value, variance float64) {
	form, work := make([]float64, len(c.index)), make([]float64, len(c.index))
	return func(a, b, axis int, sign float64) (value, variance float64) {
		clear(form)
		form[int(c.node[a])+axis]++
		form[int(c.node[b])+axis] += sign
		form[c.own+axis] -= 1 + sign
		for k, f := range form {
			if f != 0 {
				value += float64(f * p.x[c.index[k]])
			}
		}
		variance = c.part.Contrast(form, work)
		return value, variance + shared.form(form[c.inner:])
	}
}

// learnLength sets the correlation length.
func (p *problem) learnLength(z *sizes, hs []heard) {
	var sum [lengths]float64
	for i := range hs {
		for l, v := range hs[i].lengths {
			sum[l] += v
		}
	}
	best := 0
	for l := range sum {
		octaves := float64(l-lengthSteps) / 8
		sum[l] += octaves * octaves
		if sum[l] < sum[best] {
			best = l
		}
	}
	at, mass, mean, square := float64(best), 0.0, 0.0, 0.0
	if best > 0 && best+1 < lengths {
		if a, b := sum[best-1]-sum[best], sum[best+1]-sum[best]; a+b > 0 {
			at += (a - b) / (2 * (a + b))
		}
	}
	for l := range sum {
		w := math.Exp((sum[best] - sum[l]) / 2)
		mass, mean, square = mass+w, mean+w*float64(l), square+w*float64(l)*float64(l)
	}
	mean /= mass
	steps := math.Sqrt(max(square/mass-mean*mean, 1.0/12)) // as fine as the steps are
	z.o.LambdaM = p.given.LambdaM * math.Exp2((at-lengthSteps)/8)
	z.tell("correlation length of local errors", "m", z.o.LambdaM, z.o.LambdaM*steps*math.Ln2/8,
		fmt.Sprintf("this job's data, from half to twice the %g m that were given", p.given.LambdaM))
}

// Strata are expected to differ in the variance by strataSpread, one standard
// deviation of its logarithm, and at most by the factor strataRange; practice. What
// the data say of one counts against that by its own uncertainty (shrinkage: Efron
// and Morris 1975).
const (
	strataSpread = 0.3
	strataRange  = 4.0
)

// pooled is what records tell of the size of local errors: squares over redundancy
// (Foerstner 1979), each record's squares over what is expected of it.
type pooled struct {
	squares, redundancy float64
	count               float64 // records, as far as their readings tell of it
	spread              float64 // sum of the squares of what each adds to the difference of the two
}

// ratio of the variance to what was expected, and its relative standard deviation.
// Records differ more than their residuals let expect: so they speak for that
// themselves.
func (v *pooled) ratio() (ratio, u float64) {
	ratio = v.squares / v.redundancy
	return ratio, math.Sqrt(v.spread) / v.squares
}

func (p *problem) pool(of func(rn *recordNet) bool, expectedM2 func(rn *recordNet) float64) (v pooled) {
	for pass := range 2 { // the second knows the ratio
		ratio, _ := v.ratio()
		v = pooled{}
		for _, c := range p.readCells {
			rn := &p.n.records[c.record]
			if !of(rn) {
				continue
			}
			squares := min(c.squaresM2/expectedM2(rn), roughMost*c.redundancy)
			v.squares += squares
			v.redundancy += c.redundancy
			v.count += c.redundancy / (p.o.LocalNu + c.redundancy)
			if d := squares - ratio*c.redundancy; pass > 0 {
				v.spread += d * d
			}
		}
	}
	return v
}

// learnStrata sets the size of local errors, and what the records of a decade, a
// material or a quality have over or below it.
func (p *problem) learnStrata(z *sizes) {
	z.strata = slices.Clone(z.strata)
	local2 := p.o.LocalM * p.o.LocalM
	all := p.pool(func(*recordNet) bool { return true }, func(rn *recordNet) float64 { return local2 * p.sizes.stratum(rn) })
	if all.redundancy == 0 {
		return
	}
	ratio, u := all.ratio()
	given2 := p.given.LocalM * p.given.LocalM
	local2 *= math.Pow(ratio, seen(all.count))
	z.o.LocalM = math.Sqrt(min(max(local2, given2*leastLocal*leastLocal), given2*localRange))
	z.tell("a record's local error", "m", math.Sqrt(local2), math.Sqrt(local2)*u/2,
		fmt.Sprintf("this job's data on %.0f records that tell of it; %g m were given, and %.3g m are worked with", all.count, p.given.LocalM, z.o.LocalM))
	local2 = z.o.LocalM * z.o.LocalM
	for l, name := range p.n.levels {
		v := p.pool(func(rn *recordNet) bool { return slices.Contains(rn.level[:], int32(l)) },
			func(rn *recordNet) float64 { return local2 * z.stratum(rn) })
		if v.redundancy == 0 {
			continue
		}
		ratio, u := v.ratio()
		z.strata[l] *= math.Pow(ratio, strataSpread*strataSpread/(strataSpread*strataSpread+u*u))
		z.strata[l] = min(max(z.strata[l], 1/strataRange), strataRange)
		if seen(v.count) > 0 {
			size := z.o.LocalM * math.Sqrt(z.strata[l])
			z.tell("the same, "+name, "m", size, size*u/2, fmt.Sprintf("this job's data on %.0f records that tell of it, beside what their other strata explain", v.count))
		}
	}
}
