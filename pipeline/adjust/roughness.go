package adjust

import (
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// Most records follow their drawing to centimetres, and a few have a bump, a kink
// or an end that was snapped metres away. With one size of local error for all,
// the good ones say too little of their sheet and the bad ones are drawn straight:
// so every record has its own, a variance component estimated from its readings.
//
// The prior of it counts for Options.LocalNu residuals of the size that is expected
// of the record, so that one with three readings keeps that; the estimate is held
// within the limits, and made in every other iteration up to the last of roughPasses, so that
// weights and sizes do not chase each other. All three are practice.
const (
	roughLeast  = 1.0 / 16 // a quarter of what is expected
	roughMost   = 16       // four times
	roughPasses = 8
)

// localM is the size of the record's local error.
func (c *cell) localM(o *Options) float64 { return o.LocalM * math.Sqrt(c.roughness) }

// roughen estimates the roughness of every record that was read, from what its
// last solution leaves of its local error (Foerstner 1979: the quadratic form over
// its redundancy, here with the prior's added to both). The covariances are those
// given what the record shares with others.
func (p *problem) roughen() {
	p.eachRead(func(c *cell) {
		if c.settled {
			return
		}
		inv := c.part.SelectedInverse(func(int, int) float64 { return 0 })
		quad, trace, rank := p.localForm(c, inv)
		c.redundancy = max(rank-trace/c.roughness, 0)
		c.squaresM2 = quad * p.o.LocalM * p.o.LocalM
		c.roughness = c.expected * min(max((p.o.LocalNu+quad/c.expected)/(p.o.LocalNu+c.redundancy), roughLeast), roughMost)
	})
}

// localForm is the quadratic form of a record's local error x at the options'
// size, what the covariances add to it, and its rank.
func (p *problem) localForm(c *cell, inv *estimate.Inverse) (quad, trace, rank float64) {
	at := covariances(inv)
	rn := &p.n.records[c.record]
	x := func(node, axis int) float64 {
		return p.x[c.index[int(c.node[node])+axis]] - p.x[c.index[c.own+axis]]
	}
	// of the differences between two points and the own shift
	cov := func(a, b, axis int) float64 {
		i, j, o := int(c.node[a])+axis, int(c.node[b])+axis, c.own+axis
		return at(i, j) - at(i, o) - at(j, o) + at(o, o)
	}
	end := func(node int, w float64) {
		for axis := range 2 {
			v := x(node, axis)
			quad += w * v * v
			trace += w * cov(node, node, axis)
			rank += 0.5 * w * 2 * p.o.LocalM * p.o.LocalM
		}
	}
	half := estimate.OUEnd(p.o.LocalM)
	for k := range rn.nodes {
		if missing := rn.freeEnds(k, p.n.degree); missing > 0 {
			end(k, missing*half)
		}
	}
	rn.edges(func(k int, lengthM float64) {
		diag, off := estimate.OUEdge(lengthM, p.o.LambdaM, p.o.LocalM)
		for axis := range 2 {
			a, b := x(k, axis), x(k+1, axis)
			quad += diag*(a*a+b*b) + 2*off*a*b
			trace += diag*(cov(k, k, axis)+cov(k+1, k+1, axis)) + 2*off*cov(k, k+1, axis)
			rank++
		}
	})
	return quad, trace, rank
}

// localTerm is the sizes of the records' local errors as they were estimated, for
// the error budget.
func (p *problem) localTerm() []survey.Term {
	var sizes []float64
	for _, c := range p.readCells {
		sizes = append(sizes, c.localM(&p.o))
	}
	if len(sizes) == 0 || p.o.LocalNu == 0 {
		return nil
	}
	slices.Sort(sizes)
	at := func(share float64) float64 { return sizes[int(share*float64(len(sizes)-1))] }
	return []survey.Term{{
		Name: "a record's local error, as estimated: the middle one of the records read", Unit: "m", Value: math.Round(at(0.5)*1000) / 1000,
		Source: fmt.Sprintf("this job's readings on %d records; from %.3f m (one in twenty is smaller) to %.3f m (one in twenty is larger)", len(sizes), at(0.05), at(0.95)),
	}}
}
