package estimate

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Component is what a variance component's update needs to know of it at the
// current solution. The component scales a quadratic form of the adjustment:
// with residuals v (A x - value for observations, the unknowns themselves for
// effects) and their cofactor matrix C, the form is v' C^-1 v / Variance.
type Component struct {
	Variance float64   // the current value
	Rank     float64   // residuals in the form
	Quad     float64   // v' C^-1 v
	Trace    float64   // trace(K Cov), K = A' C^-1 A, Cov the inverse of the whole matrix
	Grad     []float64 // A' C^-1 v, one an unknown: half of Quad's derivative
}

// Redundancy is the number of residuals less what the estimate took from them.
func (c Component) Redundancy() float64 { return c.Rank - c.Trace/c.Variance }

// EM is the expectation-maximisation update (Dempster, Laird & Rubin 1977): slow
// and never downhill.
func (c Component) EM() float64 { return (c.Quad + c.Trace) / c.Rank }

// Foerstner is Helmert's estimate in Foerstner's (1979) iteration:
// Quad/Redundancy. Its fixed point is the REML estimate, as that of EM is.
func (c Component) Foerstner() float64 {
	if r := c.Redundancy(); r > 0 {
		return c.Quad / r
	}
	return c.EM()
}

// NextVariances is one step of restricted maximum likelihood for variance
// components: Newton with the average information (Gilmour, Thompson & Cullis
// 1995, Biometrics 51), for which the factor of the current system is solved
// once a component. A component that the step would take below zero, or up or
// down by more than a factor of ten, goes by that factor, and the others step as
// if it stayed. One that the others would push against its own slope, and one
// of which the information says nothing, goes by Foerstner's update. So every
// step leads down the Deviance, if only part of it may be short enough.
func NextVariances(f *Factor, cs []Component) ([]float64, error) {
	products := make([][]float64, len(cs))
	for k := range cs {
		products[k] = make([]float64, k+1)
		solved := f.Solve(cs[k].Grad)
		for l := range products[k] {
			products[k][l] = dot(solved, cs[l].Grad)
		}
	}
	return StepVariances(cs, products)
}

// StepVariances is NextVariances where the products Grad' A^-1 Grad of the
// components are known, A being the whole matrix (the lower triangle): Grad is not
// looked at.
func StepVariances(cs []Component, products [][]float64) ([]float64, error) {
	score, info := averageInformation(cs, products)
	next, free := make([]float64, len(cs)), ints(len(cs))
	for len(free) > 0 {
		step, err := newton(info, score, free)
		if err != nil {
			return nil, err
		}
		// Those that go by a bound, first those on their way to zero: their steps
		// upset the others' most.
		var down, up, against []int
		for q, k := range free {
			v := cs[k].Variance
			next[k] = v + step[q]
			switch {
			case step[q] != 0 && v/10 < next[k] && next[k] < 10*v:
			case step[q] < 0 && score[k] < 0:
				down = append(down, k)
			case step[q] > 0 && score[k] > 0:
				up = append(up, k)
			default:
				next[k] = cs[k].Foerstner()
				against = append(against, k)
			}
		}
		bound := down
		if len(bound) == 0 {
			bound = up
		}
		if len(bound) == 0 {
			bound = against
		}
		if len(bound) == 0 {
			break
		}
		for _, k := range bound {
			next[k] = min(max(next[k], cs[k].Variance/10), cs[k].Variance*10)
			free = slices.DeleteFunc(free, func(f int) bool { return f == k })
		}
	}
	return next, nil
}

// averageInformation of the variances (its lower triangle) and the slope of the
// restricted likelihood, both times two.
func averageInformation(cs []Component, products [][]float64) (score []float64, info [][]float64) {
	score, info = make([]float64, len(cs)), make([][]float64, len(cs))
	for k, c := range cs {
		v := c.Variance
		score[k] = (c.Quad/v - c.Redundancy()) / v
		info[k] = make([]float64, k+1)
		for l, d := range cs[:k+1] {
			info[k][l] = -products[k][l] / (v * v * d.Variance * d.Variance)
		}
		info[k][k] += c.Quad / (v * v * v)
	}
	return score, info
}

// Deviance is -2 log of the restricted likelihood, less a constant: what REML
// makes least. A step that does not lower it was too long.
func Deviance(f *Factor, cs []Component) float64 {
	sum := f.LogDet()
	for _, c := range cs {
		sum += c.Rank*math.Log(c.Variance) + c.Quad/c.Variance
	}
	return sum
}

// newton solves the part of info that is free; the step is 0 where that part is
// not positive definite.
func newton(info [][]float64, score []float64, free []int) ([]float64, error) {
	b, rhs := NewBuilder(len(free)), make([]float64, len(free))
	for p, k := range free {
		rhs[p] = score[k]
		for q, l := range free[:p+1] {
			b.Add(p, q, info[max(k, l)][min(k, l)])
		}
	}
	f, err := b.Factor(Options{Tolerance: 1e-10})
	if not := (*NotPositiveError)(nil); errors.As(err, &not) {
		return make([]float64, len(free)), nil
	}
	if err != nil {
		return nil, err
	}
	return f.Solve(rhs), nil
}

// ComponentsOptions of Components; the zero value is fine.
type ComponentsOptions struct {
	Start     []float64 // first values; nil: 1 for each
	Tolerance float64   // relative change at which it stops; 0 means 1e-8
	Limit     int       // rounds; 0 means 200
}

// zeroShare is the share of the largest component below which one is zero.
// Changes are held against smallShare of it at least: of a smaller component
// rounding alone moves more than the tolerance.
const (
	zeroShare  = 1e-10
	smallShare = 1e-3
)

// Components estimates variance components by restricted maximum likelihood.
// Observation k belongs to component group[k] and has its variance over
// Weight; a random effect is an observation of it with value 0. It returns the
// variances, those on the boundary as exactly 0, and the adjustment with them.
// Meant for tens or hundreds of unknowns: a larger model feeds NextVariances
// from its own factor.
func Components(n int, observations []Observation, group []int, o ComponentsOptions) ([]float64, *Adjustment, error) {
	count := 0
	for _, g := range group {
		count = max(count, g+1)
	}
	variances := make([]float64, count)
	for k := range variances {
		variances[k] = 1
	}
	copy(variances, o.Start)
	if o.Tolerance == 0 {
		o.Tolerance = 1e-8
	}
	if o.Limit == 0 {
		o.Limit = 200
	}
	last, lastDeviance := variances, math.Inf(1)
	for range o.Limit {
		fit, cs, err := components(n, observations, group, variances)
		if err != nil {
			return nil, nil, err
		}
		deviance := Deviance(fit.Factor, cs)
		if deviance > lastDeviance+1e-10*math.Abs(deviance) {
			for k, v := range variances { // too far: half way back
				variances[k] = math.Sqrt(v * last[k])
			}
			continue
		}
		next, err := NextVariances(fit.Factor, cs)
		if err != nil {
			return nil, nil, err
		}
		last, lastDeviance = variances, deviance
		largest := slices.Max(slices.Concat(next, variances))
		moved := 0.0
		for k, v := range variances {
			next[k] = max(next[k], zeroShare*largest)
			moved = max(moved, math.Abs(next[k]-v)/max(v, smallShare*largest))
		}
		variances = next
		if moved <= o.Tolerance {
			for k, v := range variances {
				if v <= zeroShare*largest {
					variances[k] = 0
				}
			}
			return variances, fit, nil
		}
	}
	return nil, nil, fmt.Errorf("estimate: the variance components still move after %d rounds: %v", o.Limit, variances)
}

// components adjusts the observations with the given variances, and gathers
// what the next step needs.
func components(n int, observations []Observation, group []int, variances []float64) (*Adjustment, []Component, error) {
	scaled := make([]Observation, len(observations))
	for k, obs := range observations {
		obs.Weight /= variances[group[k]]
		scaled[k] = obs
	}
	fit, err := Adjust(n, scaled, Options{})
	if err != nil {
		return nil, nil, err
	}
	inv := fit.Factor.SelectedInverse()
	cs := make([]Component, len(variances))
	for k, v := range variances {
		cs[k] = Component{Variance: v, Grad: make([]float64, n)}
	}
	for k, obs := range observations {
		c, v := &cs[group[k]], fit.Residuals[k]
		c.Rank++
		c.Quad += float64(obs.Weight * v * v)
		c.Trace += float64(obs.Weight * inv.Form(obs.At, obs.A))
		for q, i := range obs.At {
			c.Grad[i] += float64(obs.Weight * obs.A[q] * v)
		}
	}
	return fit, cs, nil
}

func ints(n int) []int {
	s := make([]int, n)
	for i := range s {
		s[i] = i
	}
	return s
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += float64(v * b[i])
	}
	return sum
}
